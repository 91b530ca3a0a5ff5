"""The mixing bench: turn motors by hand and watch belts, pulleys and carriage follow through the real routing."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
import pygame

from ...charts.panels import panel
from ...draw import text
from ...draw.arms import ArmsView, view_of
from ...draw.belt_colours import motor_colour
from ...draw.machine import MachineView
from ...draw.state import MachineState
from ...draw.theme import Look
from ..controls.buttons import Button, Choice
from ..controls.control import Control, Key
from ..controls.dial import Dial
from ..keys import BENCH, code_of, letters_of
from ..stage import Stage
from .bars import draw_bars
from .bench import FAST_RAD_S, SLOW_RAD_S
from .bench_arms import ArmsBench, bench_of
from .bench_layout import LOW_SHARES, draw_foot, foot_words, place_dials, place_moves
from .bench_show import Greeting, MovesShown
from .carriage_panel import draw_carriage
from .give import Give
from .give_panels import RingCurves, draw_give
from .hand import Hand, MoveButton, draw_hand
from .path_mode import SHARES, PathMode, bed_in, on_bed
from .screen import Screen, inside


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
        view = view_of(machine)
        self._views = view, ArmsView(machine, bed_large=True) if machine.arms else view
        self.px_m = 1.0
        self.held_keys: set[str] = set()
        self.dials: list[Dial] = []
        for k, name in enumerate(self.bench.names):
            letters = letters_of(len(self.bench.names))[k]
            hold = f"hold {letters[0]} or {letters[1]}"
            tip = f"Motor {name.upper()}: drag round the hub, turn the wheel, or {hold}. Counter-clockwise counts up."
            teeth = machine.design.pulley_teeth.get(name, 20)
            dial = Dial(f"dial {name}", f"Motor {name.upper()}", letters, teeth, self._turner(k), tip)
            dial.colour = partial(motor_colour, machine=machine, k=k)
            self.dials.append(dial)
        self.moves = [
            MoveButton(f"move {k + 1}", k, move, self.play, machine) for k, move in enumerate(self.bench.moves())
        ]
        self.give = Give(machine, self.bench)
        self.curves = RingCurves()
        self.mode = Choice(
            "belts", ["stiff", "belts give", "draw a path"], 0, self.set_mode,
            "Stiff: turn motors and see the carriage go. Belts give: push it against held motors. Draw a path: on the bed.",
        )  # fmt: skip
        self.rest = Button("rest", "To rest", self.to_rest, "Back to the middle of the reach (Backspace).")
        self.again = Button("push again", "Push again", self.give.again, "The same push once more, and let go.")
        self.hand = Hand(self.bench, self.give)
        self.own = PathMode(self.stage, self.bench, self._on_bed)
        self._film, self._greeting = MovesShown(self.bench, len(self.moves), self.play), Greeting(self.bench)
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

    @property
    def gives(self) -> bool:
        """Whether belts give, and motors are held."""
        return self.mode.value == 1

    def set_mode(self, mode: int) -> None:
        """Stiff (0), belts that give (1), or a path drawn by hand (2)."""
        self.mode.value = min(mode, len(self.mode.labels) - 1)
        self.hand.gives = self.gives
        self._no_move()
        self.give.rest()
        for dial in self.dials:
            dial.held, dial.focusable = self.gives, not self.gives

    @property
    def draws(self) -> bool:
        """Whether a path is drawn by hand."""
        return self.mode.value == 2

    def _on_bed(self, pos: tuple[int, int]) -> np.ndarray:
        """The place (2,), m, on the bed under a mouse at `pos`, where the tool has to go, on whatever moves."""
        return on_bed(self.view, self.machine_rect, pos)

    @property
    def view(self) -> MachineView:
        """The drawing of the machine: of one on arms with a bed large enough to draw on, where that is done."""
        return self._views[self.draws]

    def to_rest(self) -> None:
        """Nobody pushes; stiff, the carriage goes back to the middle."""
        self._no_move()
        self.give.rest()
        self.own.path.clear()
        if not self.gives:
            self.bench.rest()

    @property
    def show_s(self) -> float:
        return self._film.lasts_s

    def panels(self) -> dict[str, pygame.Rect]:
        names = {"view": "top view", "dials": "motors", "carriage": "what the carriage does", "moves": "moves"}
        return {names.get(k, k): r for k, r in self.rects.items()}

    # ---- keys

    def key(self, key: Key) -> bool:
        what, _, which = BENCH.command(key).partition(" ")
        if what == "give":
            self.set_mode(0 if self.gives else 1)
        elif what == "draw":
            self.set_mode(0 if self.draws else 2)
        elif what == "push" and self.draws:
            self.own.run()
        elif what == "push":
            if not self.gives:
                self.set_mode(1)
            self.give.again()
        elif self.gives and what in ("hold", "move"):
            return True
        elif what == "hold" and any(which in dial.keys for dial in self.dials):
            self.held_keys.add(which)
            self._slow = key.shift
        elif what == "move":
            self.play(int(which) - 1)
        elif what == "rest":
            self.to_rest()
        else:
            return False
        return True

    _slow = False

    def released(self, key: int) -> None:
        self.held_keys = {c for c in self.held_keys if key != 0 and code_of(c) != key}

    def advance(self, dt: float) -> bool:
        if self.stage.filming:
            return self._film.advance(dt)
        if self.gives:
            return self.give.advance(dt, still=self.stage.reduce_motion)
        if self.draws and self.own.path.advance(dt):
            return True
        if self.stage.greeting and not self.held_keys:
            return not self.stage.reduce_motion and self._greeting.advance(dt)
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
        shares = LOW_SHARES if self.stage.low else {"dials": 0.44, "carriage": 0.275, "moves": 0.285}
        if self.gives:
            rings = self.give.rung is not None
            shares = {"dials": 0.32, **({"rings": 0.35, "after": 0.33} if rings else {"push": 0.27, "belts": 0.41})}
        if self.draws:
            shares = SHARES
        self.rects = {"view": pygame.Rect(rect.x, rect.y, left, rect.h)}
        y, inner = rect.y, rect.h - 2 * gap
        for name, share in shares.items():
            height = round(inner * share)
            self.rects[name] = pygame.Rect(x, y, width, height)
            y += height + gap
        self._place_head(look)
        place_dials(self.dials, self.rects["dials"], look)
        self._place_view(look)
        if self.draws:
            bed, buttons = self.own.layout(self.rects, bed_in(self.view, self.machine_rect), look)
            return [bed, self.mode, self.rest, *self.dials, *buttons]
        head: list[Control] = [self.hand, self.mode]
        if self.gives:
            return [*head, *([self.again, self.rest] if "after" in self.rects else []), *self.dials]
        place_moves(self.moves, self.rects["moves"], look)
        return [*head, self.rest, *self.dials, *self.moves]

    def _place_head(self, look: Look) -> None:
        """The switch and the button in the view's head; after a push the buttons stand below its words."""
        view, pad = self.rects["view"], look.px(20)
        rest, mode = self.rest.natural_width(look), self.mode.natural_width(look) + look.px(30)
        right = view.right - pad
        if not self.gives:
            self.rest.rect = pygame.Rect(right - rest, view.y + look.px(14), rest, look.px(30))
            right = self.rest.rect.x - look.px(10)
        self.mode.rect = pygame.Rect(right - mode, view.y + look.px(14), mode, look.px(30))
        after = self.rects.get("after")
        if after is not None:
            again = self.again.natural_width(look)
            y = after.bottom - look.px(18) - look.px(32)
            self.again.rect = pygame.Rect(after.x + pad, y, again, look.px(32))
            self.rest.rect = pygame.Rect(self.again.rect.right + look.px(10), y, rest, look.px(32))

    def _place_view(self, look: Look) -> None:
        view = self.rects["view"]
        pad, foot = look.px(20), look.px(70)
        self._room = pygame.Rect(
            view.x + pad, view.y + look.px(52), view.w - 2 * pad, view.h - look.px(52) - foot,
        )  # fmt: skip
        self.machine_rect = self.view.fitted(self._room)
        place = self.view.place(self.machine_rect.size)
        self.px_m = self.hand.px_m = place.scale
        x, y = self.view.tool_at(self.machine_rect, self._state().tool)
        half = max(look.px(24), round(0.03 * place.scale))
        self.hand.rect = pygame.Rect(round(x) - half, round(y) - half, 2 * half, 2 * half)

    def _state(self) -> MachineState:
        if self.draws:
            return self.own.state()
        return self.give.state() if self.gives else self.bench.state()

    def draw(self, target: pygame.Surface, look: Look) -> None:
        self._draw_view(target, look)
        with inside(target, self.rects["dials"]):
            turn = ("Turn a motor", "drag the index mark, or hold a key")
            name, about = ("Motors", "held: they may not turn") if self.gives else turn
            panel(target, look, self.rects["dials"], name, about)
            for k, dial in enumerate(self.dials):
                dial.angle = float(self.bench.angle[k])
                dial.belt_m = float(self.bench.belt_m[k])
                dial.pressed_keys = self.held_keys
            self.draw_controls(target, look, list(self.dials))
        if self.gives:
            draw_give(target, look, self.rects, self.give, self.curves, self.stage.session.shown.result)
            self.draw_controls(target, look, [self.again, self.rest] if "after" in self.rects else [])
            return
        if self.draws:
            self.own.draw(target, look, self.rects)
            return
        with inside(target, self.rects["carriage"]):
            draw_carriage(target, look, self.rects["carriage"], self.bench)
        with inside(target, self.rects["moves"]):
            name = "Four moves" if isinstance(self.bench, ArmsBench) else "Straight and diagonal"
            panel(target, look, self.rects["moves"], name, "press to see the move")
            self.draw_controls(target, look, list(self.moves))

    def _draw_view(self, target: pygame.Surface, look: Look) -> None:
        view, theme = self.rects["view"], look.theme
        with inside(target, view):
            pad = look.px(20)
            panel(target, look, view, "")
            arms = isinstance(self.bench, ArmsBench)
            name = "Front, and from above" if arms else "Top view"
            used = text.draw(target, look, name, view.x + pad, view.y + pad + look.px(15), 18, bold=True)
            room = self.mode.rect.x - look.px(16) - used.right - look.px(12)
            words = next((w for w in self._about(arms) if text.width(look, w, 14) < room), "")
            text.draw(target, look, words, used.right + look.px(12), view.y + pad + look.px(15), 14, colour=theme.dim)
            self.view.draw(target, self.machine_rect, look, self._state(), labels="full")
            if isinstance(self.bench, ArmsBench) and isinstance(self.view, ArmsView):
                draw_bars(self.bench, target, look, self.view.beside(self.machine_rect))
            if self.gives and self.hand.at is not None:
                draw_hand(target, look, self.view.tool_at(self.machine_rect, self._state().tool), self.hand.at, view)
            draw_foot(target, look, view, self.machine_rect, self.view, self.bench, foot_words(self.bench, self.gives))
            self.draw_controls(target, look, [self.mode] if self.gives else [self.mode, self.rest])

    def _about(self, arms: bool) -> list[str]:
        """What the view shows, longest wording first."""
        if self.gives:
            larger = f"{text.number(self.give.larger)}× further than it gives"
            return [f"the carriage drawn {larger}", larger]
        levels = sorted(self._machine.belts, key=lambda b: -b.level)
        if len({b.level for b in levels}) > 1:
            crossing = f"belt {levels[0].name.upper()} runs on the upper level, belt {levels[-1].name.upper()} below it"
        else:
            crossing = self.stage.session.shown.result.title
        where = "tower A stands behind" if arms else "rear of the machine at the top"
        return [f"{where}; {crossing}", where]
