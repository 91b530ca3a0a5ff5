"""The bar at the bottom: to start, step back, play, step forward, speed, time line, time."""

from __future__ import annotations

import pygame

from ..charts.corners import corner_at
from ..charts.shown import Shown
from ..draw import text
from ..draw.theme import Look
from .clock import SPEED_WORDS
from .controls.buttons import Button, Choice, IconWord
from .controls.control import Control
from .controls.scrubber import Scrubber
from .stage import Stage


class ClockBar:
    """Height 72. Everything it does is also a key."""

    HEIGHT = 72

    def __init__(self, stage: Stage) -> None:
        clock = stage.clock
        self.stage = stage
        self.start = Button("to start", "", lambda: clock.go(0.0), "To the start (Home).", icon="start")
        self.back = Button(
            "step back",
            "",
            lambda: clock.step(-1),
            "One millisecond back (left arrow; with Shift one corner).",
            icon="back",
        )
        self.play = Button("play", "", clock.toggle, "Play or pause (Space).", icon="play", filled=True)
        self.forward = Button(
            "step forward",
            "",
            lambda: clock.step(1),
            "One millisecond on (right arrow; with Shift one corner).",
            icon="forward",
        )
        self.speed = Choice(
            "speed",
            SPEED_WORDS,
            clock.speed_index,
            self._speed,
            "How much slower than the real machine: [ slower, ] faster.",
        )
        self.repeat = IconWord(
            "repeat",
            "",
            self.cycle,
            "Play over and over: this corner, then the whole move, then no more (R).",
            icon="repeat",
        )
        self._repeated = ""
        stage.repeat = self.repeat_only
        self._wide = True
        self._shown: Shown | None = None
        self.scrubber = Scrubber(clock.go)
        self.rect = pygame.Rect(0, 0, 0, 0)

    def _speed(self, index: int) -> None:
        self.stage.clock.speed_index = index

    def controls(self) -> list[Control]:
        """In focus order."""
        return [self.start, self.back, self.play, self.forward, self.speed, self.repeat, self.scrubber]

    def cycle(self) -> None:
        """Repeat the corner at the clock; once more: everything; once more: nothing. What is repeated plays."""
        clock, corners = self.stage.clock, self._shown.corners if self._shown is not None else []
        at = corner_at(corners, clock.time_s)
        if not self._repeated and at is not None:
            self._repeated = corners[at].name
            clock.go(corners[at].begin_s)
        else:
            self._repeated = "all" if self._repeated != "all" else ""
        self._follow()
        clock.playing = clock.playing or bool(self._repeated)

    def repeat_only(self, name: str) -> None:
        """Repeat the corner of that name; "" ends it."""
        self._repeated = name
        self._follow()

    def _follow(self) -> None:
        """What is repeated, in the run now shown."""
        corners = self._shown.corners if self._shown is not None else []
        corner = next((c for c in corners if c.name == self._repeated), None)
        clock = self.stage.clock
        if corner is not None:
            clock.repeat = (corner.begin_s, corner.end_s)
        else:
            clock.repeat = (0.0, clock.end_s) if self._repeated else None

    def layout(self, rect: pygame.Rect, look: Look, shown: Shown) -> list[Control]:
        """Place everything in `rect`. shown: the run whose legs the time line shows."""
        self.rect, self._shown = rect, shown
        self._follow()
        clock = self.stage.clock
        y, h = rect.centery - look.px(20), look.px(40)
        x = rect.x + look.px(24)
        for button, width in ((self.start, 40), (self.back, 40), (self.play, 56), (self.forward, 40)):
            button.rect = pygame.Rect(x, y, look.px(width), h)
            x += look.px(width) + look.px(8)
        x += look.px(12)
        self.speed.rect = pygame.Rect(
            x, rect.centery - look.px(16), max(self.speed.natural_width(look), look.px(148)), look.px(32)
        )
        right = rect.right - look.px(24) - self._time_room(look) - look.px(30)
        self._wide = right - self.speed.rect.right > look.px(540)
        x = self.speed.rect.right + look.px(20)
        if self._wide:
            x += text.width(look, "speed", 14) + look.px(8)
        self.repeat.chosen = bool(self._repeated)
        self.repeat.label = f"repeat {self._repeated}".strip() if self._wide else self._repeated or "repeat"
        self.repeat.rect = pygame.Rect(x, rect.centery - look.px(16), self.repeat.natural_width(look), look.px(32))
        x = self.repeat.rect.right + look.px(26 if self._wide else 18)
        self.scrubber.rect = pygame.Rect(x, rect.y + look.px(14), max(look.px(80), right - x), look.px(48))
        self.play.icon = "pause" if clock.playing else "play"
        self.speed.value = clock.speed_index
        s = self.scrubber
        s.time_s, s.end_s = clock.time_s, clock.end_s
        s.legs, s.ramps, s.moments, s.corners = shown.legs, shown.ramps, shown.moments, shown.corners
        return self.controls()

    def _time_room(self, look: Look) -> int:
        widest = f"{text.number(self.stage.clock.end_s * 1e3)}.0"
        return text.width(look, widest, 26, True) + look.px(6) + text.width(look, self._of(), 16)

    def _of(self) -> str:
        return f"of {text.number(self.stage.clock.end_s * 1e3)} ms"

    def draw(self, target: pygame.Surface, look: Look) -> None:
        theme = look.theme
        target.fill(theme.panel, self.rect)
        target.fill(theme.line, (self.rect.x, self.rect.y, self.rect.w, look.px(1)))
        self.stage.draw_controls(target, look, self.controls())
        if self._wide:
            x = self.speed.rect.right + look.px(10)
            text.draw(target, look, "speed", x, self.rect.centery + look.px(5), 14, colour=theme.dim)
        right, baseline = self.rect.right - look.px(24), self.rect.centery + look.px(8)
        used = text.draw(target, look, self._of(), right, baseline, 16, colour=theme.dim, align="right")
        now = text.number(self.stage.clock.time_s * 1e3, 1)
        text.draw(target, look, now, used.x - look.px(6), baseline, 26, bold=True, align="right")
