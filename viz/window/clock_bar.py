"""The bar at the bottom: to start, step back, play, step forward, speed, time line, time."""

from __future__ import annotations

import pygame

from ..charts.shown import Shown
from ..draw import text
from ..draw.theme import Look
from .clock import SPEED_WORDS
from .controls.buttons import Button, Choice
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
            "One millisecond back (left arrow; with Shift one leg).",
            icon="back",
        )
        self.play = Button("play", "", clock.toggle, "Play or pause (Space).", icon="play", filled=True)
        self.forward = Button(
            "step forward",
            "",
            lambda: clock.step(1),
            "One millisecond on (right arrow; with Shift one leg).",
            icon="forward",
        )
        self.speed = Choice(
            "speed",
            SPEED_WORDS,
            clock.speed_index,
            self._speed,
            "How much slower than the real machine: [ slower, ] faster.",
        )
        self.scrubber = Scrubber(clock.go)
        self.rect = pygame.Rect(0, 0, 0, 0)

    def _speed(self, index: int) -> None:
        self.stage.clock.speed_index = index

    def controls(self) -> list[Control]:
        """In focus order."""
        return [self.start, self.back, self.play, self.forward, self.speed, self.scrubber]

    def layout(self, rect: pygame.Rect, look: Look, shown: Shown) -> list[Control]:
        """Place everything in `rect`. shown: the run whose legs the time line shows."""
        self.rect = rect
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
        x = self.speed.rect.right + look.px(10) + text.width(look, "speed", 14) + look.px(28)
        right = rect.right - look.px(24) - self._time_room(look) - look.px(30)
        self.scrubber.rect = pygame.Rect(x, rect.y + look.px(14), max(look.px(80), right - x), look.px(48))
        self.play.icon = "pause" if clock.playing else "play"
        self.speed.value = clock.speed_index
        s = self.scrubber
        s.time_s, s.end_s = clock.time_s, clock.end_s
        s.legs, s.ramps, s.moments = shown.legs, shown.ramps, shown.moments
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
        text.draw(
            target,
            look,
            "speed",
            self.speed.rect.right + look.px(10),
            self.rect.centery + look.px(5),
            14,
            colour=theme.dim,
        )
        right, baseline = self.rect.right - look.px(24), self.rect.centery + look.px(8)
        used = text.draw(target, look, self._of(), right, baseline, 16, colour=theme.dim, align="right")
        now = text.number(self.stage.clock.time_s * 1e3, 1)
        text.draw(target, look, now, used.x - look.px(6), baseline, 26, bold=True, align="right")
