"""The stated machine on arms that the published check values are for, twice: in the engine's arrays, and as equations of
its own for a general-purpose integrator. Towers at 90, 210, 330 degrees, l = 250, R = 120 mm, reach 200 mm round, z 0 to 200.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from beltspring.sim.compiled import compiled
from beltspring.sim.machine.travel import ArmTravel
from beltspring.sim.model.statics import equilibrium
from beltspring.sim.model.system import ArmElement, MotorElement, RunElement, System
from beltspring.sim.parts.design import MotorSpec
from beltspring.sim.simulate import reference
from beltspring.sim.simulate.commands import Extremes, State, make_chunk, out_width, torque_table
from beltspring.sim.simulate.generated import GeneratedLoop
from scipy.integrate import solve_ivp
from scipy.optimize import fsolve

from tests.support import Array, bare, model_of

TOWERS = np.radians([90.0, 210.0, 330.0])
ROUND = np.stack([np.cos(TOWERS), np.sin(TOWERS)], axis=1)
ARM_M, SPAN_M, RIM_M, G = 0.250, 0.120, 0.100, 9.80665
EFFECTOR_KG, CARRIAGE_KG, PAIR_KG = 0.300, 0.120, 0.030
BELT_N_M, LAG_S, RADIUS_M = 60e3, 2.277974e-4, 6.366198e-3
ROTOR_KG_M2, MAGNET_NM = 5e-6, 20.0
DRAG_NM_S = 2 * 0.05 * np.sqrt(MAGNET_NM * ROTOR_KG_M2)
PAIR_N_M, PAIR_N_S_M = 4.0e6, 13.23260
MIDDLE = np.array([0.0, 0.0, 0.1])
#: Keys that make the stated machine's reach and arms; all else is rigid or without mass.
STATED = {
    "space.x_mm": 200,
    "space.y_mm": 200,
    "delta.arm_mm": 250,
    "delta.tower_radius_mm": 175,
    "carriage.mass_g": 120,
}


def heights(tool: Array) -> Array:
    """Carriage heights (..., 3), m, above the platform's joints at z = 0, from the arms' triangles, written anew."""
    tool = np.asarray(tool, float)
    across = tool[..., None, :2] - SPAN_M * ROUND
    return np.asarray(tool[..., 2:] + np.sqrt(ARM_M**2 - (across**2).sum(axis=-1)))


def slopes(tool: Array) -> Array:
    """J (3, 3): heights per metre of tool."""
    across = tool[:2] - SPAN_M * ROUND
    rise = np.sqrt(ARM_M**2 - (across**2).sum(axis=-1))
    return np.hstack([-across / rise[:, None], np.ones((3, 1))])


def mass_matrix(pair_kg: float = PAIR_KG) -> Array:
    """M of rotors, carriages' z and the platform's x, y, z: rods of uniform mass, T = m/6 (v1.v1 + v1.v2 + v2.v2)."""
    m = np.diag([ROTOR_KG_M2] * 3 + [CARRIAGE_KG + pair_kg / 3] * 3 + [EFFECTOR_KG + pair_kg] * 3)
    m[3:6, 8] = m[8, 3:6] = pair_kg / 6
    return m


def weights(pair_kg: float = PAIR_KG) -> Array:
    """Generalised weight (9,): half of each pair of arms at either end."""
    w = np.zeros(9)
    w[3:6] = -G * (CARRIAGE_KG + pair_kg / 2)
    w[8] = -G * (EFFECTOR_KG + 1.5 * pair_kg)
    return w


def _straight_magnet() -> MotorSpec:
    """Data of a motor whose sine is straight at every lag that occurs, and whose drag goes with the speed."""
    teeth, pull = 1e-3, MAGNET_NM / 1e-3
    return MotorSpec(
        part="made up", holding_torque_nm=pull * np.sqrt(2), rated_current_a=1.0, rotor_inertia_kg_m2=ROTOR_KG_M2,
        resistance_ohm=1.0, inductance_h=1e-12, detent_nm=0.0, rotor_damping_ratio=0.05, mass_kg=0.3, body_m=0.042,
        shaft_load_n=30.0, current_a=1.0, supply_v=1e9, microsteps=16, rotor_teeth=teeth,  # type: ignore[arg-type]
    )  # fmt: skip


def stated(
    pair_kg: float = PAIR_KG, pair_n_m: float = PAIR_N_M, pair_n_s_m: float = PAIR_N_S_M, belt_lag_s: float = LAG_S
) -> System:
    """The stated machine in the engine's arrays: belts of constant stiffness that stay taut, straight magnets, gravity."""
    real = model_of(bare("delta", STATED))
    names = (*(f"rotor {t}" for t in "abc"), *(f"carriage {t} z" for t in "abc"), *(f"effector {a}" for a in "xyz"))
    along = np.hstack([-SPAN_M * ROUND, np.full((3, 1), -np.sqrt(ARM_M**2 - SPAN_M**2))])
    eye, runs, arms, motors = np.eye(9), [], [], []
    for i, name in enumerate("abc"):
        row = eye[3 + i] - RADIUS_M * eye[i]
        for end, sign in (("lower", 1.0), ("upper", -1.0)):
            half = BELT_N_M / 2
            runs.append(RunElement(name, end, sign * row, np.zeros(3), np.zeros(9), 1.0, half, 1e4, belt_lag_s))
        reach = eye[6:].copy()
        reach[2] -= eye[3 + i]
        arms.append(ArmElement(name, reach, along[i], ARM_M, pair_n_m, pair_n_s_m))
        spec = _straight_magnet()
        motors.append(MotorElement(name, eye[i], spec, RADIUS_M, 20, DRAG_NM_S, MAGNET_NM / spec.rotor_teeth))
    to_slides = np.zeros((9, 3))
    to_slides[3:6] = np.eye(3)
    to_slides[:3] = np.eye(3) / RADIUS_M
    to_tool = np.zeros((9, 3))
    to_tool[6:] = np.eye(3)
    return replace(
        real,
        dof_names=names,
        mass=mass_matrix(pair_kg),
        mass_with_motors=mass_matrix(pair_kg),
        stiffness=np.zeros((9, 9)),
        damping=np.zeros((9, 9)),
        command_inertia=np.zeros((9, 3)),
        runs=tuple(runs),
        motors=tuple(motors),
        frictions=(),
        gravity=weights(pair_kg),
        tool_rows=to_tool.T.copy(),
        work_turn=np.zeros((3, 9)),
        tool_zero=MIDDLE,
        middle=MIDDLE,
        tool_travel=ArmTravel(MIDDLE, along, np.full(3, ARM_M), (2, 2, 2), to_tool, to_slides, np.eye(3) / RADIUS_M),
        arms=tuple(arms),
    )


@compiled
def _command(t: float, piece: int, law: Any, start: Any, out: Any) -> None:
    """Place and velocity (2, 3) in piece 0 (ramp up), 1 (even), 2 (ramp down), 3 (rest)."""
    t1, t2, t3, r, v, a = law
    if piece == 0:
        s, speed = 0.5 * a * t * t, a * t
    elif piece == 1:
        s, speed = 0.5 * a * t1 * t1 + v * (t - t1), v
    else:
        left = max(t3 - t, 0.0) if piece == 2 else 0.0
        s, speed = v * t2 - 0.5 * a * left * left, a * left
    if r > 0.0:
        out[0, 0], out[0, 1], out[0, 2] = r * math.cos(s / r), r * math.sin(s / r), start[2]
        out[1, 0], out[1, 1], out[1, 2] = -speed * math.sin(s / r), speed * math.cos(s / r), 0.0
    else:
        out[0, 0], out[0, 1], out[0, 2] = start[0], start[1], start[2] + s
        out[1, 0], out[1, 1], out[1, 2] = 0.0, 0.0, speed


@dataclass(frozen=True)
class Path:
    """A commanded motion along a path s, straight up from its start or (radius > 0) round counter-clockwise: breaks, s."""

    breaks: tuple[float, float, float]
    end_s: float
    start: Array
    radius: float
    speed: float
    acceleration: float

    def at(self, t: float, piece: int) -> tuple[Array, Array]:
        """Place and velocity, (3,) each, m, m/s."""
        out = np.empty((2, 3))
        _command(t, piece, self.law, self.start, out)
        return out[0], out[1]

    @property
    def law(self) -> tuple[float, ...]:
        """What `_command` is told of it."""
        return (*self.breaks, self.radius, self.speed, self.acceleration)

    def pieces(self) -> list[tuple[float, float]]:
        """Their ends."""
        marks = (0.0, *self.breaks, self.end_s)
        return list(itertools.pairwise(marks))


def _ramps(length: float, speed: float, acceleration: float) -> tuple[float, float, float]:
    ramp = speed / acceleration
    even = (length - speed * ramp) / speed
    return ramp, ramp + even, 2 * ramp + even


def z_step() -> Path:
    """(60, -40, 50) mm up 5 mm at 100 mm/s, 3000 mm/s2."""
    return Path(_ramps(0.005, 0.1, 3.0), 0.150, np.array([0.060, -0.040, 0.050]), 0.0, 0.1, 3.0)


def circle() -> Path:
    """Radius 30 mm about the middle, z 50, from (30, 0) counter-clockwise, 150 mm/s, 3000 mm/s2 along it."""
    return Path(_ramps(2 * np.pi * 0.030, 0.15, 3.0), 1.4, np.array([0.030, 0.0, 0.050]), 0.030, 0.15, 3.0)


class _Stretch:
    """One piece of a path as the loops are fed it."""

    def __init__(self, path: Path, piece: int) -> None:
        self.path, self.piece = path, piece

    def command(self, t_from: Array, t_to: Array) -> tuple[Array, Array]:
        """Place and velocity (n, 3, 3) at start, middle, end."""
        out = np.empty((2, len(t_from), 3, 3))
        for i, (a, b) in enumerate(zip(t_from, t_to, strict=True)):
            for j, t in enumerate((a, 0.5 * (a + b), b)):
                out[0, i, j], out[1, i, j] = self.path.at(t, self.piece)
        return out[0], out[1]


def engine(system: System, path: Path, step_s: float, loop: str = "generated") -> tuple[Array, Array, Array]:
    """(t (k,), coordinates (k, n), speeds (k, n)) on a 1 ms grid: a loop fed as `run` feeds it, from equilibrium."""
    start = path.at(0.0, 0)[0]
    state = State(equilibrium(system, start), np.zeros(system.n), np.zeros(len(system.frictions)), 0.0)
    advance = GeneratedLoop(system).advance if loop == "generated" else reference.advance
    table, times, rows, seen = torque_table(system), [], [], Extremes.fresh(system)
    for piece, (t0, t1) in enumerate(path.pieces()):
        grid = np.arange(np.ceil(t0 * 1e3 - 1e-9), np.floor(t1 * 1e3 + 1e-9) + 1) * 1e-3
        marks = np.unique(np.round(np.concatenate([[t0], grid, [t1]]), 12))
        edges = np.concatenate(
            [np.linspace(a, b, int(np.ceil((b - a) / step_s - 1e-9)) + 1)[:-1] for a, b in itertools.pairwise(marks)]
            + [marks[-1:]]
        )
        edges[0], edges[-1] = t0, t1
        near = np.abs(edges * 1e3 - np.round(edges * 1e3)) < 1e-7
        numbers = np.where(near, np.round(edges * 1e3), -1).astype(np.int64)
        last = piece == 3
        chunk = make_chunk(system, _Stretch(path, piece), edges, numbers, last, table)  # type: ignore[arg-type]
        out = np.empty((chunk.rows, out_width(system)))
        advance(system, state, chunk, out, seen)
        times.append(chunk.times[chunk.record >= 0])
        rows.append(out)
    whole = np.vstack(rows)
    return np.concatenate(times), whole[:, : system.n], whole[:, system.n : 2 * system.n]


@compiled
def _force(q: Any, v: Any, turn: Any, spin: Any, f: Any) -> None:
    """Add the forces beside the weight to f (9,); turn, spin: commanded angles and speeds (3,)."""
    for i in range(3):
        f[i] -= MAGNET_NM * (q[i] - turn[i]) + DRAG_NM_S * (v[i] - spin[i])
        pull = BELT_N_M * (q[3 + i] - RADIUS_M * q[i] + LAG_S * (v[3 + i] - RADIUS_M * v[i]))
        f[i] += RADIUS_M * pull
        f[3 + i] -= pull
        x, y, z = q[6] - SPAN_M * ROUND[i, 0], q[7] - SPAN_M * ROUND[i, 1], q[8] - q[3 + i]
        n = math.sqrt(x * x + y * y + z * z)
        rate = (x * v[6] + y * v[7] + z * (v[8] - v[3 + i])) / n
        tension = PAIR_N_M * (n - ARM_M) + PAIR_N_S_M * rate
        f[6] -= tension * x / n
        f[7] -= tension * y / n
        f[8] -= tension * z / n
        f[3 + i] += tension * z / n


@compiled
def _rate(t: float, y: Any, piece: int, law: Any, start: Any, weight: Any, inverse: Any) -> Any:
    """dy/dt in one piece of a path; the motors' angles from the arms' triangles, written anew."""
    tool, f, out, turn, spin = np.empty((2, 3)), weight.copy(), np.zeros(18), np.empty(3), np.empty(3)
    _command(t, piece, law, start, tool)
    for i in range(3):
        x, y_ = tool[0, 0] - SPAN_M * ROUND[i, 0], tool[0, 1] - SPAN_M * ROUND[i, 1]
        rise = math.sqrt(ARM_M * ARM_M - x * x - y_ * y_)
        turn[i] = (tool[0, 2] + rise) / RADIUS_M
        spin[i] = (tool[1, 2] - (x * tool[1, 0] + y_ * tool[1, 1]) / rise) / RADIUS_M
    _force(y[:9], y[9:], turn, spin, f)
    for i in range(9):
        out[i] = y[9 + i]
        for k in range(9):
            out[9 + i] += inverse[i, k] * f[k]
    return out


class Equations:
    """The stated machine's equations, written again. State: rotors, carriages' heights, platform x y z; then speeds."""

    def __init__(self, pair_kg: float = PAIR_KG) -> None:
        self.inverse, self.weight = np.linalg.inv(mass_matrix(pair_kg)), weights(pair_kg)

    def force(self, q: Array, v: Array, turn: Array, spin: Array) -> Array:
        """Generalised force (9,); turn, spin: commanded angles and speeds (3,)."""
        f = self.weight.copy()
        _force(q, v, turn, spin, f)
        return f

    def rest(self, path: Path) -> Array:
        """Equilibrium (9,) at the path's start: scipy's fsolve."""
        tool = path.at(0.0, 0)[0]
        h = heights(tool)
        guess = np.concatenate([h / RADIUS_M, h, tool])
        none = np.zeros(9)
        scale = np.array([1e-3] * 3 + [1.0] * 6)
        found = fsolve(lambda q: self.force(q, none, h / RADIUS_M, np.zeros(3)), guess, xtol=1e-15)
        for _ in range(3):  # Newton on differences, to the last digit
            jacobian = np.empty((9, 9))
            for k in range(9):
                e = 1e-7 * np.eye(9)[k] * scale[k]
                up, down = (self.force(found + s * e, none, h / RADIUS_M, np.zeros(3)) for s in (1, -1))
                jacobian[:, k] = (up - down) / (2e-7 * scale[k])
            found = found - np.linalg.solve(jacobian, self.force(found, none, h / RADIUS_M, np.zeros(3)))
        return np.asarray(found)

    def solve(self, path: Path, times: Array, rtol: float = 1e-11) -> Array:
        """States (k, 18) at `times`, restarted at every break. scipy.integrate.solve_ivp, DOP853."""
        y = np.concatenate([self.rest(path), np.zeros(9)])
        out = np.empty((len(times), 18))
        given = path.law, path.start, self.weight, self.inverse
        for piece, (t0, t1) in enumerate(path.pieces()):
            inside = np.flatnonzero((times >= t0 - 1e-9) & (times <= t1 + 1e-9))
            marks = np.clip(times[inside], t0, t1)
            wanted = np.unique(np.append(marks, t1))
            found = solve_ivp(_rate, (t0, t1), y, "DOP853", wanted, rtol=rtol, atol=1e-14, args=(piece, *given))
            assert found.success, found.message
            out[inside] = found.y.T[np.searchsorted(wanted, marks)]
            y = found.y[:, -1]
        return out
