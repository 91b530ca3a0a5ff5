"""A film of the ringing test with a layout of its own: a sentence a corner, the machine, a lens, one curve, the speed of time.

There are no controls, and nothing is smaller than a viewer of a small film can read. Sizes are those of 1080 lines.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pygame

from ..charts.axes import Axis, curve_image, decimals_of, nice_step, row_limit, symmetric_ticks
from ..charts.corners import Corner
from ..charts.machine_larger import off_words
from ..charts.printed import PrintCanvas, lens_scale, magnification_words
from ..charts.shown import Shown
from ..draw import text
from ..draw.canvas import disc, rounded, surface
from ..draw.larger import one_figure
from ..draw.theme import Look
from .film_parts import LEAST_BOTH, FilmLaid, Told, draw_frame, draw_time_foot, film_look, slowed

LENS_WIDE_M = 9.6e-3


class FilmPage(FilmLaid):
    """Draws one run at an instant into a picture of `size`, px. only: the corner it is about; None: all of them."""

    name, title = "ringing", "Ringing test"

    def __init__(
        self, shown: Shown, theme: str, size: tuple[int, int], settings: str, only: Corner | None = None
    ) -> None:
        self.shown, self.size, self.only, self.settings = shown, size, only, settings
        self.look: Look = film_look(theme, size)
        self._paper = PrintCanvas()
        self._curve: tuple[str, pygame.Surface, pygame.Surface] | None = None
        self.slow = slowed(shown, only)

    def _alone(self, corner: Corner) -> Corner:
        """A corner as long as it is the only one: what rings on beyond the next one's beginning is told there."""
        later = [other.begin_s for other in self.shown.corners if other.stop_s > corner.stop_s]
        return replace(corner, end_s=min([corner.end_s, *later]))

    # ---- drawing

    def draw(self, target: pygame.Surface, time_s: float, speed: float) -> None:
        """The page at a time. speed: of the film there, as a share of real time."""
        corner = self.corner(time_s)
        body, foot = draw_frame(target, self.look, self.told(corner), self.settings)
        self._pictures(target, body, corner, time_s)
        self._foot(target, foot, time_s, speed)

    def told(self, corner: Corner | None) -> Told | None:
        """What the analysis says of a corner."""
        head, line = self.shown.result.caption(corner.name, corner.leg) if corner is not None else ("", "")
        return ((head,), (line,)) if head else None

    def _pictures(self, target: pygame.Surface, body: pygame.Rect, corner: Corner | None, time_s: float) -> None:
        """The machine, and what it draws at the corner and how far off the line that is."""
        look = self.look
        gap = look.px(28)
        left = pygame.Rect(body.x, body.y, round(body.w * 0.45), body.h)
        right = pygame.Rect(left.right + gap, body.y, body.right - left.right - gap, body.h)
        lens = pygame.Rect(right.x, right.y, right.w, round((right.h - gap) * 0.52))
        curve = pygame.Rect(right.x, lens.bottom + gap, right.w, right.bottom - lens.bottom - gap)
        self._machine(target, left, time_s)
        if corner is not None:
            low = right.h < look.px(LEAST_BOTH)
            if not low:
                self._lens(target, lens, corner, time_s)
            self._off_line(target, right if low else curve, corner, time_s)

    def _machine(self, target: pygame.Surface, rect: pygame.Rect, time_s: float) -> None:
        """The machine with its ringing drawn larger, how far it is off, and how much larger that is."""
        look, shown = self.look, self.shown
        rounded(target, rect, look.px(12), look.theme.panel)
        foot = look.px(84)
        area = pygame.Rect(
            rect.x + look.px(20), rect.y + look.px(18), rect.w - look.px(40), rect.h - foot - look.px(18)
        )
        box = shown.view.fitted(area)
        shown.view.draw(target, box, look, shown.machine_state(time_s, larger=shown.larger), labels="none")
        base = rect.bottom - look.px(52)
        text.draw(target, look, off_words(shown, time_s)[0], rect.centerx, base, 34, bold=True, align="center")
        words = f"ringing drawn {magnification_words(shown.larger)} larger"
        text.draw(
            target, look, words, rect.centerx, rect.bottom - look.px(20), 22, colour=look.theme.dim, align="center"
        )

    def _lens(self, target: pygame.Surface, rect: pygame.Rect, corner: Corner, time_s: float) -> None:
        """What it draws at this corner, its error larger."""
        look, shown = self.look, self.shown
        rounded(target, rect, look.px(12), look.theme.panel)
        base = rect.y + look.px(40)
        text.draw(target, look, "What it draws here", rect.x + look.px(24), base, 26, bold=True)
        area = pygame.Rect(
            rect.x + look.px(16), base + look.px(14), rect.w - look.px(32), rect.bottom - base - look.px(26)
        )
        span = (shown.t_s >= corner.begin_s) & (shown.t_s <= corner.end_s)
        most = float(np.hypot(*shown.error_m[span].T).max()) if span.any() else 1e-6
        px_m = area.w / LENS_WIDE_M
        larger = one_figure(0.32 * area.h / max(most * px_m, 1e-9))
        words = f"error {magnification_words(larger)} larger"
        text.draw(target, look, words, rect.right - look.px(24), base, 22, colour=look.theme.dim, align="right")
        scale = lens_scale(area.center, np.array(corner.place_m), px_m, larger)
        self._paper.draw(target, area, look, shown, scale, time_s, width_px=4.0 * look.scale)

    def _off_line(self, target: pygame.Surface, rect: pygame.Rect, corner: Corner, time_s: float) -> None:
        """How far off the line, about the corner: past in full, what comes fainter, the value now."""
        look, theme, shown = self.look, self.look.theme, self.shown
        rounded(target, rect, look.px(12), theme.panel)
        text.draw(target, look, "Off the line, µm", rect.x + look.px(24), rect.y + look.px(40), 26, bold=True)
        area = pygame.Rect(rect.x + look.px(104), rect.y + look.px(60), rect.w - look.px(136), rect.h - look.px(106))
        corner = self._alone(corner)
        part = (shown.t_s >= corner.begin_s) & (shown.t_s <= corner.end_s)
        t, v = shown.t_s[part], shown.sideways_m[part] * 1e6
        if len(t) < 2 or area.h < 10:
            return
        limit = row_limit(float(np.abs(v).max()))
        across, up = Axis(corner.begin_s, corner.end_s, area.x, area.right), Axis(-limit, limit, area.bottom, area.y)
        if self._curve is None or self._curve[0] != corner.name:
            images = []
            for share in (1.0, 0.68 if theme.name == "dark" else 0.86):
                ground = surface(area.size)
                ground.fill(theme.panel)
                for tick in symmetric_ticks(limit):
                    ground.fill(theme.line, (0, round(float(up(tick))) - area.y, area.w, look.px(2)))
                x, y = np.asarray(across(t)) - area.x, np.asarray(up(v)) - area.y
                images.append(curve_image(look, area.size, ground, [(x, y, theme.faded(theme.laid, share))], 3.4))
            self._curve = (corner.name, images[0], images[1])
        now = round(float(across(float(np.clip(time_s, corner.begin_s, corner.end_s))))) - area.x
        target.blit(self._curve[1], area.topleft, (0, 0, now, area.h))
        target.blit(self._curve[2], (area.x + now, area.y), (now, 0, area.w - now, area.h))
        ticks = symmetric_ticks(limit)
        if float(up(ticks[0]) - up(ticks[1])) < look.px(27):
            ticks = [ticks[0], ticks[-1]]  # a low picture has no room for the words at zero
        for tick in ticks:
            said = text.number(tick, decimals_of(tick) if tick else 0, signed=True)
            level = float(up(tick)) + look.px(8)
            text.draw(target, look, said, area.x - look.px(14), level, 22, colour=theme.dim, align="right")
        ms = nice_step((corner.end_s - corner.begin_s) * 1e3, 5)
        for k in range(int((corner.end_s - corner.stop_s) * 1e3 / ms) + 1):
            mark = float(across(corner.stop_s + k * ms * 1e-3))
            said = text.number(k * ms) + (" ms" if k else "")
            text.draw(target, look, said, mark, rect.bottom - look.px(14), 22, colour=theme.dim, align="center")
        if corner.begin_s <= time_s <= corner.end_s:
            value = float(shown.at(time_s, shown.sideways_m))
            at = (area.x + now, float(up(value * 1e6)))
            target.fill(theme.text, (at[0], area.y, look.px(2), area.h))
            disc(target, at, look.px(9), theme.panel)
            disc(target, at, look.px(8), theme.laid)
            said = text.length(value, signed=True)
            text.draw(target, look, said, rect.right - look.px(24), rect.y + look.px(42), 34, bold=True, align="right")

    def _foot(self, target: pygame.Surface, rect: pygame.Rect, time_s: float, speed: float) -> None:
        """The speed of time, its line stretched as the film is, the corners' names, the time."""
        draw_time_foot(target, self.look, rect, self.shown, time_s, speed, self.slow, self.corner(time_s))
