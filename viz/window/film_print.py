"""A film of the printed line: the whole path as it is laid down, its error larger, and beside it what is drawn at this corner."""

from __future__ import annotations

import numpy as np
import pygame

from ..charts.corners import Corner
from ..charts.printed import PrintCanvas, best_magnification, fit_path, magnification_words
from ..charts.shown import Shown
from ..charts.wall import calm_words
from ..draw import text
from ..draw.canvas import ring, rounded
from .film_page import LENS_WIDE_M, FilmPage
from .film_parts import Told


class PrintPage(FilmPage):
    """Draws one run's line at an instant into a picture of `size`, px. only: the corner it is about; None: all of them."""

    name, title = "print", "Printed line"

    def __init__(
        self, shown: Shown, theme: str, size: tuple[int, int], settings: str, only: Corner | None = None
    ) -> None:
        super().__init__(shown, theme, size, settings, only)
        self._path = PrintCanvas()
        self._larger = best_magnification(shown)
        self._told: dict[Corner, Told | None] = {}  # a wall is worked out once, not for every frame

    def told(self, corner: Corner | None) -> Told | None:
        """What the wall after this corner shows; where none follows, what the analysis says of it."""
        if corner is None:
            return super().told(corner)
        if corner not in self._told:
            self._told[corner] = self._of_wall(corner)
        return self._told[corner]

    def _of_wall(self, corner: Corner) -> Told | None:
        wall = self.shown.result.wall(self.shown.corners.index(corner))
        if wall is None:
            return super().told(corner)
        name = f"{corner.name[0].upper()}{corner.name[1:]}"
        calm = calm_words(wall)
        return (
            (f"{name}: up to {text.length(wall.peak_m)} off the line, at {text.number(wall.speed_m_s * 1e3)} mm/s.",
             f"{name}: up to {text.length(wall.peak_m)} off the line."),
            (f"On the wall that layers of it make: {calm}.", f"On the wall: {calm}."),
        )  # fmt: skip

    def _pictures(self, target: pygame.Surface, body: pygame.Rect, corner: Corner | None, time_s: float) -> None:
        gap = self.look.px(28)
        left = pygame.Rect(body.x, body.y, round(body.w * 0.45) if corner is not None else body.w, body.h)
        self._whole(target, left, corner, time_s)
        if corner is not None:
            x = left.right + gap
            self._lens(target, pygame.Rect(x, body.y, body.right - x, body.h), corner, time_s)

    def _whole(self, target: pygame.Surface, rect: pygame.Rect, corner: Corner | None, time_s: float) -> None:
        """The path, its error larger; a ring round what stands beside it."""
        look, shown = self.look, self.shown
        rounded(target, rect, look.px(12), look.theme.panel)
        base, pad = rect.y + look.px(40), look.px(24)
        text.draw(target, look, "The whole line", rect.x + pad, base, 26, bold=True)
        words = f"error {magnification_words(self._larger)} larger"
        text.draw(target, look, words, rect.right - pad, base, 22, colour=look.theme.dim, align="right")
        top = base + look.px(14)
        area = pygame.Rect(rect.x + look.px(16), top, rect.w - look.px(32), rect.bottom - top - look.px(12))
        scale = fit_path(area, shown, self._larger, look.px(30))
        self._path.draw(target, area, look, shown, scale, min(time_s, shown.end_s), width_px=3.0 * look.scale)
        if corner is None:
            return
        x, y = (float(v) for v in scale.path(np.array(corner.place_m)))
        inside = target.get_clip()
        target.set_clip(area)
        ring(target, (round(x), round(y)), 0.5 * LENS_WIDE_M * scale.px_m, look.theme.text, look.px(3))
        target.set_clip(inside)
