"""The carriage under the mouse, and the buttons that play a move."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pygame
from beltspring.sim.machine.machine import Machine

from ...draw import text
from ...draw.belt_colours import motor_colour
from ...draw.canvas import Layer, arrow, framed
from ...draw.theme import Look, mix
from ..controls.buttons import Button
from ..controls.control import Control, Pointer
from ..controls.dial import turn_arrow
from .bench import STRETCH_DRAWN, Bench, Move


class Hand(Control):
    """The carriage under the mouse: dragging it turns the motors, or with stretch on pulls it against its belts."""

    def __init__(self, bench: Bench) -> None:
        super().__init__(
            "carriage", "Drag the carriage. With belt stretch on, motors hold still and the belts tighten and slacken."
        )
        self.bench = bench
        self.px_m = 1.0  # how large the machine is drawn
        self.focusable = False
        self._from: tuple[tuple[int, int], np.ndarray] | None = None

    def press(self, pointer: Pointer) -> None:
        bench = self.bench
        self._from = (pointer.pos, bench.pushed.copy() if bench.stretch else bench.held_at)

    def drag(self, pointer: Pointer) -> None:
        if self._from is None:
            return
        bench, (start, value) = self.bench, self._from
        way = bench.drag(np.array([pointer.pos[0] - start[0], start[1] - pointer.pos[1]]) / self.px_m)
        if bench.stretch:
            bench.pushed = value + way / STRETCH_DRAWN
        else:
            bench.place(value + way)

    def release(self, pointer: Pointer) -> None:
        self._from = None
        self.bench.pushed = np.zeros(len(self.bench.axes))  # the belts pull the carriage back


class MoveButton(Button):
    """A button that plays a move: turning arrows left and right of the resulting direction."""

    def __init__(self, name: str, number: int, move: Move, play: Callable[[int], None], machine: Machine) -> None:
        super().__init__(name, "", lambda: play(number), f"Play this move from rest (key {number + 1}).")
        self.number = number
        self.move = move
        self.machine = machine

    def draw(self, target: pygame.Surface, look: Look, *, focused: bool, hovered: bool) -> None:
        theme, rect = look.theme, self.rect
        fill = mix(theme.raised, theme.text, 0.06) if hovered else theme.raised
        framed(
            target,
            rect,
            look.px(6),
            fill,
            theme.control if self.chosen else mix(theme.line, theme.raised, 0.3),
            look.px(2 if self.chosen else 1),
        )
        text.draw(target, look, str(self.number + 1), rect.x + look.px(9), rect.y + look.px(18), 14, colour=theme.dim)
        low = rect.h < look.px(118)
        y = rect.y + (look.px(32) if low else round(rect.h * 0.32))
        aside = min(look.px(52), rect.w // 2 - look.px(15))
        three = len(self.move.turns) > 2
        if three:
            # Three arrows stand in a row, and words say where it goes.
            aside = min(aside, (rect.w - look.px(24)) // 3)
        for k, (turn, side) in enumerate(zip(self.move.turns, (-1, 0, 1) if three else (-1, 1), strict=False)):
            colour = motor_colour(theme, self.machine, k)
            turn_arrow(target, look, (rect.centerx + side * aside, y), look.px(9), turn, colour, fill)
        if np.any(self.move.towards) and not three:
            half = max(look.px(8), min(look.px(20), aside - look.px(16)))
            layer = Layer((2 * half + 8, 2 * half + 8), 4)
            layer.surface.fill(fill)
            c = np.array(layer.surface.get_size()) / 2
            way = self.move.towards * np.array([1, -1]) * half * 4
            arrow(layer.surface, c - way, c + way, 10 * look.scale, theme.text, 34 * look.scale)
            layer.onto(target, (rect.centerx - layer.size[0] // 2, y - layer.size[1] // 2))
        lines = [(self.move.words[0], True), (self.move.words[1], False), (self.move.outcome, False)]
        # Where there is no room for three lines, the arrow alone says where it goes.
        lines = [(words, bold) for words, bold in lines if words][: 2 if low else 3]
        pitch = look.px(19)
        baseline = rect.bottom - look.px(12) - pitch * (len(lines) - 1)
        for words, bold in lines:
            size = 16 if bold else 14
            colour = theme.text if bold else theme.dim
            words = text.fit(look, words, rect.w - look.px(8), size, bold)
            text.draw(target, look, words, rect.centerx, baseline, size, bold=bold, colour=colour, align="center")
            baseline += pitch
