"""The time line of the clock bar: corners by name, ramps as darker marks, moments worth finding as signs with a word."""

from __future__ import annotations

from collections.abc import Callable

import pygame

from ...charts.corners import Corner
from ...charts.shown import Moment
from ...draw import text
from ...draw.canvas import disc, rounded
from ...draw.theme import Look
from .control import Control, Pointer


class Scrubber(Control):
    """on_time(time_s) when pressed or dragged. The clock's keys belong to the window, not to it."""

    def __init__(self, on_time: Callable[[float], None]) -> None:
        super().__init__(
            "scrubber",
            "The time of the move: drag to any moment. Below stand corners and ramps, above what is worth a look.",
        )
        self.on_time = on_time
        self.time_s = 0.0
        self.end_s = 1.0
        self.legs: list[tuple[str, float, float]] = []
        self.ramps: list[tuple[float, float]] = []
        self.moments: list[Moment] = []
        self.corners: list[Corner] = []

    def x(self, time_s: float) -> int:
        """Where a time stands, px."""
        return round(self.rect.x + self.rect.w * min(1.0, max(0.0, time_s / max(self.end_s, 1e-9))))

    def ring_rect(self) -> pygame.Rect:
        return self.rect.inflate(12, 0)

    def draw(self, target: pygame.Surface, look: Look, *, focused: bool, hovered: bool) -> None:
        theme = look.theme
        y = self.rect.y + look.px(16)
        track = pygame.Rect(self.rect.x, y - look.px(3), self.rect.w, look.px(6))
        rounded(target, track, track.h // 2, theme.track)
        now = self.x(self.time_s)
        rounded(
            target, pygame.Rect(track.x, track.y, max(track.h, now - track.x), track.h), track.h // 2, theme.control
        )
        line = y + look.px(10)
        for _, a, b in self.legs:
            x0, x1 = self.x(a) + 1, self.x(b) - 1
            target.fill(theme.line, (x0, line, max(1, x1 - x0), look.px(2)))
        for a, b in self.ramps:
            x0 = self.x(a)
            target.fill(theme.track, (x0, line, max(look.px(2), self.x(b) - x0 - 1), look.px(2)))
        self._names(target, look, y + look.px(29))
        taken = [self._sign(target, look, moment, y) for moment in self.moments]
        for moment in self.moments:
            self._word(target, look, moment, y, taken)
        disc(target, (now, y), look.px(9), theme.panel)
        disc(target, (now, y), look.px(8), theme.control)

    def _names(self, target: pygame.Surface, look: Look, baseline: int) -> None:
        """The corners by name, below their stops; of many close ones those that have room."""
        last = -1e9
        for corner in self.corners:
            at = self.x(corner.stop_s)
            half = text.width(look, corner.name, 14) / 2
            middle = min(max(at, self.rect.x + half), self.rect.right - half)
            if middle - half < last:
                continue
            target.fill(look.theme.dim, (at, baseline - look.px(19), look.px(1), look.px(5)))
            used = text.draw(target, look, corner.name, middle, baseline, 14, colour=look.theme.dim, align="center")
            last = used.right + look.px(8)

    def _sign(self, target: pygame.Surface, look: Look, moment: Moment, y: int) -> pygame.Rect:
        """A sign over the line; returns what it covers."""
        x, top = self.x(moment.time_s), y - look.px(13)
        s = look.px(5)
        alarm = moment.kind != "largest"
        if alarm:
            points = [(x - s - 1, top + s), (x + s + 1, top + s), (x, top - s - 1)]
            pygame.draw.polygon(target, look.theme.alarm, points)
            target.fill(look.theme.panel, (x, top - look.px(2), 1, look.px(4)))
        else:
            pygame.draw.polygon(target, look.theme.text, [(x - s, top - s), (x + s, top - s), (x, top + s // 2)])
        return pygame.Rect(x - s, top - s, 2 * s, 2 * s)

    def _word(self, target: pygame.Surface, look: Look, moment: Moment, y: int, taken: list[pygame.Rect]) -> None:
        """What a sign means beside it, where no other sign or word stands."""
        x, top, alarm = self.x(moment.time_s), y - look.px(13), moment.kind != "largest"
        wide, baseline = text.width(look, moment.kind, 14), top + look.px(4)
        for left in (x + look.px(10), x - look.px(10) - wide):
            box = pygame.Rect(left - look.px(2), baseline - look.px(13), wide + look.px(4), look.px(17))
            if self.rect.x <= left and left + wide <= self.rect.right and box.collidelist(taken) < 0:
                colour = look.theme.alarm if alarm else look.theme.dim
                text.draw(target, look, moment.kind, left, baseline, 14, colour=colour)
                taken.append(box)
                return

    def press(self, pointer: Pointer) -> None:
        self.drag(pointer)

    def drag(self, pointer: Pointer) -> None:
        self.on_time((pointer.pos[0] - self.rect.x) / max(1, self.rect.w) * self.end_s)

    def wheel(self, steps: int, pointer: Pointer) -> bool:
        self.on_time(self.time_s + steps * (0.010 if pointer.shift else 0.001))
        return True

    def tip_at(self, pos: tuple[int, int]) -> str:
        for moment in self.moments:
            if abs(self.x(moment.time_s) - pos[0]) <= 6:
                return f"{moment.words[0].upper()}{moment.words[1:]}, at {text.number(moment.time_s * 1e3)} ms"
        return self.tip
