"""The spectrum of both axes, with its peaks in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pygame
from numpy.typing import NDArray

from ..draw import text
from ..draw.canvas import column_extremes, disc, surface
from ..draw.theme import Colour, Look
from .axes import Axis, curve_image, decimals_of, nice_step
from .shown import Shown

Array = NDArray[np.float64]


@dataclass(frozen=True)
class PeakLabel:
    """Where a spectrum rings: px of the peak, its words."""

    at: tuple[float, float]
    head: str
    tail: str
    colour: Colour


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
        spectra = curves_of(analysis)
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
        told = () if analysis.responses else analysis.ringing.values()
        rings = [r.frequency_hz for r in told if r is not None and r.frequency_hz and r.axis in analysis.spectra]
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
            text.draw(target, look, label.head, box.x, box.y + look.px(15), 16, bold=True, colour=label.colour)
            if label.tail:
                text.draw(target, look, label.tail, box.x, box.y + look.px(34), 14, colour=look.theme.dim)

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
        for response in shown.result.analysis.responses:
            for peak in response.peaks:
                if peak.frequency_hz > across.high:
                    continue
                at = float(across(peak.frequency_hz)), float(up(peak.gain_s2 * 1e6))
                hz = peak.frequency_hz
                head = f"{response.axis.upper()} answers at {text.number(hz, 1 if hz < 20 else 0)} Hz"
                tail = f"{text.micrometres(peak.gain_s2)} µm for each m/s²"
                out.append(PeakLabel(at, head, tail, look.theme.axis(response.axis)))
        if out:
            return out
        for axis, ringing in shown.result.analysis.ringing.items():
            if axis not in shown.result.analysis.spectra:
                continue
            spectrum = shown.result.analysis.spectra[axis]
            if ringing is None or not ringing.frequency_hz or not len(spectrum.frequency_hz):
                continue
            hz = ringing.frequency_hz
            near = min(spectrum.peaks, key=lambda p, hz=hz: abs(p.frequency_hz - hz), default=None)  # type: ignore[misc]
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
