"""The sideways error of compared designs over one time axis."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pygame

from ..draw import text
from ..draw.canvas import disc
from ..draw.theme import Colour, Look
from .axes import Axis, TimePlot, decimals_of, row_limit, symmetric_ticks, time_labels
from .shown import Shown

MOST_LEGS = 24  # a program has thousands of lines: then the whole move is shown


def leg_window(shown: Shown, now_s: float) -> tuple[float, float] | None:
    """From shortly before the start of the leg of `now_s` to its end, s; None where legs are many."""
    legs = shown.legs
    if not legs or len(legs) > MOST_LEGS:
        return None
    index = max((k for k, (_, start, _) in enumerate(legs) if start <= now_s + 1e-9), default=0)
    _, start, end = legs[index]
    before = 0.12 * max(end - start, 0.1)
    return max(0.0, start - before), max(end, start + 0.05)


def leg_name(shown: Shown, now_s: float) -> str:
    """Name of the leg of `now_s`."""
    return max(((start, name) for name, start, _ in shown.legs if start <= now_s + 1e-9), default=(0.0, ""))[1]


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
        colours: Sequence[int] | None = None,
    ) -> None:
        """designs: (label, run). colours: the number of each design's colour, in order if left out."""
        palette = [look.theme.designs[k % 3] for k in (colours if colours is not None else range(len(designs)))]
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
        curves = [(s.t_s, s.sideways_m * 1e6, palette[k]) for k, (_, s) in enumerate(designs)]
        key = (tuple(s.serial for _, s in designs), tuple(palette), rect.size, rect.topleft, look, low, high)
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
        self._names(target, look, area, designs, value, high, palette)
        if now_s is not None and low <= now_s <= high:
            x = round(float(self.time(now_s)))
            target.fill(look.theme.text, (x, area.y, look.px(1), area.h))
            for k, (_, s) in enumerate(designs):
                y = float(value(float(s.at(now_s, s.sideways_m)) * 1e6))
                disc(target, (x, y), look.px(5), look.theme.panel)
                disc(target, (x, y), look.px(4), palette[k])

    @staticmethod
    def _names(
        target: pygame.Surface,
        look: Look,
        area: pygame.Rect,
        designs: Sequence[tuple[str, Shown]],
        value: Axis,
        high: float,
        palette: Sequence[Colour],
    ) -> None:
        """Names at the right end, kept apart; a thin leader joins a name to the end of its curve."""
        gap = look.px(22)
        ends = [float(value(float(s.at(min(high, s.end_s), s.sideways_m)) * 1e6)) for _, s in designs]
        order = sorted(range(len(designs)), key=lambda k: (ends[k], k))
        places = [0.0] * len(designs)
        start = float(np.mean(ends)) - gap * (len(designs) - 1) / 2
        last = -1e9
        for rank, k in enumerate(order):
            last = places[k] = max(start + rank * gap if len(designs) > 1 else ends[k], last + gap)
        for k, (label, _) in enumerate(designs):
            colour = palette[k]
            pygame.draw.aaline(target, colour, (area.right + 2, ends[k]), (area.right + look.px(10), places[k]))
            text.draw(
                target, look, label, area.right + look.px(14), places[k] + look.px(5), 16, bold=True, colour=colour
            )
