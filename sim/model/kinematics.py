"""Coordinates of the model and how every body moves with them: (u_b, phi_b) = T_b q, T_b constant, (6, n).

simple: translations only; a guide is rigid across, so a body inherits its parent's motion except along its slide, and
the frame top sways in X and Y; what hangs on arms has its own X, Y, Z.
full: every body that hangs on something compliant, arms among it, has six absolute coordinates (its mass centre and small
rotations); what is rigid removes coordinates instead. A rigid guide in full detail inherits its parent's rotation about
where it stands at the reference pose (PHYSICS.md, section 6, says what that leaves out).

Extended coordinates: first the n of the model, then one for the angle of each ideal motor (prescribed).
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from ..machine.machine import Body, Machine
from ..machine.routing import Pull

Array = NDArray[np.float64]
SIX = ("x", "y", "z", "about x", "about y", "about z")


def cross(r: Array) -> Array:
    """Matrix [r]x with [r]x w = r x w."""
    return np.array([[0.0, -r[2], r[1]], [r[2], 0.0, -r[0]], [-r[1], r[0], 0.0]])


def crossed(a: Array, b: Array) -> Array:
    """a x b of two vectors (3,), to the bit as numpy has it, which takes thirty times as long over its general shapes."""
    (a0, a1, a2), (b0, b1, b2) = a.tolist(), b.tolist()
    return np.array([a1 * b2 - a2 * b1, a2 * b0 - a0 * b2, a0 * b1 - a1 * b0])


class Kinematics:
    """names: of the n coordinates.  rows: by body, (6, total).  slides: coordinate number of each sliding body.

    loose: bodies that have six coordinates of their own.  free: those that hang on arms, with the first of their coordinates
    X, Y, Z (which go on about them where it is loose too).  A held slide stands.
    """

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.full = machine.design.detail == "full"
        self.names: list[str] = [f"rotor {m.name}" for m in machine.motors if m.spec is not None]
        self.slides: dict[str, int] = {}
        self.loose: dict[str, int] = {}
        self.free: dict[str, int] = {}
        for body in machine.bodies:
            self._name(body)
        self.n = len(self.names)
        ideal = [m.name for m in machine.motors if m.spec is None]
        self.total = self.n + len(ideal)
        self.angle = {
            m.name: self.n + ideal.index(m.name) if m.spec is None else self.names.index(f"rotor {m.name}")
            for m in machine.motors
        }
        self.rows = self._rows()

    def _is_loose(self, body: Body) -> bool:
        if not self.full:
            return False
        if body.parent is None:
            return self.machine.design.feet is not None
        if body.slide is not None:
            return body.guide is not None and body.driven
        return bool(body.sway)

    def _name(self, body: Body) -> None:
        start = len(self.names)
        if body.free:
            self.free[body.name] = start
            if self.full:
                self.loose[body.name] = start
            self.names += [f"{body.name} {word}" for word in SIX[: 6 if self.full else 3]]
        elif self._is_loose(body):
            self.loose[body.name] = start
            self.names += [f"{body.name} {word}" for word in SIX]
            if body.slide is not None and body.driven:
                self.slides[body.name] = start + body.slide
        elif body.slide is not None and body.driven:
            self.slides[body.name] = start
            self.names.append(f"{body.name} {SIX[body.slide]}")
        elif not self.full:
            self.names += [f"{body.name} {SIX[axis]}" for axis in body.sway]

    def _rows(self) -> dict[str, Array]:
        rows: dict[str, Array] = {}
        for body in self.machine.bodies:
            if body.name in self.loose:
                t = np.zeros((6, self.total))
                t[np.arange(6), self.loose[body.name] + np.arange(6)] = 1.0
                rows[body.name] = t
                continue
            if body.name in self.free:
                t = np.zeros((6, self.total))
                t[np.arange(3), self.free[body.name] + np.arange(3)] = 1.0
                rows[body.name] = t
                continue
            if body.parent is None:
                t = np.zeros((6, self.total))
            else:
                t = rows[body.parent].copy()
                lever = np.array(body.centre) - np.array(self.machine.body(body.parent).centre)
                t[:3] -= cross(lever) @ t[3:]
            if not self.full:
                for axis in body.sway:
                    t[axis, self.names.index(f"{body.name} {SIX[axis]}")] = 1.0
            if body.name in self.slides and body.slide is not None:
                t[body.slide] = 0.0
                t[body.slide, self.slides[body.name]] = 1.0
            rows[body.name] = t
        return rows

    def at(self, body: str, point: Iterable[float]) -> Array:
        """Rows (3, total) of the displacement of a point fixed to a body, given at the reference pose."""
        t = self.rows[body]
        lever = np.array(tuple(point)) - np.array(self.machine.body(body).centre)
        return np.asarray(t[:3] - cross(lever) @ t[3:])

    def pull(self, pull: Pull) -> Array:
        """Row (total,) of direction . displacement of the point where a belt leaves a body."""
        return np.asarray(pull.direction @ self.at(pull.body, pull.point))

    def relative_angle(self, motor: str) -> Array:
        """Row (total,) of a rotor's angle relative to its stator (the coordinate of a rotor is absolute)."""
        row = np.zeros(self.total)
        row[self.angle[motor]] = 1.0
        if self.angle[motor] < self.n:
            at = next(m for m in self.machine.motors if m.name == motor)
            row -= self._shaft(at.wheel) @ self.rows[at.stator][3:]
        return row

    def _shaft(self, wheel: str) -> Array:
        """Direction of a wheel's axis, (3,): its belt's plane is seen against it."""
        belts = self.machine.belts
        return next(belt.axes[2] for belt in belts if wheel in (wrap.wheel for wrap in belt.wraps))

    def turn(self, turn: tuple[str, float] | None) -> Array:
        """Row (total,) of signed radius times a motor's angle relative to its stator."""
        return np.zeros(self.total) if turn is None else turn[1] * self.relative_angle(turn[0])

    def slide_travel(self) -> Array:
        """(total, 3): coordinates of the slides per metre of rigid tool travel; motors and all else zero.

        Bodies with six coordinates move along with what carries them: their absolute coordinates travel too.
        """
        travel = np.zeros((self.total, 3))
        if self.machine.arms:
            for arm in self.machine.arms:
                # What an arm's two ends do along it is the same, so its carriage slides by the ratio of its components.
                body = self.machine.body(arm.ends[0][0])
                assert body.slide is not None
                travel[self.slides[body.name]] = arm.along / arm.along[body.slide]
            for start in self.free.values():
                travel[start : start + 3] = np.eye(3)
            return travel
        for axis in range(3):
            moved = self.machine.offsets(self.machine.middle + np.eye(3)[axis])
            for name, start in self.loose.items():
                travel[start : start + 3, axis] = moved[name]
            for name, index in self.slides.items():
                slide = self.machine.body(name).slide
                if name not in self.loose and slide is not None:
                    travel[index, axis] = moved[name][slide]
            # What stands on a held Z slide does not travel in the model: the program only moves it quasi-statically.
            for start in self.loose.values():
                travel[start + 2, axis] = 0.0
        return travel
