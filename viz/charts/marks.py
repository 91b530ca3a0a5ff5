"""Marks that tell compared designs apart without colour: a disc, a square, a triangle."""

from __future__ import annotations

import pygame

from ..draw.canvas import disc
from ..draw.theme import Colour, Look


def mark(
    target: pygame.Surface, look: Look, number: int, at: tuple[float, float], colour: Colour, size: float = 5
) -> None:
    """The mark of the design of that number among those shown, its middle at `at`, px."""
    x, y = at
    half = look.px(size)
    if number % 3 == 0:
        disc(target, at, half, colour)
    elif number % 3 == 1:
        target.fill(colour, (round(x) - half + 1, round(y) - half + 1, 2 * half - 2, 2 * half - 2))
    else:
        pygame.draw.polygon(target, colour, [(x - half, y + half - 1), (x + half, y + half - 1), (x, y - half)])
