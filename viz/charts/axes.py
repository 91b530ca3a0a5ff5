"""Axes with round steps, smooth curves, and what all plots over time share.

Curves are drawn once per data, size and theme, thinned to the lowest and highest point of each pixel column, twice
(full and faded); a frame then only puts the two halves together at the clock and writes the moving readings.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import overload

import numpy as np
import pygame
from numpy.typing import NDArray

from ..draw import text
from ..draw.canvas import column_extremes, surface
from ..draw.theme import Colour, Look, mix

Array = NDArray[np.float64]

FULL_PX, TO_COME_PX = 2.4, 1.5  # widths of a curve up to the clock and beyond it, at scale 1


def nice_step(span: float, most: int) -> float:
    """The smallest of 1, 2, 5 times a power of ten that cuts `span` into at most `most` parts."""
    if span <= 0:
        return 1.0
    raw = span / max(1, most)
    power = 10.0 ** math.floor(math.log10(raw))
    for k in (1, 2, 5, 10):
        if k * power >= raw * (1 - 1e-9):
            return k * power
    return 10 * power


def decimals_of(step: float) -> int:
    """Decimals needed to write multiples of a nice step."""
    return max(0, -math.floor(math.log10(abs(step)) + 1e-9))


@dataclass(frozen=True)
class Axis:
    """A linear map from values to pixels; low at pixel `a`, high at pixel `b`."""

    low: float
    high: float
    a: float
    b: float

    @overload
    def __call__(self, value: float) -> float: ...
    @overload
    def __call__(self, value: Array) -> Array: ...
    def __call__(self, value: float | Array) -> float | Array:
        return self.a + (value - self.low) / (self.high - self.low) * (self.b - self.a)

    def back(self, pixel: float) -> float:
        """The value at a pixel."""
        return self.low + (pixel - self.a) / (self.b - self.a) * (self.high - self.low)


def curve_image(
    look: Look,
    size: tuple[int, int],
    ground: pygame.Surface,
    curves: Sequence[tuple[Array, Array, Colour]],
    width: float = 1.6,
) -> pygame.Surface:
    """Smooth curves on a copy of `ground`: drawn at twice the size and scaled down once.

    curves: (x, y) in px of `ground`, colour.
    """
    large = pygame.transform.scale(ground, (size[0] * 2, size[1] * 2))
    thick = max(2, round(width * 2 * look.scale))
    for x, y, colour in curves:
        if len(x) < 2:
            continue
        points = np.column_stack([x, y]) * 2
        pygame.draw.lines(large, colour, False, points.tolist(), thick)
    return pygame.transform.smoothscale(large, size)


class TimePlot:
    """One or more rows of curves over a common time axis, with a cursor. Values in µm, time in s.

    The object keeps images only; everything drawn follows from the arguments of `draw`.
    """

    def __init__(self) -> None:
        self._key: tuple[object, ...] | None = None
        self._full: pygame.Surface | None = None
        self._faded: pygame.Surface | None = None
        self.area = pygame.Rect(0, 0, 0, 0)
        self.time = Axis(0, 1, 0, 1)

    def images(
        self,
        key: tuple[object, ...],
        look: Look,
        rect: pygame.Rect,
        rows: list[pygame.Rect],
        limits: list[float],
        curves: list[list[tuple[Array, Array, Colour]]],
        shaded: list[tuple[float, float]],
        *,
        ticks: bool = True,
    ) -> None:
        """Redraw the kept images if `key` changed. rows: plot area of each row; curves: (t, µm, colour) by row.

        ticks: lines at round values; else at zero alone.
        """
        if key == self._key and self._full is not None:
            return
        ground = surface(rect.size)
        ground.fill(look.theme.panel)
        full_curves, faded_curves = [], []
        for row, limit, lines in zip(rows, limits, curves, strict=True):
            box = row.move(-rect.x, -rect.y)
            for a, b in shaded:
                x0, x1 = self.time(a) - rect.x, self.time(b) - rect.x
                left, right = max(x0, box.x), min(x1, box.right)
                if right > left:
                    ground.fill(
                        mix(look.theme.panel, look.theme.grid, 0.55),
                        (round(left), box.y, max(1, round(right - left)), box.h),
                    )
            value = Axis(-limit, limit, box.bottom, box.y)
            for tick in symmetric_ticks(limit) if ticks else [0.0]:
                y = round(value(tick))
                ground.fill(look.theme.grid if tick else look.theme.line, (box.x, y, box.w, look.px(1)))
            for t, v, colour in lines:
                tt, vv = column_extremes(t, v, self.time.back(row.x), self.time.back(row.right), 2 * row.w)
                points = np.asarray(self.time(tt)) - rect.x, np.clip(np.asarray(value(vv)), box.y - 2, box.bottom + 2)
                full_curves.append((*points, colour))
                faded_curves.append((*points, look.theme.faded(colour, look.theme.to_come)))
        self._full = curve_image(look, rect.size, ground, full_curves, FULL_PX)
        self._faded = curve_image(look, rect.size, ground, faded_curves, TO_COME_PX)
        self._key = key

    def put(self, target: pygame.Surface, rect: pygame.Rect, now_s: float | None) -> None:
        """The curves up to the clock full, from there fainter; all full without a clock, or before it first moves."""
        assert self._full is not None
        assert self._faded is not None
        if now_s is None or now_s <= 0.0:
            target.blit(self._full, rect.topleft)
            return
        split = int(np.clip(round(float(self.time(now_s))), rect.x, rect.right)) - rect.x
        target.blit(self._full, rect.topleft, (0, 0, split, rect.h))
        target.blit(self._faded, (rect.x + split, rect.y), (split, 0, rect.w - split, rect.h))


def symmetric_ticks(limit: float) -> list[float]:
    """-t, 0, t with the largest nice t inside the limit."""
    power = 10.0 ** math.floor(math.log10(limit)) if limit > 0 else 1.0
    tick = max((k * power for k in (0.5, 1, 2, 5) if k * power <= 0.95 * limit), default=limit / 2)
    return [-tick, 0.0, tick]


def row_limit(largest_um: float) -> float:
    """Half the height of a deviation row, µm: the largest value and room above it."""
    return max(largest_um * 1.18, 0.5)


def time_labels(target: pygame.Surface, look: Look, area: pygame.Rect, axis: Axis, baseline: float) -> None:
    """Labels of a time axis in ms under `area`; the last one carries the unit."""
    span = (axis.high - axis.low) * 1e3
    step = nice_step(span, max(2, area.w // look.px(72)))
    decimals = decimals_of(step)
    ticks = np.arange(math.ceil(axis.low * 1e3 / step - 1e-9) * step, axis.high * 1e3 + 1e-6, step)
    for k, tick in enumerate(ticks):
        words = text.number(float(tick), decimals) + (" ms" if k == len(ticks) - 1 else "")
        x = float(axis(float(tick) / 1e3))
        half = text.width(look, words, 14) / 2
        text.draw(target, look, words, min(x, area.right - half), baseline, 14, colour=look.theme.dim, align="center")
