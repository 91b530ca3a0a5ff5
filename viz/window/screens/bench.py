"""The state of the mixing bench: how far each motor has been turned, and what follows from the machine's model.

Signs and ratios come from the model's mixing, which comes from the belts' routing; nothing here knows a layout.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from beltspring.sim import Held, build_model, held
from beltspring.sim.machine.machine import Machine
from numpy.typing import NDArray

from ...draw import text
from ...draw.state import MachineState

Array = NDArray[np.float64]

FAST_RAD_S, SLOW_RAD_S = math.radians(220.0), math.radians(30.0)
MOVE_S = 1.3


@dataclass(frozen=True)
class Move:
    """One of the moves played by a button. turns: +1 counter-clockwise, -1 clockwise, 0 at rest, by motor.

    words: what is turned and how.  towards: (2,) direction of the tool, unit vector or zero.  outcome: in words.
    """

    words: tuple[str, str]
    turns: tuple[int, ...]
    towards: Array
    outcome: str


class Bench:
    """Motor angles since rest, rad, by motor; the tool follows rigidly. Rest is the middle of the reach."""

    axes = "XY"

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.system = build_model(machine)
        self.names = tuple(m.name for m in self.system.motors)
        self.radius_m = np.array([m.radius_m for m in self.system.motors])
        travel = self.system.motor_travel[:, :2]
        #: (2, m): tool metres for each metre of belt over a pulley.
        self.per_belt = np.linalg.pinv(travel) / self.radius_m[None, :]
        self.angle = np.zeros(len(self.names))
        self.limit_words = ""
        self._play: tuple[Array, Array, float] | None = None
        self._held: tuple[Array, Held] | None = None

    @property
    def belt_m(self) -> Array:
        """Belt moved by each motor since rest, m."""
        return np.asarray(self.radius_m * self.angle)

    @property
    def moved_m(self) -> Array:
        """How far the tool has gone since rest, (2,), m."""
        return np.asarray(self.per_belt @ self.belt_m)

    @property
    def tool(self) -> Array:
        """Where the tool stands, (3,), m."""
        out = self.machine.middle.copy()
        out[:2] += self.moved_m
        return out

    def _room(self, moved: Array) -> float:
        """Largest share of `moved` (2,), m from rest, that stays in the reach."""
        share = 1.0
        for axis in range(2):
            low, high = self.machine.reach[axis]
            half = (high - low) / 2
            if abs(moved[axis]) > half + 1e-12:
                share = min(share, half / abs(float(moved[axis])))
        return share

    def turn(self, change: Array) -> None:
        """Turn the motors by `change`, rad; at the end of the reach the carriage stops and `limit_words` says so."""
        now, step = self.moved_m, self.per_belt @ (self.radius_m * change)
        share = 1.0
        self.limit_words = ""
        for axis in range(2):
            low, high = self.machine.reach[axis]
            half = (high - low) / 2
            after = now[axis] + step[axis]
            if abs(after) > half + 1e-12 and abs(step[axis]) > 1e-15:
                edge = math.copysign(half, step[axis])
                share = max(0.0, min(share, (edge - now[axis]) / step[axis]))
                place = (low if edge < 0 else high) * 1e3
                self.limit_words = f"Limit of travel: {'XY'[axis]} {text.number(place, 1)} mm."
        self.angle = self.angle + change * share

    def place(self, tool: Array) -> None:
        """Bring the tool to a place in the reach, (2,), m; the motors follow."""
        reach = np.array(self.machine.reach[:2])
        inside = np.clip(np.asarray(tool, float), reach[:, 0], reach[:, 1])
        self.limit_words = "" if np.allclose(inside, tool) else "Limit of travel."
        self.angle = self.system.motor_travel[:, :2] @ (inside - self.machine.middle[:2])

    def draw_at(self, place: Array) -> None:
        """Bring the tool to a place on the bed, (2,), m, as far as it can be drawn on; the motors follow."""
        self.place(place)

    def drag(self, way: Array) -> Array:
        """A way in the picture, (2,) m right and up, as a way of the tool: here the same."""
        return way

    @property
    def held_at(self) -> Array:
        """Where a hand takes hold of the tool: what `place` takes."""
        return np.asarray(self.tool[: len(self.axes)])

    def rest(self) -> None:
        """Back to the middle."""
        self.angle = np.zeros(len(self.names))
        self.limit_words = ""
        self._play = None

    def play(self, move: Move, *, still: bool = False) -> None:
        """Turn from rest by a share of a turn that stays well inside the reach. still: be there at once."""
        self.rest()
        full = np.array(move.turns, float) * 2 * math.pi
        moved = self.per_belt @ (self.radius_m * full)
        largest = float(np.abs(moved).max()) if len(moved) else 0.0
        share = min(1.0, 0.8 * self._room(moved), 0.04 / largest if largest > 0 else 1.0)
        if still:
            self.turn(full * share)
        else:
            self._play = (np.zeros(len(full)), full * share, 0.0)

    @property
    def playing(self) -> bool:
        return self._play is not None

    def advance(self, dt: float) -> bool:
        """Let a played move go on; True if something moved."""
        if self._play is None:
            return False
        start, end, t = self._play
        t = min(1.0, t + dt / MOVE_S)
        ease = t * t * (3 - 2 * t)
        self.angle = start + (end - start) * ease
        self._play = None if t >= 1.0 else (start, end, t)
        return True

    def statics(self) -> Held:
        """Tensions with nobody pushing; of one place they are worked out once."""
        tool = self.tool
        if self._held is None or not np.array_equal(self._held[0], tool):
            self._held = tool, held(self.system, tool, np.zeros(3))
        return self._held[1]

    def state(self) -> MachineState:
        """What to draw."""
        return MachineState(
            tool=self.tool,
            motor_rad=dict(zip(self.names, self.angle.tolist(), strict=True)),
            tension_n=self.statics().tension_n,
            tension_most_n=self.most_n,
            started_at=self.machine.middle,
        )

    @property
    def most_n(self) -> float:
        """Top of the thickness scale: three times the largest pretension, in tens of newtons."""
        most = max((run.pretension_n for run in self.system.runs), default=10.0)
        return max(20.0, math.ceil(3 * most / 20.0) * 20.0)

    # ---- words

    def moves(self) -> list[Move]:
        """The moves on the buttons: with two motors both the same way, opposite ways, and each alone."""
        names = [n.upper() for n in self.names]
        if len(names) != 2:
            return [
                self._move((f"{n} alone", ""), tuple(int(k == j) for j in range(len(names))))
                for k, n in enumerate(names)
            ]
        both = f"{names[0]} and {names[1]}"
        return [
            self._move((both, "same way"), (1, 1)),
            self._move((both, "opposite ways"), (1, -1)),
            self._move((f"{names[0]} alone", ""), (1, 0)),
            self._move((f"{names[1]} alone", ""), (0, 1)),
        ]

    def _move(self, words: tuple[str, str], turns: tuple[int, ...]) -> Move:
        moved = self.per_belt @ (self.radius_m * np.array(turns, float))
        lead = next((v for v in moved if abs(v) > 1e-9), 0.0)
        if lead < 0:  # a button's move goes to the right, or to the rear
            turns = tuple(-t for t in turns)
            moved = -moved
        size = float(np.hypot(*moved))
        towards = moved / size if size > 1e-12 else np.zeros(2)
        return Move(words, turns, towards, direction_words(towards))

    def share_words(self, axis: int) -> str:
        """ "half of A plus half of B": how the belts add up to one axis."""
        parts: list[str] = []
        for name, share in zip(self.names, self.per_belt[axis], strict=True):
            if abs(share) < 1e-9:
                continue
            amount = {0.5: "half of", 1.0: "all of", 2.0: "twice"}.get(
                round(abs(float(share)), 6), f"{abs(share):.2g} of"
            )
            sign = ("minus " if share < 0 else "") if not parts else (" minus " if share < 0 else " plus ")
            parts.append(f"{sign}{amount} {name.upper()}")
        return "".join(parts) or "no motor moves it"

    def sentence(self, short: bool = False) -> str:
        """What the motors have done, in one sentence. short: where there is little room."""
        if self.limit_words:
            return self.limit_words
        turned = np.abs(self.angle) > 1e-6
        moved = self.moved_m
        if not turned.any():
            return "Turn a motor and watch the belts."
        towards = moved / max(float(np.hypot(*moved)), 1e-12)
        straight = direction_words(towards)
        if turned.sum() == 1 and len(self.names) > 1:
            if abs(abs(towards[0]) - abs(towards[1])) < 1e-6:
                if short:
                    return f"One alone: 45°, X and Y by {self._part()} its belt's way."
                return f"One motor alone: a 45° diagonal, each axis {self._part()} as far as its belt goes."
            return f"One motor alone: {self._what(towards)} {straight}."
        if len(self.names) == 2:
            a, b = self.belt_m
            if abs(a - b) < 1e-6:
                return f"Both the same way: {straight}."
            if abs(a + b) < 1e-6:
                return f"Opposite ways: {straight}."
        return "Both together: their diagonals add up." if self._diagonal() else "Each motor moves its own axis."

    def _part(self) -> str:
        """How far a motor that turns alone takes each axis, of the way of its belt."""
        share = float(np.abs(self.per_belt).max())
        return "half" if abs(share - 0.5) < 1e-6 else f"{share:.2g} times"

    def _what(self, towards: Array) -> str:
        axis = int(np.argmax(np.abs(towards)))
        step = self.machine.middle.copy()
        step[axis] += 1e-3
        carried = self.machine.offsets(step)[self.machine.tool_body][axis]
        return "straight" if abs(carried) > 1e-9 else "the bed moves, and the tool goes over it straight"

    def _diagonal(self) -> bool:
        return bool((np.abs(self.per_belt) > 1e-9).all())


def direction_words(towards: Array) -> str:
    """ "to the right", "to the rear", "diagonal", ... of a unit vector."""
    x, y = float(towards[0]), float(towards[1])
    if abs(x) < 1e-6 and abs(y) < 1e-6:
        return "nothing moves"
    if abs(y) < 1e-6:
        return "to the right" if x > 0 else "to the left"
    if abs(x) < 1e-6:
        return "to the rear" if y > 0 else "to the front"
    return "diagonal"
