"""What never moves in a machine's drawing, kept as images; and the rectangles that are drawn over it."""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pygame
from beltspring.sim.machine.machine import Outline

from .belts import Place
from .canvas import shrunk, surface
from .parts import draw_shape
from .theme import Look

STILL_PIXELS = 8_000_000  # of still images kept, 32 MB


@dataclass(frozen=True)
class Still:
    """What never moves. large: supersampled.  work: its copy to draw on, clean between drawings.  small: final size."""

    large: pygame.Surface
    work: pygame.Surface
    small: pygame.Surface

    @property
    def pixels(self) -> int:
        """How much memory it takes, px."""
        return sum(s.get_width() * s.get_height() for s in (self.large, self.work, self.small))


# Shared by all views, as a new result of the same machine stands before the same frame, bed and rails.
_stills: OrderedDict[tuple[object, ...], Still] = OrderedDict()


def still_image(leading: Sequence[Outline], size: tuple[int, int], place: Place, look: Look, factor: int) -> Still:
    """Everything that never moves, as images; made once for a size and a theme."""
    key = (tuple(leading), place, size, look.theme.name, factor)
    still = _stills.get(key)
    if still is not None:
        _stills.move_to_end(key)
        return still
    large = surface((size[0] * factor, size[1] * factor))
    large.fill(look.theme.panel)
    for shape in leading:
        draw_shape(large, look.theme, place, shape, np.zeros(2))
    still = Still(large, large.copy(), shrunk(large, size) if factor > 1 else large.copy())
    _stills[key] = still
    while len(_stills) > 1 and sum(s.pixels for s in _stills.values()) > STILL_PIXELS:
        _stills.popitem(last=False)
    return still


def forget_stills() -> None:
    """Let go of them all: what is drawn from now on has another size, or is another screen's."""
    _stills.clear()


def outwards(box: pygame.Rect, factor: int) -> pygame.Rect:
    """The rectangle of whole target pixels that holds a rectangle of a layer."""
    left, top = math.floor(box.left / factor), math.floor(box.top / factor)
    return pygame.Rect(left, top, math.ceil(box.right / factor) - left, math.ceil(box.bottom / factor) - top)


def without_inner(boxes: list[pygame.Rect]) -> list[pygame.Rect]:
    """The rectangles that do not lie inside one of the largest."""
    kept: list[pygame.Rect] = []
    for box in sorted(boxes, key=lambda b: -b.w * b.h):
        if box.w > 0 and box.h > 0 and not any(large.contains(box) for large in kept[:6]):
            kept.append(box)
    return kept
