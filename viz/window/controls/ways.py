"""The list of ways to swing: a row each, the chosen one marked; the wheel and the arrow keys go through it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pygame
from beltspring.sim import Way

from ...draw import text
from ...draw.canvas import rounded
from ...draw.theme import Look, mix
from .control import Control, Key, Pointer

PITCH = 42


class WaysList(Control):
    """ways: lowest first.  chosen: the index.  on_choose(index)."""

    def __init__(self, on_choose: Callable[[int], None]) -> None:
        super().__init__("ways", "The ways this machine swings, lowest first: click one, or use the up and down keys.")
        self.ways: Sequence[Way] = ()
        self.chosen = 0
        self.on_choose = on_choose
        self._first = 0
        self._pitch = PITCH

    @property
    def rows(self) -> int:
        """How many rows there is room for."""
        return max(1, self.rect.h // max(1, self._pitch))

    def place(self, rect: pygame.Rect, look: Look) -> None:
        """Take a rectangle; the chosen row stays in sight."""
        self.rect, self._pitch = rect, look.px(PITCH)
        last = max(0, len(self.ways) - self.rows)
        self._first = min(max(self._first, self.chosen - self.rows + 1, 0), self.chosen, last)

    def choose(self, index: int) -> None:
        """Another row, as far as there is one."""
        index = min(max(index, 0), len(self.ways) - 1)
        if index >= 0 and index != self.chosen:
            self.chosen = index
            self.on_choose(index)

    def press(self, pointer: Pointer) -> None:
        self.choose(self._first + (pointer.pos[1] - self.rect.y) // self._pitch)

    def wheel(self, steps: int, pointer: Pointer) -> bool:
        self.choose(self.chosen - steps)
        return True

    def key(self, key: Key) -> bool:
        moves = {pygame.K_UP: -1, pygame.K_DOWN: 1, pygame.K_HOME: -len(self.ways), pygame.K_END: len(self.ways)}
        if key.key not in moves:
            return False
        self.choose(self.chosen + moves[key.key])
        return True

    def tip_at(self, pos: tuple[int, int]) -> str:
        row = self._first + (pos[1] - self.rect.y) // self._pitch
        return self.ways[row].title if 0 <= row < len(self.ways) else self.tip

    def draw(self, target: pygame.Surface, look: Look, *, focused: bool, hovered: bool) -> None:
        most = max((max(way.swing_m) for way in self.ways), default=0.0) or 1.0
        shown = self.ways[self._first : self._first + self.rows]
        for k, way in enumerate(shown):
            row = pygame.Rect(self.rect.x, self.rect.y + k * self._pitch, self.rect.w, self._pitch)
            self._row(target, look, row, way, self._first + k == self.chosen, most)
        if len(shown) < len(self.ways):
            track = pygame.Rect(self.rect.right + look.px(8), self.rect.y, look.px(3), self.rows * self._pitch)
            target.fill(look.theme.grid, track)
            share = len(shown) / len(self.ways)
            at = track.y + round(track.h * self._first / len(self.ways))
            target.fill(look.theme.track, (track.x, at, track.w, max(look.px(12), round(track.h * share))))

    def _row(self, target: pygame.Surface, look: Look, row: pygame.Rect, way: Way, chosen: bool, most: float) -> None:
        theme = look.theme
        if chosen:
            back = row.inflate(look.px(16), -look.px(2))
            rounded(target, back, look.px(5), theme.raised)
            target.fill(theme.text, (back.x, back.y + look.px(3), look.px(3), back.h - look.px(6)))
        base = row.y + look.px(17)
        hz = text.sensible(way.mode.frequency_hz, 3)
        x = row.x + look.px(68)
        used = text.draw(target, look, "Hz", x - look.px(8), base, 14, colour=theme.dim, align="right")
        text.draw(target, look, hz, used.x - look.px(4), base, 16, bold=True, align="right")
        words, room = way.mode.words, row.right - x
        if text.width(look, words, 14, chosen) > room:
            words = text.fit(look, words.replace("whole machine", "all"), room, 14, chosen)
        text.draw(target, look, words, x, base, 14, bold=chosen, colour=theme.text if chosen else theme.dim)
        damping = f"{text.number(100 * way.mode.damping_ratio, 1)} %"
        low = row.y + look.px(35)
        text.draw(target, look, damping, row.right, low, 14, colour=theme.dim, align="right")
        swung = max(way.swing_m)
        if not way.towards:
            return
        said = f"{text.micrometres(swung)} in {way.towards.upper()}"
        beside = text.width(look, "10.0 %", 14) + text.width(look, "100 in Y", 14)
        room = row.right - x - beside - look.px(24)  # of every row alike: bars are on one scale
        colour = theme.axis(way.towards)
        length = max(look.px(2), round(room * swung / most))
        rounded(target, pygame.Rect(x, low - look.px(7), length, look.px(5)), look.px(2), colour)
        text.draw(target, look, said, x + length + look.px(7), low, 14, colour=mix(theme.dim, theme.text, 0.4))
