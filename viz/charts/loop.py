"""One corner as it is laid on paper: the asked line at true scale, what the tool is off drawn larger."""

from __future__ import annotations

import numpy as np
import pygame
from numpy.typing import NDArray

from ..draw import text
from ..draw.larger import one_figure
from ..draw.theme import Look
from .axes import nice_step
from .corners import Corner
from .printed import PaperScale, PrintCanvas, lens_scale
from .shown import Shown

Array = NDArray[np.float64]

#: So many ripples after a corner are in the picture; where no frequency is told, that much of the line, m.
RIPPLES, UNTOLD_M = 6.0, 0.012
SHORTEST_M, LONGEST_M = 0.004, 0.040
#: The largest error in the picture takes this share of its smaller side.
SHARE = 0.38


def loop_span_m(shown: Shown) -> float:
    """How much of the line after a corner is shown, m."""
    spacing = shown.result.analysis.ripple_spacing_m
    return float(np.clip(RIPPLES * spacing if spacing else UNTOLD_M, SHORTEST_M, LONGEST_M))


def loop_scale(rect: pygame.Rect, shown: Shown, corner: Corner, span_m: float, magnification: float) -> PaperScale:
    """Where a corner lies in `rect`: the line that leaves it runs towards the middle."""
    after = min(corner.stop_s + 0.05, shown.end_s)
    way = np.asarray(shown.at(after, shown.trace.asked[:, :2])) - np.asarray(corner.place_m)
    size = float(np.hypot(*way))
    way = way / size if size > 1e-6 else np.zeros(2)
    side = rect.w if abs(way[0]) >= abs(way[1]) else rect.h
    px_m = side / span_m
    middle = np.asarray(corner.place_m) + way * 0.32 * span_m
    return lens_scale(rect.center, middle, px_m, magnification)


def loop_magnification(rect: pygame.Rect, shown: Shown, corner: Corner, span_m: float) -> float:
    """How much larger what the tool is off is drawn: one figure and zeros."""
    part = (shown.t_s >= corner.begin_s) & (shown.t_s <= corner.end_s)
    most = float(np.abs(shown.sideways_m[part]).max()) if part.any() else 0.0
    px_m = loop_scale(rect, shown, corner, span_m, 1.0).px_m
    return one_figure(SHARE * min(rect.w, rect.h) / (most * px_m)) if most > 1e-9 else 1.0


class CornerLoop:
    """One corner of one run, for a moving clock."""

    def __init__(self) -> None:
        self.canvas = PrintCanvas()

    def forget(self) -> None:
        """Let go of the images."""
        self.canvas.forget()

    def draw(
        self, target: pygame.Surface, rect: pygame.Rect, look: Look, shown: Shown, corner: Corner, now_s: float
    ) -> float:
        """Draw into `rect`, its foot for the bars; returns how much larger what is off is drawn."""
        foot = look.px(26)
        paper = pygame.Rect(rect.x, rect.y, rect.w, rect.h - foot)
        span = loop_span_m(shown)
        larger = loop_magnification(paper, shown, corner, span)
        scale = loop_scale(paper, shown, corner, span, larger)
        now = corner.end_s if now_s <= 0.0 else min(now_s, shown.end_s)
        self.canvas.draw(target, paper, look, shown, scale, now, width_px=2.0 * look.scale)
        bars(target, look, rect.x, rect.bottom - look.px(4), scale, rect.w)
        return larger


def bars(target: pygame.Surface, look: Look, x: int, baseline: int, scale: PaperScale, room: int) -> None:
    """Bars for both ways: so much off the line is so long, and so much along it."""
    longest = look.px(46)
    off_um = nice_step(longest / (scale.px_m * scale.magnification) * 1e6, 1)
    off_um = off_um if off_um * 1e-6 * scale.px_m * scale.magnification <= longest else off_um / 2
    along_mm = nice_step(longest / scale.px_m * 1e3, 1)
    along_mm = along_mm if along_mm * 1e-3 * scale.px_m <= longest else along_mm / 2
    wide = max(2, round(along_mm * 1e-3 * scale.px_m))
    tall = max(2, round(off_um * 1e-6 * scale.px_m * scale.magnification))
    thick = look.px(2)
    y = baseline - look.px(2)
    target.fill(look.theme.text, (x, y, wide, thick))
    target.fill(look.theme.text, (x, y - tall, thick, tall))
    long = f"{text.plain(off_um)} µm off, {text.plain(along_mm)} mm along"
    short = f"{text.plain(off_um)} µm, {text.plain(along_mm)} mm"
    left = x + max(wide, thick) + look.px(8)
    words = next((w for w in (long, short) if text.width(look, w, 14) <= x + room - left), "")
    if not words:  # each beside its own bar
        off, along = short.split(", ")
        text.draw(target, look, off, x + thick + look.px(6), y - look.px(8), 14, colour=look.theme.dim)
        words = text.fit(look, along, x + room - left, 14)
    text.draw(target, look, words, left, baseline, 14, colour=look.theme.dim)
