"""Curves: tool deviation against time, spectrum, and the overlay of compared designs.

Curves are drawn once per data, size and theme, thinned to the lowest and highest point of each pixel column, twice
(full and faded); a frame then only puts the two halves together at the clock and writes the moving readings.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pygame
from numpy.typing import NDArray

from . import text
from .canvas import column_extremes, disc, surface
from .shown import Shown
from .theme import Colour, Look, mix

Array = NDArray[np.float64]


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
    ) -> None:
        """Redraw the kept images if `key` changed. rows: plot area of each row; curves: (t, µm, colour) by row."""
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
            for tick in symmetric_ticks(limit):
                y = round(value(tick))
                ground.fill(look.theme.grid if tick else look.theme.line, (box.x, y, box.w, look.px(1)))
            for t, v, colour in lines:
                tt, vv = column_extremes(t, v, self.time.back(row.x), self.time.back(row.right), 2 * row.w)
                points = np.asarray(self.time(tt)) - rect.x, np.clip(np.asarray(value(vv)), box.y - 2, box.bottom + 2)
                full_curves.append((*points, colour))
                faded_curves.append((*points, look.theme.faded(colour)))
        self._full = curve_image(look, rect.size, ground, full_curves)
        self._faded = curve_image(look, rect.size, ground, faded_curves)
        self._key = key

    def put(self, target: pygame.Surface, rect: pygame.Rect, now_s: float | None) -> None:
        """The curves up to the clock full, from there faded; all full without a clock."""
        assert self._full is not None
        assert self._faded is not None
        if now_s is None:
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


class DeviationPlot(TimePlot):
    """Tool deviation in X and Y on one shared µm scale."""

    def draw(
        self,
        target: pygame.Surface,
        rect: pygame.Rect,
        look: Look,
        shown: Shown,
        now_s: float | None,
        *,
        window: tuple[float, float] | None = None,
        cursor: bool = True,
    ) -> None:
        """Draw into `rect`. now_s: the clock; None for a still picture. window: part of the time shown, s."""
        gutter, foot, top = look.px(64), look.px(30), look.px(4)
        area = pygame.Rect(rect.x + gutter, rect.y + top, rect.w - gutter, rect.h - foot - top)
        between = look.px(14)
        height = (area.h - between) // 2
        rows = [pygame.Rect(area.x, area.y, area.w, height), pygame.Rect(area.x, area.bottom - height, area.w, height)]
        low, high = window or (0.0, max(shown.end_s, 1e-3))
        self.area, self.time = area, Axis(low, high, area.x, area.right)
        limit = row_limit(max(abs(v.value_m) for v in shown.largest.values()) * 1e6)
        t = shown.t_s
        curves = [[(t, shown.deviation_m[a] * 1e6, look.theme.axis(a))] for a in ("x", "y")]
        self.images(
            (shown.serial, rect.size, rect.topleft, look, low, high), look, rect, rows, [limit] * 2, curves, shown.ramps
        )
        self.put(target, rect, now_s)
        for row, axis in zip(rows, ("x", "y"), strict=True):
            self._row(target, look, rect, row, shown, axis, limit, now_s)
        time_labels(target, look, area, self.time, rect.bottom - look.px(8))
        if now_s is not None and cursor and low <= now_s <= high:
            x = round(float(self.time(now_s)))
            target.fill(look.theme.text, (x, area.y, look.px(1), area.h))
            for row, axis in zip(rows, ("x", "y"), strict=True):
                self._reading(target, look, area, row, shown, axis, limit, now_s)

    def _row(
        self,
        target: pygame.Surface,
        look: Look,
        rect: pygame.Rect,
        row: pygame.Rect,
        shown: Shown,
        axis: str,
        limit: float,
        now_s: float | None,
    ) -> None:
        value = Axis(-limit, limit, row.bottom, row.y)
        for tick in symmetric_ticks(limit):
            words = text.number(tick, decimals_of(tick) if tick else 0, signed=True)
            y = float(value(tick)) + look.px(5)
            text.draw(target, look, words, row.x - look.px(9), y, 14, colour=look.theme.dim, align="right")
        colour = look.theme.axis(axis)
        text.draw(target, look, axis.upper(), rect.x, row.centery + look.px(5), 16, bold=True, colour=colour)
        largest = shown.largest[axis]
        if not self.time.low <= largest.time_s <= self.time.high or largest.value_m == 0:
            return
        at = (float(self.time(largest.time_s)), float(value(largest.value_m * 1e6)))
        disc(target, at, look.px(4), colour)
        words = f"largest {text.micrometres(abs(largest.value_m))} µm"
        room = text.width(look, words, 14)
        left = at[0] - look.px(10) - room
        # The word stands on the side of its mark where neither the edge nor the clock's reading is.
        cursor = float(self.time(now_s)) if now_s is not None else -1e9
        blocked = left < row.x or (left - look.px(8) < cursor + look.px(90) and cursor < at[0])
        fits_right = at[0] + look.px(10) + room < row.right
        x = at[0] + look.px(10) if blocked and fits_right else max(left, row.x)
        text.draw(target, look, words, x, at[1] + look.px(5), 14, colour=colour, back=look.theme.panel)

    def _reading(
        self,
        target: pygame.Surface,
        look: Look,
        area: pygame.Rect,
        row: pygame.Rect,
        shown: Shown,
        axis: str,
        limit: float,
        now_s: float,
    ) -> None:
        value_m = float(shown.at(now_s, shown.deviation_m[axis]))
        x = float(self.time(now_s))
        y = float(Axis(-limit, limit, row.bottom, row.y)(value_m * 1e6))
        colour = look.theme.axis(axis)
        disc(target, (x, y), look.px(5), look.theme.panel)
        disc(target, (x, y), look.px(4), colour)
        words = f"{text.number(value_m * 1e6, 1, signed=True)} µm"
        right = x + look.px(12) + text.width(look, words, 16, True) <= area.right
        text.draw(
            target,
            look,
            words,
            x + look.px(12) * (1 if right else -1),
            row.y + look.px(15),
            16,
            bold=True,
            colour=colour,
            align="left" if right else "right",
            back=look.theme.panel,
        )


@dataclass(frozen=True)
class PeakLabel:
    """Where a spectrum rings: px of the peak, its words."""

    at: tuple[float, float]
    head: str
    tail: str
    colour: Colour


class SpectrumPlot:
    """Spectra of both axes with their peaks in words."""

    def __init__(self) -> None:
        self._key: tuple[object, ...] | None = None
        self._image: pygame.Surface | None = None
        self._curve_px: list[Array] = []

    def draw(self, target: pygame.Surface, rect: pygame.Rect, look: Look, shown: Shown) -> None:
        """Draw into `rect`; redrawn only when data, size or theme change."""
        key = (shown.serial, rect.size, look)
        if key != self._key or self._image is None or text.Log.active is not None:
            self._image = surface(rect.size)
            self._image.fill(look.theme.panel)
            self._paint(self._image, self._image.get_rect(), look, shown)
            self._key = key
        target.blit(self._image, rect.topleft)

    def _paint(self, target: pygame.Surface, rect: pygame.Rect, look: Look, shown: Shown) -> None:
        analysis = shown.result.analysis
        spectra = {a: s for a, s in analysis.spectra.items() if len(s.frequency_hz)}
        if not spectra or max(float(s.amplitude_m.max()) for s in spectra.values()) <= 0:
            text.draw(
                target,
                look,
                "No axis stands still long enough to ring down.",
                rect.centerx,
                rect.centery,
                16,
                colour=look.theme.dim,
                align="center",
            )
            return
        area = pygame.Rect(rect.x + look.px(64), rect.y + look.px(10), rect.w - look.px(64), rect.h - look.px(42))
        rings = [r.frequency_hz for r in analysis.ringing.values() if r is not None and r.frequency_hz]
        peaks = [p.frequency_hz for s in spectra.values() for p in s.peaks[:1]]
        top_hz = min(
            max([160.0, *(1.7 * f for f in rings + peaks)]), max(float(s.frequency_hz[-1]) for s in spectra.values())
        )
        across = Axis(0.0, top_hz, area.x, area.right)
        inside = {a: s.frequency_hz <= top_hz for a, s in spectra.items()}
        most = max(float(s.amplitude_m[inside[a]].max()) for a, s in spectra.items()) * 1e6
        up = Axis(0.0, most * 1.25, area.bottom, area.y)
        self._grid(target, look, area, across, up)
        ground = target.copy()
        curves = []
        self._curve_px.clear()
        for axis, s in spectra.items():
            x, y = column_extremes(s.frequency_hz, s.amplitude_m * 1e6, 0.0, top_hz, 2 * area.w)
            px = np.asarray(across(x)), np.asarray(up(y))
            curves.append((*px, look.theme.axis(axis)))
            self._curve_px.append(np.column_stack(px))
            self._fill(ground, area, px, look.theme.axis(axis))
        image = curve_image(look, target.get_size(), ground, curves)
        target.blit(image, (area.x, area.y), area)
        self._grid_words(target, look, area, across, up)
        self._labels(target, look, area, across, up, shown)

    @staticmethod
    def _fill(target: pygame.Surface, area: pygame.Rect, px: tuple[Array, Array], colour: Colour) -> None:
        points = [
            *zip(px[0].tolist(), px[1].tolist(), strict=True),
            (float(px[0][-1]), area.bottom),
            (float(px[0][0]), area.bottom),
        ]
        veil = pygame.Surface(target.get_size(), pygame.SRCALPHA, 32)
        pygame.draw.polygon(veil, (*colour, 34), points)
        target.blit(veil, (0, 0))

    @staticmethod
    def _grid(target: pygame.Surface, look: Look, area: pygame.Rect, across: Axis, up: Axis) -> None:
        step = nice_step(up.high, 3)
        for tick in np.arange(0, up.high + 1e-9, step):
            target.fill(
                look.theme.line if tick == 0 else look.theme.grid, (area.x, round(float(up(tick))), area.w, look.px(1))
            )

    @staticmethod
    def _grid_words(target: pygame.Surface, look: Look, area: pygame.Rect, across: Axis, up: Axis) -> None:
        step = nice_step(up.high, 3)
        for tick in np.arange(0, up.high + 1e-9, step):
            y = float(up(tick)) + look.px(5)
            text.draw(
                target,
                look,
                text.number(tick, decimals_of(step)),
                area.x - look.px(9),
                y,
                14,
                colour=look.theme.dim,
                align="right",
            )
        step = nice_step(across.high, max(2, area.w // look.px(72)))
        ticks = np.arange(0, across.high + 1e-9, step)
        for k, tick in enumerate(ticks):
            words = text.number(tick) + (" Hz" if k == len(ticks) - 1 else "")
            half = text.width(look, words, 14) / 2
            x = min(float(across(tick)), area.right - half)
            text.draw(target, look, words, x, area.bottom + look.px(22), 14, colour=look.theme.dim, align="center")

    def _labels(
        self, target: pygame.Surface, look: Look, area: pygame.Rect, across: Axis, up: Axis, shown: Shown
    ) -> None:
        taken: list[pygame.Rect] = []
        labels = sorted(self._peak_labels(look, across, up, shown), key=lambda p: p.at[1])
        for label in labels:
            disc(target, label.at, look.px(4), label.colour)
            for y in range(round(label.at[1]) + look.px(6), area.bottom, look.px(5)):
                target.fill(label.colour, (round(label.at[0]), y, 1, look.px(2)))
        for label in labels:
            room = max(text.width(look, label.head, 16, True), text.width(look, label.tail, 14))
            height = look.px(40)
            box = self._place_label(area, label.at, (room, height), look, taken, self._curve_px)
            taken.append(box)
            text.draw(
                target,
                look,
                label.head,
                box.x,
                box.y + look.px(15),
                16,
                bold=True,
                colour=label.colour,
                back=look.theme.panel,
            )
            if label.tail:
                text.draw(
                    target,
                    look,
                    label.tail,
                    box.x,
                    box.y + look.px(34),
                    14,
                    colour=look.theme.dim,
                    back=look.theme.panel,
                )

    @staticmethod
    def _place_label(
        area: pygame.Rect,
        at: tuple[float, float],
        size: tuple[int, int],
        look: Look,
        taken: list[pygame.Rect],
        curves: list[Array],
    ) -> pygame.Rect:
        """Beside the peak where the words cover least of the curves and no other words."""
        gap = look.px(14)
        best, least = pygame.Rect(round(min(at[0] + gap, area.right - size[0])), area.top, *size), 1e9
        for rank, drop in enumerate((0, -1, 1, -2, -3, 2)):
            for side in (1, -1):
                x = at[0] + gap if side > 0 else at[0] - gap - size[0]
                box = pygame.Rect(round(x), round(at[1] - look.px(22) + drop * look.px(22)), *size)
                inside = (
                    area.left <= box.left
                    and box.right <= area.right
                    and area.top <= box.top
                    and box.bottom <= area.bottom
                )
                if not inside or box.inflate(8, 4).collidelist(taken) >= 0:
                    continue
                covered = sum(
                    int(
                        np.count_nonzero(
                            (c[:, 0] > box.left) & (c[:, 0] < box.right) & (c[:, 1] > box.top) & (c[:, 1] < box.bottom)
                        )
                    )
                    for c in curves
                )
                cost = covered + 12 * rank + (side < 0)
                if cost < least:
                    best, least = box, cost
        return best

    @staticmethod
    def _peak_labels(look: Look, across: Axis, up: Axis, shown: Shown) -> list[PeakLabel]:
        out = []
        for axis, ringing in shown.result.analysis.ringing.items():
            spectrum = shown.result.analysis.spectra[axis]
            if ringing is None or not ringing.frequency_hz or not len(spectrum.frequency_hz):
                continue
            near = min(spectrum.peaks, key=lambda p: abs(p.frequency_hz - ringing.frequency_hz), default=None)
            hz = ringing.frequency_hz
            if near is not None and abs(near.frequency_hz - hz) < 0.2 * hz:
                point = near.frequency_hz, near.amplitude_m
            else:
                point = hz, float(np.interp(hz, spectrum.frequency_hz, spectrum.amplitude_m))
            if hz > across.high:
                continue
            fades = ringing.fades_to_5_percent_s
            tail = (
                f"fades to 5 % in {text.number(fades * 1e3)} ms" if fades is not None else "does not fade while watched"
            )
            head = f"{axis.upper()} rings at {text.number(hz, 1 if hz < 20 else 0)} Hz"
            out.append(
                PeakLabel((float(across(point[0])), float(up(point[1] * 1e6))), head, tail, look.theme.axis(axis))
            )
        return out


class OverlayPlot(TimePlot):
    """Sideways error of all compared designs over one time axis, each named at its right end."""

    def draw(
        self,
        target: pygame.Surface,
        rect: pygame.Rect,
        look: Look,
        designs: Sequence[tuple[str, Shown]],
        now_s: float | None,
        *,
        window: tuple[float, float] | None = None,
    ) -> None:
        """designs: (label, run), in their colours' order. Same scales for all."""
        widest = max(text.width(look, label, 16, True) for label, _ in designs)
        gutter, foot, end = look.px(64), look.px(30), widest + look.px(14)
        area = pygame.Rect(rect.x + gutter, rect.y + look.px(4), rect.w - gutter - end, rect.h - foot - look.px(4))
        low, high = window or (0.0, max(max(s.end_s for _, s in designs), 1e-3))
        self.area, self.time = area, Axis(low, high, area.x, area.right)
        most = 0.0
        for _, s in designs:
            part = (s.t_s >= low) & (s.t_s <= high)
            most = max(most, float(np.abs(s.sideways_m[part]).max()) * 1e6 if part.any() else 0.0)
        limit = row_limit(most)
        curves = [(s.t_s, s.sideways_m * 1e6, look.theme.designs[k % 3]) for k, (_, s) in enumerate(designs)]
        key = (tuple(s.serial for _, s in designs), rect.size, rect.topleft, look, low, high)
        self.images(key, look, rect, [area], [limit], [curves], designs[0][1].ramps)
        self.put(target, rect, now_s)
        value = Axis(-limit, limit, area.bottom, area.y)
        for tick in symmetric_ticks(limit):
            words = text.number(tick, decimals_of(tick) if tick else 0, signed=True)
            text.draw(
                target,
                look,
                words,
                area.x - look.px(9),
                float(value(tick)) + look.px(5),
                14,
                colour=look.theme.dim,
                align="right",
            )
        time_labels(target, look, area, self.time, rect.bottom - look.px(8))
        self._names(target, look, area, designs, value, high)
        if now_s is not None and low <= now_s <= high:
            x = round(float(self.time(now_s)))
            target.fill(look.theme.text, (x, area.y, look.px(1), area.h))
            for k, (_, s) in enumerate(designs):
                y = float(value(float(s.at(now_s, s.sideways_m)) * 1e6))
                disc(target, (x, y), look.px(5), look.theme.panel)
                disc(target, (x, y), look.px(4), look.theme.designs[k % 3])

    @staticmethod
    def _names(
        target: pygame.Surface,
        look: Look,
        area: pygame.Rect,
        designs: Sequence[tuple[str, Shown]],
        value: Axis,
        high: float,
    ) -> None:
        """Names at the right end, kept apart; a thin leader joins a name to the end of its curve."""
        gap = look.px(22)
        ends = [float(value(float(s.at(min(high, s.end_s), s.sideways_m)) * 1e6)) for _, s in designs]
        order = sorted(range(len(designs)), key=lambda k: (ends[k], k))
        places = [0.0] * len(designs)
        start = np.mean(ends) - gap * (len(designs) - 1) / 2
        last = -1e9
        for rank, k in enumerate(order):
            last = places[k] = max(start + rank * gap if len(designs) > 1 else ends[k], last + gap)
        for k, (label, _) in enumerate(designs):
            colour = look.theme.designs[k % 3]
            pygame.draw.aaline(target, colour, (area.right + 2, ends[k]), (area.right + look.px(10), places[k]))
            text.draw(
                target, look, label, area.right + look.px(14), places[k] + look.px(5), 16, bold=True, colour=colour
            )
