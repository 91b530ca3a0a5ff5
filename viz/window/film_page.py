"""A film of the ringing test with a layout of its own: a sentence a corner, the machine, a lens, one curve, the speed of time.

There are no controls, and nothing is smaller than a viewer of a small film can read. Sizes are those of 1080 lines.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pygame

from ..charts.axes import Axis, curve_image, decimals_of, nice_step, row_limit, symmetric_ticks
from ..charts.corners import Corner, corner_at
from ..charts.machine_larger import off_words
from ..charts.printed import PrintCanvas, lens_scale, magnification_words
from ..charts.shown import Shown
from ..draw import text
from ..draw.canvas import disc, rounded, surface
from ..draw.larger import one_figure
from ..draw.theme import Look, mix
from ..draw.theme import look as look_of

LEAST_SCALE = 0.66  # below this height words no longer shrink with the picture
BEFORE_S, AFTER_S = 0.030, 0.100  # of a corner, in which time is stretched
LENS_M = 1.6e-3
LEAST_BOTH = 420  # where there is less height, px of 1080 lines, the curve has it alone: both would be too low to read


class FilmPage:
    """Draws one run at an instant into a picture of `size`, px. only: the corner it is about; None: all of them."""

    name, title, uses_clock, show_s, stamped = "ringing", "Ringing test", True, 0.0, False

    def __init__(
        self, shown: Shown, theme: str, size: tuple[int, int], settings: str, only: Corner | None = None
    ) -> None:
        self.shown, self.size, self.only, self.settings = shown, size, only, settings
        self.look: Look = look_of(theme, round(max(size[1] / 1080, LEAST_SCALE), 3))
        self._paper = PrintCanvas()
        self._curve: tuple[str, pygame.Surface, pygame.Surface] | None = None
        self.slow = [(c.stop_s - BEFORE_S, c.end_s if only is not None else c.stop_s + AFTER_S) for c in self._slowed()]

    def _slowed(self) -> list[Corner]:
        """The corners at which time is stretched: all of a pattern's, of a program's many none but the one shown."""
        if self.only is not None:
            return [self.only]
        return self.shown.corners if len(self.shown.corners) <= 12 else []

    def panels(self) -> dict[str, pygame.Rect]:
        """It has none to be exported alone."""
        return {}

    def advance(self, dt: float) -> bool:
        """Nothing moves by itself."""
        return False

    def corner(self, time_s: float) -> Corner | None:
        """The corner that is told at a time: the one it lies at, else the next, else the last."""
        corners = self.shown.corners
        if self.only is not None:
            return self.only
        k = corner_at(corners, time_s)
        if k is None:
            return None
        return corners[k + 1] if time_s > corners[k].end_s and k + 1 < len(corners) else corners[k]

    def _alone(self, corner: Corner) -> Corner:
        """A corner as long as it is the only one: what rings on beyond the next one's beginning is told there."""
        later = [other.begin_s for other in self.shown.corners if other.stop_s > corner.stop_s]
        return replace(corner, end_s=min([corner.end_s, *later]))

    # ---- drawing

    def draw(self, target: pygame.Surface, time_s: float, speed: float) -> None:
        """The page at a time. speed: of the film there, as a share of real time."""
        look, (w, h) = self.look, self.size
        target.fill(look.theme.page)
        corner = self.corner(time_s)
        pad, gap = look.px(56), look.px(28)
        top = self._head(target, pygame.Rect(pad, look.px(44), w - 2 * pad, look.px(150)), corner)
        foot = pygame.Rect(pad, h - look.px(124), w - 2 * pad, look.px(104))
        body = pygame.Rect(pad, top + look.px(30), w - 2 * pad, foot.y - top - look.px(48))
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
        self._foot(target, foot, time_s, speed)

    def _head(self, target: pygame.Surface, rect: pygame.Rect, corner: Corner | None) -> int:
        """Caption and line at the left, the settings at the right; returns the y below them."""
        look, theme = self.look, self.look.theme
        parts = self.settings.split(" · ")
        aside = [parts[0], *parts[3:]][:3]
        wide = max(text.width(look, p, 22) for p in aside)
        narrow = wide > rect.w * 0.34
        if not narrow:
            for k, words in enumerate(aside):
                colour = theme.text if k == 0 else theme.dim
                text.draw(
                    target, look, words, rect.right, rect.y + look.px(30 + 32 * k), 22, colour=colour, align="right"
                )
        room = rect.w - (0 if narrow else wide + look.px(48))
        if corner is None:
            head, line = parts[0], ""
        else:
            head, line = self.shown.result.caption(corner.name, corner.leg)
        size = 52 if text.width(look, head, 52, True) <= room else 40
        y = rect.y + look.px(46)
        text.draw(target, look, text.fit(look, head, room, size, True), rect.x, y, size, bold=True)
        for words in text.wrap(look, line, room, 28)[:2] if line else []:
            y += look.px(38)
            text.draw(target, look, text.fit(look, words, room, 28), rect.x, y, 28, colour=theme.dim)
        if narrow:
            y += look.px(34)
            words = text.fit(look, f"{parts[0]}; {parts[3] if len(parts) > 3 else ''}", rect.w, 22)
            text.draw(target, look, words, rect.x, y, 22, colour=theme.dim)
        return y

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
        px_m = area.w / LENS_M / 6.0
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
        look, theme, shown = self.look, self.look.theme, self.shown
        rate = f"1/{1 / speed:.0f}" if speed < 0.99 else "real"
        text.draw(target, look, rate, rect.x, rect.y + look.px(44), 40, bold=True)
        text.draw(
            target,
            look,
            "of real speed" if speed < 0.99 else "speed",
            rect.x,
            rect.y + look.px(80),
            22,
            colour=theme.dim,
        )
        end = f"of {text.number(shown.end_s * 1e3)} ms"
        wide = text.width(look, end, 22)
        text.draw(target, look, end, rect.right, rect.y + look.px(44), 22, colour=theme.dim, align="right")
        now = text.number(time_s * 1e3, 1)
        text.draw(
            target, look, now, rect.right - wide - look.px(10), rect.y + look.px(44), 40, bold=True, align="right"
        )
        room = text.width(look, text.number(shown.end_s * 1e3, 1), 40, True) + wide
        left, right = rect.x + look.px(190), rect.right - room - look.px(52)
        line = pygame.Rect(left, rect.y + look.px(26), max(10, right - left), look.px(8))
        rounded(target, line, line.h // 2, theme.line)
        x = self.stretched(time_s, line)
        for low, high in self.slow:
            a, b = self.stretched(low, line), self.stretched(high, line)
            target.fill(mix(theme.line, theme.text, 0.3), (round(a), line.y, max(1, round(b - a)), line.h))
        rounded(target, pygame.Rect(line.x, line.y, max(line.h, round(x - line.x)), line.h), line.h // 2, theme.control)
        disc(target, (x, line.centery), look.px(14), theme.page)
        disc(target, (x, line.centery), look.px(12), theme.control)
        here = self.corner(time_s)
        last = -1e9
        for corner in shown.corners:
            half = text.width(look, corner.name, 22, True) / 2
            at = min(max(self.stretched(corner.stop_s, line), line.x + half), line.right - half)
            if at - half < last:
                continue
            bold = corner is here
            colour = theme.text if bold else theme.dim
            used = text.draw(
                target, look, corner.name, at, rect.y + look.px(80), 22, bold=bold, colour=colour, align="center"
            )
            last = used.right + look.px(14)

    def stretched(self, time_s: float, line: pygame.Rect, slower: float = 10.0) -> float:
        """Where a time stands on a line on which slow stretches are as much longer as they last."""

        def shown_s(t: float) -> float:
            extra = sum(max(0.0, min(t, b) - max(a, 0.0)) for a, b in self.slow)
            return t + (slower - 1.0) * extra

        return float(line.x + line.w * shown_s(time_s) / max(shown_s(self.shown.end_s), 1e-9))
