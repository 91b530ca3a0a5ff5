"""The mixing bench: turn motors by hand and watch belts, pulleys and carriage follow through the real routing."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

import numpy as np
import pygame

from ...charts.panels import panel, tension_list_of, tension_scale
from ...draw import text
from ...draw.arms import view_of
from ...draw.belt_colours import motor_colour
from ...draw.theme import Look
from ..controls.buttons import Button
from ..controls.control import Control, Key
from ..controls.dial import Dial
from ..keys import BENCH, LETTERS, code_of
from ..stage import Stage
from .bars import draw_bars
from .bench import FAST_RAD_S, MOVE_S, SLOW_RAD_S, STRETCH_DRAWN
from .bench_arms import ArmsBench, bench_of
from .hand import Hand, MoveButton
from .screen import Screen, inside
from .vectors import draw_vectors

PAUSE_S = 0.7


class MixingScreen(Screen):
    """Machine 61 % of the width, controls 39 %. No clock: hands move it."""

    name = "mixing"
    title = "Mixing bench"
    uses_clock = False

    def __init__(self, stage: Stage) -> None:
        super().__init__(stage)
        self._machine = stage.session.shown.result.machine
        self._build()

    def _build(self) -> None:
        machine = self._machine
        self.bench = bench_of(machine)
        self.view = view_of(machine)
        self.px_m = 1.0
        self._show_at = 0.0
        self._shown_moves = 0
        self.held_keys: set[str] = set()
        self.dials: list[Dial] = []
        for k, name in enumerate(self.bench.names):
            letters = LETTERS[k % len(LETTERS)]
            hold = f"hold {letters[0]} or {letters[1]}"
            tip = f"Motor {name.upper()}: drag round the hub, turn the wheel, or {hold}. Counter-clockwise counts up."
            teeth = machine.design.pulley_teeth.get(name, 20)
            dial = Dial(f"dial {name}", f"Motor {name.upper()}", letters, teeth, self._turner(k), tip)
            dial.colour = partial(motor_colour, machine=machine, k=k)
            self.dials.append(dial)
        self.moves = [
            MoveButton(f"move {k + 1}", k, move, self.play, machine) for k, move in enumerate(self.bench.moves())
        ]
        self.stretch = Button(
            "stretch",
            "Belt stretch",
            self.toggle_stretch,
            "Let the belts give: motors hold still, and dragging the carriage pulls against them.",
        )
        self.rest = Button("rest", "To rest", self.bench.rest, "Back to the middle of the reach (Backspace).")
        self.hand = Hand(self.bench)
        self.rects: dict[str, pygame.Rect] = {}

    def result_changed(self) -> None:
        self._stale = True

    def entered(self) -> None:
        machine = self.stage.session.shown.result.machine
        if machine is not self._machine:
            angle = self.bench.angle
            self._machine = machine
            self._build()
            if len(angle) == len(self.bench.angle):
                self.bench.turn(angle)

    def _turner(self, index: int) -> Callable[[float], None]:
        def turn(change: float) -> None:
            self._no_move()
            step = np.zeros(len(self.bench.names))
            step[index] = change
            self.bench.turn(step)

        return turn

    def _no_move(self) -> None:
        for button in self.moves:
            button.chosen = False
        self.bench._play = None

    def play(self, index: int) -> None:
        """Play one of the moves."""
        if index < len(self.moves):
            self._no_move()
            self.moves[index].chosen = True
            self.bench.play(self.moves[index].move, still=self.stage.reduce_motion)

    def toggle_stretch(self) -> None:
        self.bench.stretch = not self.bench.stretch
        self.stretch.chosen = self.bench.stretch
        self.bench.pushed = np.zeros(len(self.bench.axes))

    @property
    def show_s(self) -> float:
        return (MOVE_S + PAUSE_S) * len(self.moves)

    def panels(self) -> dict[str, pygame.Rect]:
        names = {"view": "top view", "dials": "turn a motor", "carriage": "what the carriage does", "moves": "moves"}
        return {names[k]: r for k, r in self.rects.items()}

    def _show(self, dt: float) -> bool:
        """The film of the bench: every move once, with a pause after each."""
        index = int(self._show_at / (MOVE_S + PAUSE_S) + 1e-9)
        if not self._shown_moves or index >= self._shown_moves:
            if index < len(self.moves):
                self.play(index)
            self._shown_moves = index + 1
        self._show_at += dt
        self.bench.advance(dt)
        return True

    # ---- keys

    def key(self, key: Key) -> bool:
        what, _, which = BENCH.command(key).partition(" ")
        if what == "hold" and any(which in dial.keys for dial in self.dials):
            self.held_keys.add(which)
            self._slow = key.shift
        elif what == "move":
            self.play(int(which) - 1)
        elif what == "rest":
            self._no_move()
            self.bench.rest()
        else:
            return False
        return True

    _slow = False

    def released(self, key: int) -> None:
        self.held_keys = {c for c in self.held_keys if key != 0 and code_of(c) != key}

    def advance(self, dt: float) -> bool:
        if self.stage.filming:
            return self._show(dt)
        if self.held_keys:
            step = np.zeros(len(self.dials))
            for k, dial in enumerate(self.dials):
                step[k] = (dial.keys[0] in self.held_keys) - (dial.keys[1] in self.held_keys)
            if step.any():
                self._no_move()
                self.bench.turn(step * dt * (SLOW_RAD_S if self._slow else FAST_RAD_S))
            return True
        return self.bench.advance(dt)

    # ---- layout and drawing

    def layout(self, rect: pygame.Rect, look: Look) -> list[Control]:
        gap = look.px(20)
        left = round((rect.w - gap) * 0.61)
        x, width = rect.x + left + gap, rect.w - left - gap
        inner = rect.h - 2 * gap
        upper, middle = round(inner * 0.44), round(inner * 0.275)
        self.rects = {
            "view": pygame.Rect(rect.x, rect.y, left, rect.h),
            "dials": pygame.Rect(x, rect.y, width, upper),
            "carriage": pygame.Rect(x, rect.y + upper + gap, width, middle),
            "moves": pygame.Rect(x, rect.y + upper + middle + 2 * gap, width, inner - upper - middle),
        }
        pad = look.px(20)
        view = self.rects["view"]
        for button, right in (
            (self.rest, view.right - pad),
            (self.stretch, view.right - pad - self.rest.natural_width(look) - look.px(10)),
        ):
            w = button.natural_width(look)
            button.rect = pygame.Rect(right - w, view.y + look.px(14), w, look.px(30))
        dials = self.rects["dials"].inflate(-2 * pad, -2 * pad)
        top = dials.y + look.px(32)
        for k, dial in enumerate(self.dials):
            w = dials.w // len(self.dials)
            dial.rect = pygame.Rect(dials.x + k * w + look.px(4), top, w - look.px(8), dials.bottom - top + look.px(6))
            dial._scale = look.scale
        moves = self.rects["moves"].inflate(-2 * pad, -2 * look.px(16))
        top = moves.y + look.px(30)
        count = max(1, len(self.moves))
        space = look.px(10)
        w = (moves.w - space * (count - 1)) // count
        for k, button in enumerate(self.moves):
            button.rect = pygame.Rect(moves.x + k * (w + space), top, w, moves.bottom - top + look.px(4))
        self._place_view(look)
        return [self.hand, self.stretch, self.rest, *self.dials, *self.moves]

    def _place_view(self, look: Look) -> None:
        view = self.rects["view"]
        pad = look.px(20)
        foot = look.px(58)
        side = look.px(84) if self.bench.stretch else 0
        self._room = pygame.Rect(
            view.x + pad + side,
            view.y + look.px(52),
            view.w - 2 * pad - side,
            view.h - look.px(52) - foot - look.px(12),
        )
        self.machine_rect = self.view.fitted(self._room)
        place = self.view.place(self.machine_rect.size)
        self.px_m = self.hand.px_m = place.scale
        state = self.bench.state()
        x, y = self.view.tool_at(self.machine_rect, state.tool)
        half = max(look.px(24), round(0.03 * place.scale))
        self.hand.rect = pygame.Rect(round(x) - half, round(y) - half, 2 * half, 2 * half)

    def draw(self, target: pygame.Surface, look: Look) -> None:
        self._draw_view(target, look)
        with inside(target, self.rects["dials"]):
            panel(target, look, self.rects["dials"], "Turn a motor", "drag the index mark, or hold a key")
            for k, dial in enumerate(self.dials):
                dial.angle = float(self.bench.angle[k])
                dial.belt_m = float(self.bench.belt_m[k])
                dial.pressed_keys = self.held_keys
            self.draw_controls(target, look, list(self.dials))
        with inside(target, self.rects["carriage"]):
            self._draw_carriage(target, look)
        with inside(target, self.rects["moves"]):
            panel(
                target,
                look,
                self.rects["moves"],
                "Four moves" if isinstance(self.bench, ArmsBench) else "Straight and diagonal",
                "press to see the move",
            )
            self.draw_controls(target, look, list(self.moves))

    def _draw_view(self, target: pygame.Surface, look: Look) -> None:
        view, theme = self.rects["view"], look.theme
        with inside(target, view):
            levels = sorted(self._machine.belts, key=lambda b: -b.level)
            if len({b.level for b in levels}) > 1:
                crossing = (
                    f"belt {levels[0].name.upper()} runs on the upper level, belt {levels[-1].name.upper()} below it"
                )
            else:
                crossing = self.stage.session.shown.result.title
            pad = look.px(20)
            room = self.stretch.rect.x - look.px(16)
            box = pygame.Rect(view.x, view.y, view.w, view.h)
            panel(target, look, box, "")
            arms = isinstance(self.bench, ArmsBench)
            name = "Front, and from above" if arms else "Top view"
            used = text.draw(target, look, name, view.x + pad, view.y + pad + look.px(15), 18, bold=True)
            where = "tower A stands behind" if arms else "rear of the machine at the top"
            for words in (f"{where}; {crossing}", where, ""):
                if used.right + look.px(12) + text.width(look, words, 14) < room:
                    text.draw(
                        target, look, words, used.right + look.px(12), view.y + pad + look.px(15), 14, colour=theme.dim
                    )
                    break
            state = self.bench.state()
            self.view.draw(target, self.machine_rect, look, state, labels="full")
            if self.bench.stretch:
                area = pygame.Rect(view.x + pad, self._room.y, look.px(84), self._room.h)
                assert state.tension_n is not None
                tension_list_of(target, look, area, self._machine, state.tension_n)
            self._foot(target, look)
            self.draw_controls(target, look, [self.stretch, self.rest])

    def _foot(self, target: pygame.Surface, look: Look) -> None:
        view, theme = self.rects["view"], look.theme
        unit = self.view.place(self.machine_rect.size).unit
        y = view.bottom - look.px(68)
        x = max(self.machine_rect.x, view.x + look.px(20))
        tension_scale(target, look, x, y, self.bench.most_n, unit, 150)
        right, baseline = min(self.machine_rect.right, view.right - look.px(20)), y + look.px(51)
        if self.bench.stretch:
            force = self.bench.statics().force_n
            pull = float(np.linalg.norm(force[: len(self.bench.axes)]))
            moved = float(np.linalg.norm(self.bench.pushed)) * 1e6
            give = f"give drawn {text.number(STRETCH_DRAWN)}× larger: {text.number(moved)} µm"
            words = f"{give}, the belts pull back with {text.number(pull)} N"
        else:
            turn = 2 * math.pi * float(self.bench.radius_m[0]) * 1e3
            words = f"1 turn of a motor moves its belt {text.number(turn, 1)} mm"
        words = text.fit(look, words, right - x - look.px(190), 14)
        text.draw(target, look, words, right, baseline, 14, colour=theme.dim, align="right")

    def _draw_carriage(self, target: pygame.Surface, look: Look) -> None:
        theme, rect = look.theme, self.rects["carriage"]
        box = panel(target, look, rect, "What the carriage does")
        box = pygame.Rect(box.x, rect.y + look.px(46), box.w, rect.bottom - rect.y - look.px(58))
        wide = min(round(box.w * 0.42), look.px(260))
        left = pygame.Rect(box.x, box.y, wide, box.h)
        if isinstance(self.bench, ArmsBench):
            draw_bars(self.bench, target, look, left)
        else:
            draw_vectors(self.bench, target, look, left)
        x = box.x + wide + look.px(14)
        moved = self.bench.moved_m * 1e3
        pitch = min(look.px(60), (box.h - look.px(26)) // len(self.bench.axes))
        for k, axis in enumerate(self.bench.axes):
            baseline = box.y + look.px(22) + k * pitch
            text.draw(target, look, axis, x, baseline, 18, colour=theme.dim)
            value = text.number(float(moved[k]), 1, signed=True)
            used = text.draw_pair(target, look, value, "mm", x + look.px(28), baseline, 34, 16)
            words = self.bench.share_words(k)
            wide_words = text.width(look, words, 14)
            if pitch >= look.px(50) and wide_words <= box.right - x - look.px(28):
                text.draw(target, look, words, x + look.px(28), baseline + look.px(20), 14, colour=theme.dim)
            elif wide_words <= box.right - used.right - look.px(10):
                text.draw(target, look, words, used.right + look.px(10), baseline, 14, colour=theme.dim)
        sentence = self.bench.sentence()
        colour = theme.alarm if self.bench.limit_words else theme.text
        sign = "! " if self.bench.limit_words else ""
        room = box.right - x
        size = 16 if text.width(look, sign + sentence, 16) <= room else 14
        text.draw(
            target, look, text.fit(look, sign + sentence, room, size), x, rect.bottom - look.px(16), size, colour=colour
        )
