"""The model as arrays: what the simulator steps and the mode solver reads. It does not know which layout it serves.

    M q'' = - K q - D q' + sum of runs + sum of arms + sum of motors + sum of guide friction  (PHYSICS.md: every term)

Coordinates q (n,) are measured from the reference pose (tool in mid-reach): rad for rotors, m for everything else, in
`dof_names` order. An ideal motor has no coordinate: its angle is the command itself, and enters through `command_row`s.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from ..machine.machine import Machine
from ..machine.travel import Travel
from ..parts.design import MotorSpec
from .joints import JointElement

Array = NDArray[np.float64]
Made = TypeVar("Made")


@dataclass(frozen=True)
class RunElement:
    """One belt run: a spring that only pulls.

    row (n,), command_row (n_motors,): stretch x = row . q + command_row . theta_cmd, m.
    length_row (n,): free length L = length_m + length_row . q.  lag_s: damping time, c = lag_s EA / L.
    T = max(0, pretension_n + EA (x + lag_s x') / L).
    """

    belt: str
    name: str
    row: Array
    command_row: Array
    length_row: Array
    length_m: float
    ea_n: float
    pretension_n: float
    lag_s: float

    def length(self, q: Array) -> float:
        """Free length at coordinates q (n,), m."""
        return float(self.length_m + self.length_row @ q)

    def stiffness(self, q: Array) -> float:
        """EA / L at coordinates q (n,), N/m."""
        return self.ea_n / self.length(q)


@dataclass(frozen=True)
class ArmElement:
    """A pair of arms: a spring between points of two bodies, along the line between them wherever it points.

    d = start + row . q from its first end to its second, row (3, n) constant, start (3,) m; n = |d|, u = d / n.
    Pull along u: stiffness (n - length_m) + damping u . (row q'), N.
    """

    name: str
    row: Array
    start: Array
    length_m: float
    stiffness_n_m: float
    damping_n_s_m: float

    def at(self, q: Array) -> tuple[Array, float]:
        """(direction u (3,), length n m) at coordinates q (n,)."""
        d = self.start + self.row @ q
        n = float(np.sqrt(d @ d))
        return d / n, n

    def pull(self, q: Array, v: Array) -> tuple[Array, float]:
        """(u . row (n,), pull N): the generalised force is the pull times that row, backwards."""
        u, n = self.at(q)
        along = u @ self.row
        return along, self.stiffness_n_m * (n - self.length_m) + self.damping_n_s_m * float(along @ v)

    def stiffness_at(self, q: Array) -> Array:
        """Stiffness (n, n) at q, that of its load with it: row' [k u u' + (k (n - l) / n) (1 - u u')] row."""
        u, n = self.at(q)
        along = np.outer(u, u)
        load = self.stiffness_n_m * (n - self.length_m) / n
        inner = self.stiffness_n_m * along + load * (np.eye(3) - along)
        return np.asarray(self.row.T @ inner @ self.row)

    def damping_at(self, q: Array) -> Array:
        """Damping (n, n) at q."""
        along = self.at(q)[0] @ self.row
        return self.damping_n_s_m * np.outer(along, along)


@dataclass(frozen=True)
class MotorElement:
    """A motor's magnetic spring on theta_rel = row . q, rad; row is None for an ideal motor. radius_m: of its pulley.

    damping_nm_s: of the rotor in step, against its command.  detent_nm: of the unpowered rotor,
    - detent sin(4 N_r theta_rel): it holds where one phase alone would.  increment_rad: of one microstep where the command
    comes in whole ones, 0 where it runs smoothly.
    """

    name: str
    row: Array | None
    spec: MotorSpec | None
    radius_m: float
    teeth: int
    damping_nm_s: float
    limit_nm: float
    detent_nm: float = 0.0
    increment_rad: float = 0.0


@dataclass(frozen=True)
class FrictionElement:
    """One bristle state on the sliding speed v = row . q'.

    z' = v - sigma0 |v| z / g(v), F = sigma0 z + sigma1 z';  g = coulomb + (static - coulomb) exp(-(v/stribeck)^2).
    (LuGre; Canudas de Wit, Olsson, Astrom, Lischinsky, IEEE TAC 40(3), 1995, from memory.)
    """

    name: str
    row: Array
    coulomb_n: float
    static_n: float
    stribeck_m_s: float
    sigma0_n_m: float
    sigma1_n_s_m: float


def _tool_moves(system: System) -> tuple[bool, bool, bool]:
    x, y, z = (bool(np.any(row)) for row in system.tool_rows)
    return x, y, z


@dataclass(frozen=True)
class System:
    """See the module's head. Shapes: n coordinates, m motors.

    mass, stiffness, damping: (n, n), symmetric, mass positive definite.
    command_inertia: (n, m), M^-1 times the inertia that couples q to ideal motors' speeds: q' = w - command_inertia omega_cmd,
    where w is what the stepper carries, so that a jump of the commanded speed gives the impulse it must.
    joints: feet, frame and guides of the full model; empty in the simple one.  gravity: (n,) generalised weight, N or N m.
    tool_rows: (3, n), tool relative to the work against q: r = tool_rows . q.  work_turn: (3, n), rotation of the work.
    tool_zero: (3,), so that the tool stands at tool_zero + r + r x turn.  tool_travel: from the tool's place to q and motor
    angles.  body_rows, body_turns: by body name, (3, n), translation of its mass centre and rotation.
    middle: (3,) tool position at q = 0, m.  arms: springs whose direction changes with q; no other machine has any.
    """

    machine: Machine
    dof_names: tuple[str, ...]
    mass: Array
    mass_with_motors: Array
    stiffness: Array
    damping: Array
    command_inertia: Array
    runs: tuple[RunElement, ...]
    motors: tuple[MotorElement, ...]
    frictions: tuple[FrictionElement, ...]
    joints: tuple[JointElement, ...]
    gravity: Array
    tool_rows: Array
    work_turn: Array
    tool_zero: Array
    tool_travel: Travel
    body_rows: dict[str, Array]
    body_turns: dict[str, Array]
    middle: Array
    arms: tuple[ArmElement, ...] = ()

    @property
    def n(self) -> int:
        """Number of coordinates."""
        return len(self.dof_names)

    def once(self, make: Callable[[System], Made]) -> Made:
        """What `make` works out of the model without its `tool_zero`, which is asked for several times on the way to a run."""
        known: dict[Callable[[System], Made], Made] = vars(self).setdefault("_once", {})
        if make not in known:
            known[make] = make(self)
        return known[make]

    def with_zero(self, tool_zero: Array) -> System:
        """The same model whose tool reads otherwise at q = 0; what has been worked out of the rest stays."""
        other = replace(self, tool_zero=tool_zero)
        vars(other)["_once"] = vars(self).setdefault("_once", {})
        return other

    def rest(self, tool: Array) -> Array:
        """Coordinates (n,) with the tool at rest at `tool` (3,), m, and no spring strained."""
        return self.tool_travel.coordinates(tool)

    def travel_at(self, tool: Array) -> Array:
        """(n, 3): change of q per metre of rigid tool travel at `tool` (3,), m."""
        return self.tool_travel.slopes(tool)

    def motor_travel_at(self, tool: Array) -> Array:
        """(m, 3): rad per metre of tool travel at `tool` (3,), m."""
        return self.tool_travel.angle_slopes(tool)

    @property
    def travel(self) -> Array:
        """`travel_at` the middle of the reach."""
        return self.travel_at(self.middle)

    @property
    def motor_travel(self) -> Array:
        """`motor_travel_at` the middle of the reach."""
        return self.motor_travel_at(self.middle)

    def tool_at(self, q: Array) -> Array:
        """Tool position (..., 3), m, at coordinates q (..., n); along an axis not in `tool_moves` it means nothing."""
        r, turn = np.asarray(q) @ self.tool_rows.T, np.asarray(q) @ self.work_turn.T
        # r x turn; numpy's own takes four times as long over a run's rows.
        moved = np.stack([r[..., b] * turn[..., c] - r[..., c] * turn[..., b] for b, c in ((1, 2), (2, 0), (0, 1))], -1)
        return np.asarray(self.tool_zero + r + moved)

    @property
    def tool_moves(self) -> tuple[bool, bool, bool]:
        """Whether the model moves the tool along X, Y, Z; along an axis it does not, the tool follows its command."""
        return self.once(_tool_moves)

    def motor_command(self, tool: Array) -> Array:
        """Motor angles (..., m), rad from the reference pose, that put the rigid tool at `tool` (..., 3), m."""
        return self.tool_travel.angles(tool)

    def stepped(self, theta: Array) -> Array:
        """Motor angles (..., m) as commanded at rest: in whole microsteps where the driver gives those."""
        size = np.array([m.increment_rad for m in self.motors])
        safe = np.where(size > 0, size, 1.0)
        return np.where(size > 0, safe * np.floor(theta / safe + 0.5), theta)

    def linear_stiffness(self, q: Array, motors: bool = True) -> Array:
        """Stiffness (n, n) about rest at q: frame, taut belts at their lengths there, arms,
        and the motors' magnetic springs."""
        k = self.stiffness.copy()
        for joint in self.joints:
            rows = joint.tangent(q)
            slide = 0.0 if joint.axis is None else float(joint.row[joint.axis] @ q)
            k += rows.T @ joint.stiffness_alone(slide) @ rows
        for run in self.runs:
            k += run.stiffness(q) * np.outer(run.row, run.row)
        for arm in self.arms:
            k += arm.stiffness_at(q)
        if motors:
            for motor in self.motors:
                if motor.row is not None and motor.spec is not None:
                    k += motor.spec.rotor_teeth * motor.limit_nm * np.outer(motor.row, motor.row)
        return k

    def linear_damping(self, q: Array) -> Array:
        """Damping (n, n) about rest at q, guide friction left out."""
        d = self.damping.copy()
        for joint in self.joints:
            rows = joint.tangent(q)
            d += rows.T @ joint.damping @ rows
        for run in self.runs:
            d += run.lag_s * run.stiffness(q) * np.outer(run.row, run.row)
        for arm in self.arms:
            d += arm.damping_at(q)
        for motor in self.motors:
            if motor.row is not None:
                d += motor.damping_nm_s * np.outer(motor.row, motor.row)
        return d
