"""The time line of the clock bar: legs by name, ramps as darker marks, moments worth finding as signs."""

from __future__ import annotations

from collections.abc import Callable

import pygame

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
            "The time of the move: drag to any moment. Marks below are legs, ramps and moments worth a look.",
        )
        self.on_time = on_time
        self.time_s = 0.0
        self.end_s = 1.0
        self.legs: list[tuple[str, float, float]] = []
        self.ramps: list[tuple[float, float]] = []
        self.moments: list[Moment] = []

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
        last = -1e9
        baseline = y + look.px(29)
        for name, a, b in self.legs:
            middle = (self.x(a) + self.x(b)) / 2
            half = text.width(look, name, 14) / 2
            # Many short legs: a name that has no room above its leg is left out, the marks stay.
            if 2 * half + look.px(6) > self.x(b) - self.x(a) or middle - half < last:
                continue
            last = text.draw(
                target, look, name, middle, baseline, 14, colour=theme.dim, align="center"
            ).right + look.px(6)
        for moment in self.moments:
            self._sign(target, look, moment, y)
        disc(target, (now, y), look.px(9), theme.panel)
        disc(target, (now, y), look.px(8), theme.control)

    def _sign(self, target: pygame.Surface, look: Look, moment: Moment, y: int) -> None:
        x, top = self.x(moment.time_s), y - look.px(13)
        s = look.px(5)
        if moment.kind == "largest":
            pygame.draw.polygon(target, look.theme.text, [(x - s, top - s), (x + s, top - s), (x, top + s // 2)])
            return
        pygame.draw.polygon(target, look.theme.alarm, [(x - s - 1, top + s), (x + s + 1, top + s), (x, top - s - 1)])
        target.fill(look.theme.panel, (x, top - look.px(2), 1, look.px(4)))

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
