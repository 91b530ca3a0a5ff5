"""The spectrum of both axes, with its peaks in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pygame
from numpy.typing import NDArray

from ..draw import text
from ..draw.canvas import column_extremes, disc, surface
from ..draw.room import Line, Room, nearby
from ..draw.theme import Colour, Look
from .axes import Axis, curve_image, decimals_of, nice_step
from .shown import Shown

Array = NDArray[np.float64]


@dataclass(frozen=True)
class PeakLabel:
    """A named peak: px of its dot, its frequency, its words, further words below them and shorter ones instead.

    more: dots of the other axis' peak at the same frequency.  told: whether it is what its axis is said to ring at.
    """

    at: tuple[float, float]
    hz: float
    head: str
    tails: tuple[str, ...]
    shorter: tuple[str, ...]
    colour: Colour
    more: tuple[tuple[float, float], ...] = ()
    told: bool = False


@dataclass(frozen=True)
class Curve:
    """frequency_hz, amplitude_m: (n,).  peaks: each with its frequency_hz, largest first."""

    frequency_hz: Array
    amplitude_m: Array
    peaks: tuple[Any, ...]


def curves_of(analysis: Any) -> dict[str, Curve]:
    """The curves to draw by axis: the response to a sweep, m for each m/s2, where there was one; else the ring-downs' spectra."""
    if analysis.responses:
        return {r.axis: Curve(r.frequency_hz, r.gain_s2, r.peaks) for r in analysis.responses}
    known = {axis: s for axis, s in analysis.spectra.items() if len(s.frequency_hz)}
    return {axis: Curve(s.frequency_hz, s.amplitude_m, s.peaks) for axis, s in known.items()}


def title_of(analysis: Any) -> tuple[str, str]:
    """Title of the panel and what it shows."""
    if analysis.responses:
        return "Response", "µm the tool swings for each m/s² of the sweep"
    count = max((s.ringdowns for s in analysis.spectra.values()), default=0)
    return "Spectrum", f"µm, mean over up to {count} ring-downs an axis"


class SpectrumPlot:
    """Spectra of both axes with their peaks in words."""

    def __init__(self) -> None:
        self._key: tuple[object, ...] | None = None
        self._image: pygame.Surface | None = None
        self._curve_px: list[Array] = []
        #: dots and words of named peaks in the picture, with their frequency; where the picture stands
        self.dots: list[tuple[pygame.Rect, float]] = []
        self.at = (0, 0)

    def draw(self, target: pygame.Surface, rect: pygame.Rect, look: Look, shown: Shown) -> None:
        """Draw into `rect`; redrawn only when data, size or theme change."""
        key = (shown.serial, rect.size, look)
        if key != self._key or self._image is None or text.Log.active is not None:
            self._image = surface(rect.size)
            self._image.fill(look.theme.panel)
            since = len(text.Log.active.words) if text.Log.active is not None else 0
            self._paint(self._image, self._image.get_rect(), look, shown)
            if text.Log.active is not None:
                text.Log.active.moved(since, rect.topleft)
            self._key = key
        self.at = rect.topleft
        target.blit(self._image, rect.topleft)

    def _paint(self, target: pygame.Surface, rect: pygame.Rect, look: Look, shown: Shown) -> None:
        analysis = shown.result.analysis
        spectra = curves_of(analysis)
        if not spectra or max(float(s.amplitude_m.max()) for s in spectra.values()) <= 0:
            lines = text.wrap(look, "No axis stands still long enough to ring down.", rect.w, 16)
            for k, words in enumerate(lines):
                base = rect.centery + round((k - (len(lines) - 1) / 2) * look.px(22))
                text.draw(target, look, words, rect.centerx, base, 16, colour=look.theme.dim, align="center")
            return
        gutter = look.px(64 if rect.w > look.px(380) else 30)
        area = pygame.Rect(rect.x + gutter, rect.y + look.px(10), rect.w - gutter, rect.h - look.px(42))
        rings = [p.frequency_hz for p in shown.result.named_peaks]
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
        """Every peak that is named has its dot at the printed frequency, and its words where they cover nothing."""
        room = Room(look, pygame.Rect(area.x, 0, target.get_width() - area.x, area.bottom))
        for curve in self._curve_px:
            room.avoid(curve)
        labels = self._peak_labels(look, across, up, shown)
        self.dots = []
        for label in labels:
            for at in (label.at, *label.more):
                disc(target, at, look.px(4), label.colour)
            half = look.px(5)
            dot = pygame.Rect(round(label.at[0]) - half, round(label.at[1]) - half, 2 * half, 2 * half)
            self.dots.append((room.take(dot), label.hz))
            for y in range(round(label.at[1]) + look.px(6), area.bottom, look.px(5)):
                target.fill(label.colour, (round(label.at[0]), y, 1, look.px(2)))
        for label in _apart(labels, look.px(APART)):
            covered = self._words(target, look, room, label)
            if covered is not None:
                self.dots.append((covered, label.hz))

    @staticmethod
    def _words(target: pygame.Surface, look: Look, room: Room, label: PeakLabel) -> pygame.Rect | None:
        """Head and tail as near to the dot as they cover nothing, a thin line to it where that is far; the frequency alone
        where there is little room."""
        gap = look.px(11)
        spots = nearby(room.area, label.at, gap, (look.px(14), look.px(9)))
        head = Line(label.head, label.colour, 16, True)
        blocks = [[head, Line(tail, look.theme.dim)] for tail in label.tails] + [[head]]
        blocks += [[Line(short, label.colour, 16, True)] for short in label.shorter]
        for block in blocks:
            found = room.lines(target, block, spots)
            if found is not None:
                _leader(target, look, label, found)
                return found
        return room.write(target, label.shorter[-1], spots, 16, bold=True, colour=label.colour, must=True)

    def peak_at(self, pos: tuple[int, int]) -> float | None:
        """Frequency of the peak whose dot or words are at a place of the target, Hz; None where there is none."""
        x, y = pos[0] - self.at[0], pos[1] - self.at[1]
        return next((hz for rect, hz in self.dots if rect.inflate(8, 8).collidepoint(x, y)), None)

    @staticmethod
    def _peak_labels(look: Look, across: Axis, up: Axis, shown: Shown) -> list[PeakLabel]:
        out = []
        for response in shown.result.analysis.responses:
            for peak in response.peaks:
                if peak.frequency_hz > across.high:
                    continue
                at = float(across(peak.frequency_hz)), float(up(peak.gain_s2 * 1e6))
                hz = _hertz(peak.frequency_hz)
                axis = response.axis.upper()
                tail = f"{text.micrometres(peak.gain_s2)} µm for each m/s²"
                colour = look.theme.axis(response.axis)
                out.append(
                    PeakLabel(at, peak.frequency_hz, f"{axis} answers at {hz}", (tail,), (f"{axis} {hz}", hz), colour)
                )
        for both in _together(shown.result.named_peaks):
            named = both[0]
            hz, cause = _hertz(named.frequency_hz), named.behind.words if named.behind.mode is not None else ""
            if named.frequency_hz > across.high:
                continue
            at = float(across(named.frequency_hz)), float(up(named.amplitude_m * 1e6))
            more = [(float(across(p.frequency_hz)), float(up(p.amplitude_m * 1e6))) for p in both[1:]]
            axis = ", ".join(p.axis.upper() for p in both)
            tails = tuple(dict.fromkeys(filter(None, [cause, cause.split(" (")[0]])))
            if named.told:
                fades = named.fades_s
                tails = (f"fades to 5 % in {text.number(fades * 1e3)} ms" if fades else "does not fade while watched",)
            head = f"{axis} rings at {hz}" if named.told else f"{axis} {hz}"
            colour = look.theme.axis(named.axis) if len(both) == 1 else look.theme.text
            out.append(
                PeakLabel(at, named.frequency_hz, head, tails, (f"{axis} {hz}", hz), colour, tuple(more), named.told)
            )
        return out


def _leader(target: pygame.Surface, look: Look, label: PeakLabel, words: pygame.Rect) -> None:
    """A thin line from words to their dot, where they do not stand beside it."""
    x = min(max(label.at[0], words.left), words.right)
    y = min(max(label.at[1], words.top), words.bottom)
    away = float(np.hypot(label.at[0] - x, label.at[1] - y))
    if away > look.px(24):
        share = look.px(6) / away
        start = (label.at[0] + (x - label.at[0]) * share, label.at[1] + (y - label.at[1]) * share)
        pygame.draw.aaline(target, look.theme.dim, start, (x, y))


#: Peaks of one axis nearer to each other than this, px, are the teeth of one comb: its first is written, told ones always.
APART = 12


def _apart(labels: Sequence[PeakLabel], nearest: float) -> list[PeakLabel]:
    """Those that are written: what is told, and of the rest what stands apart from what is written in its colour."""
    out: list[PeakLabel] = []
    for label in sorted(labels, key=lambda one: not one.told):
        near = any(one.colour == label.colour and abs(one.at[0] - label.at[0]) < nearest for one in out)
        if label.told or not near:
            out.append(label)
    return out


#: Peaks of both axes this near to each other, as a ratio less one, have one label.
SAME = 0.03


def _together(peaks: Sequence[Any]) -> list[list[Any]]:
    """Peaks, those of both axes at the same frequency in one group; what is told stands for itself."""
    out: list[list[Any]] = []
    for peak in peaks:
        for group in out:
            first = group[0]
            near = abs(peak.frequency_hz / first.frequency_hz - 1.0) < SAME
            if near and peak.axis != first.axis and not (peak.told or first.told) and len(group) == 1:
                group.append(peak)
                break
        else:
            out.append([peak])
    return out


def _hertz(hz: float) -> str:
    return f"{text.number(hz, 1 if hz < 20 else 0)} Hz"
