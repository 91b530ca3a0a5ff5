"""Measured and modelled acceleration over one time axis: the record in the text's colour, the model before and after."""

from __future__ import annotations

import numpy as np
import pygame
from beltspring.sim import FitCurves

from ..draw import text
from ..draw.canvas import column_extremes, surface
from ..draw.theme import Look
from .axes import Axis, curve_image, decimals_of, symmetric_ticks, time_labels

GROWS = 1.15
BEFORE_S, SHOWN_S = 0.04, 0.30


def about_the_largest(curves: FitCurves) -> tuple[float, float]:
    """From shortly before the largest acceleration measured until it has rung down, s."""
    t = curves.t_s
    low = max(float(t[int(np.argmax(np.abs(curves.measured)))]) - BEFORE_S, float(t[0]))
    return low, min(low + SHOWN_S, float(t[-1]))


class MeasuredPlot:
    """One record along the machine's axis that moves most. Rows: the model before beside the record, and after."""

    def draw(self, target: pygame.Surface, rect: pygame.Rect, look: Look, curves: FitCurves, after: bool) -> None:
        """Draw one row into `rect`. after: the model as fitted, else as it was told."""
        gutter, foot = look.px(56), look.px(26)
        area = pygame.Rect(rect.x + gutter, rect.y + look.px(4), rect.w - gutter, rect.h - foot - look.px(4))
        low, high = about_the_largest(curves)
        time = Axis(low, high, area.x, area.right)
        limit = max(GROWS * float(np.abs(curves.measured).max(initial=0.0)), 1e-3)
        value = Axis(-limit, limit, area.bottom, area.y)
        ground = surface(area.size)
        ground.fill(look.theme.panel)
        for tick in symmetric_ticks(limit):
            y = round(float(value(tick)))
            ground.fill(look.theme.grid if tick else look.theme.line, (0, y - area.y, area.w, look.px(1)))
            words = text.number(tick, decimals_of(tick) if tick else 0, signed=True)
            text.draw(
                target, look, words, area.x - look.px(8), y + look.px(5), 14, colour=look.theme.dim, align="right"
            )
        model = curves.after if after else curves.before
        colour = look.theme.designs[1] if after else look.theme.designs[2]
        lines = []
        for v, shade in ((curves.measured, look.theme.faded(look.theme.text, 0.35)), (model, colour)):
            tt, vv = column_extremes(curves.t_s, v, time.low, time.high, 2 * area.w)
            up = np.clip(np.asarray(value(vv)), area.y, area.bottom) - area.y
            lines.append((np.asarray(time(tt)) - area.x, up, shade))
        # What was measured lies as a broad band under the model's line, so that both are seen where they agree.
        image = curve_image(look, area.size, ground, lines[:1], 4.0)
        target.blit(curve_image(look, area.size, image, lines[1:], 1.4), area.topleft)
        time_labels(target, look, area, time, rect.bottom - look.px(6))
