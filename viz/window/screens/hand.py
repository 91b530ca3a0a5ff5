"""The carriage under the mouse, and the buttons that play a move."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np
import pygame
from beltspring.sim.machine.machine import Machine

from ...draw import text
from ...draw.belt_colours import motor_colour
from ...draw.canvas import Layer, arrow, framed, path_stroke, surface
from ...draw.theme import Colour, Look, mix
from ..controls.buttons import Button
from ..controls.control import Control, Pointer
from ..controls.dial import turn_arrow
from .bench import Bench, Move
from .give import Give
from .own_path import OwnPath


class Hand(Control):
    """The carriage under the mouse: dragging it turns the motors, or with belts that give pulls it against its belts."""

    def __init__(self, bench: Bench, give: Give) -> None:
        super().__init__(
            "carriage", "Drag the carriage. Where belts give, the motors hold still: let go, and it rings."
        )
        self.bench, self.give = bench, give
        self.gives = False
        self.px_m = 1.0  # how large the machine is drawn
        self.at: tuple[int, int] | None = None
        self.focusable = False
        self._from: tuple[tuple[int, int], np.ndarray] | None = None

    def press(self, pointer: Pointer) -> None:
        self._from = (pointer.pos, np.zeros(2) if self.gives else self.bench.held_at)
        if self.gives:
            self.give.rest()

    def drag(self, pointer: Pointer) -> None:
        if self._from is None:
            return
        start, value = self._from
        way = np.array([pointer.pos[0] - start[0], start[1] - pointer.pos[1]]) / self.px_m
        if self.gives:
            self.at = pointer.pos
            self.give.pull(way, pointer.shift)
        else:
            self.bench.place(value + self.bench.drag(way))

    def release(self, pointer: Pointer) -> None:
        self._from = self.at = None
        if self.gives and self.give.pulling:
            self.give.let_go()


class Bed(Control):
    """The bed under the mouse: a path is drawn on it, and the motors follow."""

    def __init__(self, path: OwnPath, place: Callable[[tuple[int, int]], np.ndarray]) -> None:
        super().__init__("bed", "Press on the bed and draw: the motors follow. Then run it.")
        self.path, self.place = path, place
        self.focusable = False

    def press(self, pointer: Pointer) -> None:
        self.path.begin(self.place(pointer.pos))

    def drag(self, pointer: Pointer) -> None:
        self.path.go(self.place(pointer.pos))

    def release(self, pointer: Pointer) -> None:
        self.path.end()


class MoveButton(Button):
    """A button that plays a move: turning arrows left and right of the resulting direction."""

    def __init__(self, name: str, number: int, move: Move, play: Callable[[int], None], machine: Machine) -> None:
        super().__init__(name, "", lambda: play(number), f"Play this move from rest (key {number + 1}).")
        self.number = number
        self.move = move
        self.machine = machine

    @property
    def beside(self) -> bool:
        """Whether its arrows stand beside its words: those of three carriages, up and down."""
        return len(self.move.turns) > 2

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
        if self.beside:
            self._lifts(target, look, fill)
            return
        low = rect.h < look.px(118)
        y = rect.y + (look.px(32) if low else round(rect.h * 0.32))
        aside = min(look.px(52), rect.w // 2 - look.px(15))
        for k, (turn, side) in enumerate(zip(self.move.turns, (-1, 1), strict=False)):
            colour = motor_colour(theme, self.machine, k)
            turn_arrow(target, look, (rect.centerx + side * aside, y), look.px(9), turn, colour, fill)
        if np.any(self.move.towards):
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
            room = rect.w - look.px(8)
            if text.width(look, words, size, bold) > room:  # "opposite" says it as well as "opposite ways"
                words = text.fit(look, words.partition(" ")[0], room, size, bold)
            text.draw(target, look, words, rect.centerx, baseline, size, bold=bold, colour=colour, align="center")
            baseline += pitch

    def _lifts(self, target: pygame.Surface, look: Look, fill: Colour) -> None:
        """How far each carriage goes, as an arrow up or down in its colour; what that is, and where the tool goes."""
        theme, rect = look.theme, self.rect
        most = max(abs(turn) for turn in self.move.turns)
        half = min(look.px(11), rect.h // 2 - look.px(4))
        x = rect.right - look.px(8)
        for k in reversed(range(len(self.move.turns))):
            colour = motor_colour(theme, self.machine, k)
            share = self.move.turns[k] / most
            x -= look.px(12)
            target.blit(_lift(look, half, share, colour, fill), (x, rect.y + look.px(5)))
        left, room = rect.x + look.px(22), x - rect.x - look.px(26)
        both = " ".join(words for words in self.move.words if words)
        words, size = next(
            ((w, s) for w in (both, self.move.words[0]) for s in (16, 14) if text.width(look, w, s, True) <= room),
            (self.move.words[0], 14),
        )
        words = text.fit(look, words, room, size, True)
        text.draw(target, look, words, left, rect.y + look.px(19), size, bold=True, colour=theme.text)
        words = text.fit(look, self.move.outcome, rect.right - left - look.px(8), 14)
        text.draw(target, look, words, left, min(rect.y + look.px(40), rect.bottom - look.px(7)), 14, colour=theme.dim)


@lru_cache(maxsize=64)
def _lift(look: Look, half: int, share: float, colour: Colour, fill: Colour) -> pygame.Surface:
    """An arrow up or down as long as a share of what the farthest carriage goes; a dot for one that stands."""
    layer = Layer((look.px(12), 2 * half + 2), 4)
    layer.surface.fill(fill)
    c = np.array(layer.surface.get_size()) / 2
    way = np.array([0.0, -4.0 * half * share])
    if share:
        arrow(layer.surface, c - way, c + way, 9 * look.scale, colour, 26 * look.scale)
    else:
        pygame.draw.circle(layer.surface, colour, c.tolist(), 9 * look.scale)
    out = surface(layer.size)
    layer.onto(out, (0, 0))
    return out


def draw_hand(
    target: pygame.Surface, look: Look, tool: tuple[float, float], at: tuple[int, int], area: pygame.Rect
) -> None:
    """The hand that pulls: a spring from the tool to it, a ring with the way it pulls."""
    start, end = np.array(tool), np.array(at, float)
    way = end - start
    length = float(np.hypot(*way))
    radius = look.px(17)
    if length < 1.5 * radius:
        return
    way = way / length
    side = np.array([-way[1], way[0]])
    rim = end - way * radius
    turns = 9
    points = [start]
    for k in range(1, turns + 1):
        share = 0.12 + 0.76 * (k - 0.5) / turns
        points.append(start + (rim - start) * share + side * look.px(6) * (1 if k % 2 else -1))
    points.append(rim)
    every = np.array([*points, end + radius * 1.2, end - radius * 1.2])
    low, high = every.min(axis=0) - look.px(10), every.max(axis=0) + look.px(10)
    box = (
        pygame.Rect(int(low[0]), int(low[1]), int((high - low)[0]), int((high - low)[1]))
        .clip(area)
        .clip(target.get_clip())
    )
    if box.w < 4 or box.h < 4:
        return
    fine = pygame.transform.scale(target.subsurface(box), (box.w * 2, box.h * 2))
    theme, zig = look.theme, (np.array(points) - box.topleft) * 2
    middle = (end - box.topleft) * 2
    for colour, more in ((theme.page, 5.0), (theme.text, 0.0)):
        path_stroke(fine, zig, (4.4 + more) * look.scale, colour)
        pygame.draw.circle(fine, colour, middle.tolist(), 2 * radius + more * look.scale)
    pygame.draw.circle(fine, theme.raised, middle.tolist(), 2 * radius - 5 * look.scale)
    arrow(fine, middle - way * radius, middle + way * radius * 1.2, 6 * look.scale, theme.text, 20 * look.scale)
    target.blit(pygame.transform.smoothscale(fine, box.size), box.topleft)
    right = end[0] + radius + look.px(8)
    wide = text.width(look, "hand", 16, True)
    left = right if right + wide < area.right else end[0] - radius - look.px(8) - wide
    text.draw(target, look, "hand", left, end[1] + look.px(5), 16, bold=True, back=theme.panel)
