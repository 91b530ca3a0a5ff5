"""Signed bars on one scale: right of the line more, filled; left of it less, hollow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pygame

from ..draw import text
from ..draw.theme import Colour, Look

PITCH = 26
CLOSEST = 18  # px between rows at least
WIDEST = "+00.0 N"


@dataclass(frozen=True)
class Signed:
    """A row: its words, colour, value, and what is said of it at the right. alarm: said in the colour of alarms."""

    words: str
    colour: Colour
    value: float
    said: str
    alarm: bool = False


def draw_signed(
    target: pygame.Surface, look: Look, rect: pygame.Rect, rows: Sequence[Signed], most: float, size: int = 16
) -> int:
    """As many rows as fit, closer where they must be, on a scale to `most` either way; returns the y below them, px.

    size: of the words.
    """
    theme = look.theme
    pitch = max(look.px(CLOSEST), min(look.px(PITCH), rect.h // max(1, len(rows))))
    left = rect.x + max((text.width(look, r.words, size) for r in rows), default=0) + look.px(16)
    # Room for what is said of the largest, so that the scale stands still while the values change.
    said = max(text.width(look, WIDEST, size, True), *(text.width(look, r.said, size, True) for r in rows), 0)
    right = rect.right - said - look.px(14)
    right = max(right, left + look.px(40))
    zero = (left + right) // 2
    shown = rows[: max(0, rect.h // pitch)]
    for k, row in enumerate(shown):
        middle = rect.y + k * pitch + pitch // 2
        baseline = middle + look.px(5)
        text.draw(target, look, row.words, rect.x, baseline, size, colour=row.colour)
        target.fill(theme.line, (left, middle, right - left, look.px(1)))
        wide = round(min(1.0, abs(row.value) / max(most, 1e-9)) * (right - left) / 2)
        bar = pygame.Rect(zero if row.value >= 0 else zero - wide, middle - look.px(6), wide, look.px(12))
        if wide > 0 and row.value >= 0:
            pygame.draw.rect(target, row.colour, bar, border_radius=look.px(2))
        elif wide > 0:
            pygame.draw.rect(target, row.colour, bar, look.px(2), border_radius=look.px(2))
        shade = theme.alarm if row.alarm else theme.text
        text.draw(target, look, row.said, rect.right, baseline, size, bold=True, colour=shade, align="right")
    if shown:
        target.fill(theme.dim, (zero, rect.y, look.px(1), len(shown) * pitch))
    return rect.y + len(shown) * pitch
