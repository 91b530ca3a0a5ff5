"""A slider with its name, its value and unit, and a tick at the default; Enter turns the value into a text field."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import pygame

from ...draw import text
from ...draw.canvas import disc, rounded
from ...draw.theme import Look
from ..keys import SLIDERS
from .control import Control, Key, Pointer
from .field import Line

Change = Callable[[float, bool], None]


@dataclass(frozen=True)
class Range:
    """Values of a slider. low, high: its ends.  logarithmic: equal ratios for equal ways.  decimals: as written.

    step: values are rounded to this.  units: what may be typed after a number, and what it is worth in `unit`.
    """

    low: float
    high: float
    unit: str
    step: float
    decimals: int = 0
    logarithmic: bool = False
    units: tuple[tuple[str, float], ...] = ()

    def share(self, value: float) -> float:
        """Where a value stands, 0 to 1."""
        if self.logarithmic:
            return math.log(max(value, 1e-12) / self.low) / math.log(self.high / self.low)
        return (value - self.low) / (self.high - self.low)

    def value(self, share: float) -> float:
        """The rounded value at a share of the way."""
        share = min(1.0, max(0.0, share))
        if self.logarithmic:
            raw = self.low * (self.high / self.low) ** share
        else:
            raw = self.low + share * (self.high - self.low)
        return self.rounded(raw)

    def rounded(self, value: float) -> float:
        """To the nearest step, inside the range."""
        return float(min(self.high, max(self.low, round(round(value / self.step) * self.step, 9))))

    def parse(self, words: str) -> float | None:
        """A typed number with or without its unit; None if it is none. Grouping spaces and a comma point are fine."""
        clean = "".join(words.split()).replace("\u202f", "").replace("−", "-").replace(",", ".")
        for unit, worth in sorted(((self.unit, 1.0), *self.units), key=lambda u: -len(u[0])):
            plain = unit.replace("²", "2")
            for ending in {unit, plain}:
                if ending and clean.lower().endswith(ending.lower()):
                    clean_number = clean[: -len(ending)]
                    return _number(clean_number, worth)
        return _number(clean, 1.0)


def _number(words: str, worth: float) -> float | None:
    try:
        value = float(words) * worth
    except ValueError:
        return None
    return value if math.isfinite(value) else None


class Slider(Control):
    """on_change(value, done): while dragging done is False; at the end of a gesture it is True.

    default: where the tick stands; None: no tick.
    """

    def __init__(
        self, name: str, label: str, span: Range, value: float, default: float | None, on_change: Change, tip: str = ""
    ) -> None:
        super().__init__(name, tip)
        self.label = label
        self.range = span
        self.value = value
        self.default = default
        self.on_change = on_change
        self.refused = ""
        self._dragging = False
        self._line: Line | None = None
        self._scale = 1.0

    @property
    def changed(self) -> bool:
        """Whether it stands elsewhere than its default."""
        return self.default is not None and abs(self.value - self.default) > 1e-9 + 0.5 * self.range.step

    def track(self) -> pygame.Rect:
        """The way of the handle."""
        thick = max(2, round(4 * self._scale))
        y = self.rect.bottom - round(12 * self._scale)
        return pygame.Rect(self.rect.x, y - thick // 2, self.rect.w, thick)

    def handle_x(self) -> int:
        """Where the handle stands, px."""
        return round(self.rect.x + min(1.0, max(0.0, self.range.share(self.value))) * self.rect.w)

    def ring_rect(self) -> pygame.Rect:
        # Less high than the row: the ring must not go through the words of the next one.
        aside, above, below = (round(v * self._scale) for v in (5, 5, 6))
        return pygame.Rect(
            self.rect.x - aside, self.rect.y + above, self.rect.w + 2 * aside, self.rect.h - above - below
        )

    def draw(self, target: pygame.Surface, look: Look, *, focused: bool, hovered: bool) -> None:
        self._scale = look.scale
        theme = look.theme
        baseline = self.rect.y + look.px(16)
        written = text.number(self.value, self.range.decimals)
        unit = self.range.unit
        right = self.rect.right
        if self._line is not None:
            box = pygame.Rect(right - look.px(128), self.rect.y - look.px(2), look.px(128), look.px(24))
            self._line.draw(target, look, box)
            used = box
        else:
            used = text.draw(target, look, unit, right, baseline, 14, colour=theme.dim, align="right")
            used = text.draw(target, look, written, used.x - look.px(6), baseline, 16, bold=True, align="right")
        room = used.x - self.rect.x - look.px(8)
        name = text.draw(target, look, text.fit(look, self.label, room, 16), self.rect.x, baseline, 16)
        if self.refused:
            note, colour = self.refused, theme.alarm
        else:
            note = (
                f"default {text.number(self.default, self.range.decimals)}"
                if self.changed and self.default is not None
                else ""
            )
            colour = theme.dim
        left = used.x - name.right - look.px(20)
        if note and text.width(look, note, 14) <= left:
            text.draw(target, look, note, name.right + look.px(10), baseline, 14, colour=colour)
        track = self.track()
        rounded(target, track, track.h // 2, theme.track)
        x = self.handle_x()
        rounded(target, pygame.Rect(track.x, track.y, max(track.h, x - track.x), track.h), track.h // 2, theme.control)
        if self.default is not None:
            tick = round(self.rect.x + min(1.0, max(0.0, self.range.share(self.default))) * self.rect.w)
            target.fill(theme.control, (tick - look.px(1) // 2, track.centery - look.px(6), look.px(1), look.px(12)))
        disc(target, (x, track.centery), look.px(8), theme.panel)
        disc(target, (x, track.centery), look.px(7), theme.control)
        if hovered or self._dragging:
            disc(target, (x, track.centery), look.px(3), theme.panel)

    def set(self, value: float, done: bool) -> None:
        """Take a value and tell it; the value is rounded and kept inside."""
        value = self.range.rounded(value)
        self.refused = ""
        if value != self.value or done:
            self.value = value
            self.on_change(value, done)

    def press(self, pointer: Pointer) -> None:
        if self._line is not None:
            return
        if pointer.clicks >= 2 and self.default is not None:
            self.set(self.default, True)
            return
        self._dragging = True
        self.drag(pointer)

    def drag(self, pointer: Pointer) -> None:
        if self._dragging:
            self.set(self.range.value((pointer.pos[0] - self.rect.x) / max(1, self.rect.w)), False)

    def release(self, pointer: Pointer) -> None:
        if self._dragging:
            self._dragging = False
            self.set(self.value, True)

    def wheel(self, steps: int, pointer: Pointer) -> bool:
        self._nudge(steps * (0.1 if pointer.shift else 0.01))
        return True

    def _nudge(self, share: float) -> None:
        target = self.range.value(self.range.share(self.value) + share)
        if target == self.value:  # a step finer than the rounding still moves by one step
            target = self.range.rounded(self.value + math.copysign(self.range.step, share))
        self.set(target, True)

    def key(self, key: Key) -> bool:
        if self._line is not None:
            return self._key_in_field(key)
        amount = 0.1 if key.shift else 0.01
        command = SLIDERS.command(key)
        if command == "more":
            self._nudge(amount)
        elif command == "less":
            self._nudge(-amount)
        elif command == "lowest":
            self.set(self.range.low, True)
        elif command == "highest":
            self.set(self.range.high, True)
        elif command == "default" and self.default is not None:
            self.set(self.default, True)
        elif command == "type":
            self._line = Line(text.number(self.value, self.range.decimals))
            self._line.select_all()
        else:
            return False
        return True

    def _key_in_field(self, key: Key) -> bool:
        assert self._line is not None
        if key.key in (pygame.K_RETURN, pygame.K_KP_ENTER):
            value = self.range.parse(self._line.words)
            self._line = None
            if value is None:
                self.refused = "not a number"
            elif not self.range.low - 1e-9 <= value <= self.range.high + 1e-9:
                low, high = (text.number(v, self.range.decimals) for v in (self.range.low, self.range.high))
                self.refused = f"{low} to {high}"
            else:
                self.set(value, True)
            return True
        if key.key == pygame.K_ESCAPE:
            self._line = None
            return True
        return self._line.key(key)

    def typed(self, words: str) -> bool:
        if self._line is None:
            return False
        self._line.insert(words)
        return True

    @property
    def typing(self) -> bool:
        return self._line is not None

    def close(self) -> bool:
        was, self._line = self._line, None
        return was is not None
