"""The bench of a machine on arms: motors lift carriages, and the tool hangs where its arms meet.

Carriages go up and down in proportion to their motors; the tool does not, so that turned evenly its way bends.
"""

from __future__ import annotations

import math
from functools import cached_property

import numpy as np
from beltspring.sim import ArmTravel, InputError
from beltspring.sim.machine.machine import Machine
from numpy.typing import NDArray

from ...draw import text
from .bench import Bench, Move

Array = NDArray[np.float64]

WRITTEN_M = 1e-5  # a motion program is written in hundredths of a millimetre
LIFT_M = 0.030  # how far a played move takes the carriage that goes farthest


class ArmsBench(Bench):
    """Motor angles since rest, rad, by motor; rest is the middle of the reach."""

    axes = "XYZ"

    def __init__(self, machine: Machine) -> None:
        super().__init__(machine)
        travel = self.system.tool_travel
        assert isinstance(travel, ArmTravel)
        self.travel = travel
        self._stands: tuple[Array, Array] | None = None

    @property
    def slid_m(self) -> Array:
        """How far each carriage has been lifted since rest, m, by motor."""
        return np.asarray(np.linalg.solve(self.travel.motors_per_slide, self.angle))

    @property
    def tool(self) -> Array:
        """Where the tool hangs, (3,), m; where three spheres meet, which is asked for ten times a frame."""
        if self._stands is None or self._stands[0] is not self.angle:
            self._stands = self.angle, self.travel.tool(self.slid_m)
        return self._stands[1].copy()

    @property
    def moved_m(self) -> Array:
        """How far the tool has gone since rest, (3,), m."""
        return np.asarray(self.tool - self.machine.middle)

    def _inside(self, angle: Array) -> bool:
        try:
            tool = self.travel.tool(np.asarray(np.linalg.solve(self.travel.motors_per_slide, angle), float))
        except InputError:
            return False
        (x0, x1), _, (z0, z1) = self.machine.reach
        level = float(np.hypot(*(tool - self.machine.middle)[:2]))
        return level <= 0.5 * (x1 - x0) + 1e-9 and z0 - 1e-9 <= tool[2] <= z1 + 1e-9

    def turn(self, change: Array) -> None:
        """Turn the motors by `change`, rad; at the end of the reach they stop and `limit_words` says so."""
        self.limit_words = ""
        share = 1.0
        if not self._inside(self.angle + change):
            low, high = 0.0, 1.0
            for _ in range(40):
                half = (low + high) / 2
                low, high = (half, high) if self._inside(self.angle + half * change) else (low, half)
            share = low
            self.limit_words = "Limit of travel: the tool is at the edge of its reach."
        self.angle = self.angle + share * change

    def place(self, tool: Array) -> None:
        """Bring the tool to a place, (3,), m, or the nearest in the reach; the motors follow."""
        middle, wanted = self.machine.middle, np.asarray(tool, float)
        (x0, x1), _, heights = self.machine.reach
        inside = wanted.copy()
        inside[2] = np.clip(wanted[2], *heights)
        away = wanted[:2] - middle[:2]
        level = float(np.hypot(*away))
        if level > 0.5 * (x1 - x0):
            inside[:2] = middle[:2] + away / level * 0.5 * (x1 - x0)
        self.limit_words = "" if np.allclose(inside, wanted) else "Limit of travel."
        self.angle = self.travel.angles(inside)

    def draw_at(self, place: Array) -> None:
        """Bring the tool to a place on the bed, (2,), m, at the height of rest; a path keeps off the rim by what is written."""
        middle, radius = self.machine.middle, 0.5 * float(np.ptp(self.machine.reach[0])) - WRITTEN_M
        away = place - middle[:2]
        far = max(1.0, float(np.hypot(*away)) / radius)
        self.place(np.array([*(middle[:2] + away / far), middle[2]]))
        self.limit_words = "Limit of travel." if far > 1.0 else ""

    def drag(self, way: Array) -> Array:
        """A way in the picture, (2,) m right and up, as a way of the tool, (3,): the front shows X and Z."""
        return np.array([way[0], 0.0, way[1]])

    def play(self, move: Move, *, still: bool = False) -> None:
        """Turn from rest until the carriage that goes farthest has gone LIFT_M."""
        self.rest()
        turns = np.array(move.turns, float)
        full = self.travel.motors_per_slide @ (turns / np.abs(turns).max() * LIFT_M)
        if still:
            self.turn(full)
        else:
            self._play = (np.zeros(len(full)), full, 0.0)

    def moves(self) -> list[Move]:
        """The moves on the buttons: straight up, right, rear, and one carriage alone."""
        a, b, c = (n.upper() for n in self.names)
        return [
            Move(("All up", ""), (1, 1, 1), np.zeros(2), "straight up"),
            Move((f"{b} down, {c} up", ""), (0, -1, 1), np.array([1.0, 0.0]), "to the right"),
            Move((f"{a} up", "others half down"), (2, -1, -1), np.array([0.0, 1.0]), "to the rear"),
            Move((f"{a} alone", ""), (1, 0, 0), np.array([0.0, 1.0]), "rear, and up"),
        ]

    def share_words(self, axis: int) -> str:
        """How the carriages add up to one axis where the tool hangs now."""
        shares = np.linalg.inv(self.travel.slide_slopes(self.tool))[axis]
        parts: list[str] = []
        for name, share in zip(self.names, shares, strict=True):
            if abs(share) < 0.005:
                continue
            sign = ("minus " if share < 0 else "") if not parts else (" minus " if share < 0 else " plus ")
            parts.append(f"{sign}{abs(share):.2g} of {name.upper()}")
        return "".join(parts)

    def sentence(self, short: bool = False) -> str:
        """What the carriages have done, in one sentence."""
        if self.limit_words:
            return self.limit_words
        moved, slid = self.moved_m * 1e3, self.slid_m * 1e3
        if np.abs(slid).max() < 1e-3:
            return "Turn a motor and watch its carriage."
        said = [f"{n} {text.number(float(v), 1, signed=True)}" for n, v in zip(self.names, slid, strict=True)]
        words = [
            f"{plus if v > 0 else minus} {text.number(abs(float(v)), 0 if abs(v) >= 10 else 1)}"
            for v, plus, minus in zip(moved, ("right", "rear", "up"), ("left", "front", "down"), strict=True)
            if abs(v) >= 0.05
        ]
        towards = ", ".join(words) or "stays"
        return f"{towards[0].upper()}{towards[1:]}: {', '.join(said)} mm."

    @cached_property
    def most_slide_m(self) -> float:
        """How far a carriage ever is from rest, m: what its bar is drawn to."""
        far = 0.0
        for _, xy in self.machine.edge():
            for z in self.machine.reach[2]:
                far = max(far, float(np.abs(self.travel.slid(np.array([*xy, z]))).max()))
        return math.ceil(far * 100) / 100


def bench_of(machine: Machine) -> Bench:
    """The bench that a machine asks for."""
    return ArmsBench(machine) if machine.arms else Bench(machine)
