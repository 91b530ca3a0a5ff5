"""What the checks of the engine share: machines in the file's own words, textbook motion, the equations written again.

Nothing here uses a step loop or the plan's sampling: `Equations` is the model's mathematics written a second time, from
the System's arrays, for integrators we did not write, and `Motion` is a move from the textbook's trapezoid.
"""

from __future__ import annotations

import itertools
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from beltspring.sim.machine.build import build_machine
from beltspring.sim.machine.layouts import LAYOUTS
from beltspring.sim.machine.machine import Machine
from beltspring.sim.model.build import build_model
from beltspring.sim.model.statics import equilibrium
from beltspring.sim.model.system import System
from beltspring.sim.plan.build import MotionPlan, build_plan
from beltspring.sim.scenario.load import load_scenario, scenario_of, with_changes
from beltspring.sim.scenario.motion import motion_limits, move_spec, shapers
from beltspring.sim.scenario.schema import Scenario
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

Array = NDArray[np.float64]

#: A machine with everything off: rigid frame and guides, ideal motors, belts and idlers without mass, no damping.
BARE = """
title = "bare {layout}"
layout = "{layout}"
detail = "simple"
space = {{ x_mm = 400, y_mm = 400, z_mm = 200 }}
carriage = {{ mass_g = 500, guide = "rigid", width_mm = 50 }}
gantry = {{ mass_g = 800, guide = "rigid" }}
bed = {{ mass_g = 1500, guide = "rigid" }}
belts = {{ part = "belt-2mm-6-glass", ea_n = 18000, pretension_n = 60, damping = 0, mass_g_m = 0 }}
motors = {{ part = "ideal" }}
idlers = {{ inertia_g_mm2 = 0 }}
frame = {{ part = "rigid" }}
feet = {{ part = "rigid" }}
motion = {{ speed_mm_s = 100, acceleration_mm_s2 = 3000, corner_speed_step_mm_s = 0 }}
move = {{ pattern = "step", size_mm = 50 }}
"""

#: A machine one would build, for layouts that no shipped scenario of the main two shows: profile frame, rods, steppers.
BUILT = """
title = "built {layout}"
layout = "{layout}"
detail = "simple"
space = {{ x_mm = 200, y_mm = 200, z_mm = 180 }}
carriage = {{ mass_g = 350, guide = "rod-8-pair" }}
gantry = {{ mass_g = 500, guide = "rod-8-pair" }}
bed = {{ mass_g = 900, guide = "rod-8-pair" }}
belts = {{ part = "belt-2mm-6-glass", pretension_n = 18 }}
motors = {{ part = "motor-17-40", current_a = 1.2 }}
frame = {{ part = "slot-2040", width_mm = 460, depth_mm = 460 }}
motion = {{ speed_mm_s = 120, acceleration_mm_s2 = 3000 }}
move = {{ pattern = "square", size_mm = 60 }}
"""

#: Real motors for such a machine, as keys to change: no losses, T_h = 0.40 N m at the set current (peak = sqrt 2 rated).
MOTORS: dict[str, Any] = {
    "motors.part": "motor-17-40",
    "motors.rated_current_a": 1.0,
    "motors.current_a": float(np.sqrt(2.0)),
    "motors.holding_torque_nm": 0.40,
    "motors.rotor_inertia_g_cm2": 50.0,
    "motors.detent_nm": 0,
    "motors.damping": 0,
    "motors.supply_v": 48,
}

ALL_LAYOUTS = sorted(LAYOUTS)
#: Those whose belts drive X and Y in proportion to the tool's way.
LINEAR_LAYOUTS = [name for name in ALL_LAYOUTS if not LAYOUTS[name].on_arms]
#: What asks for the textbook model, whatever the default is.
SIMPLE: dict[str, Any] = {"detail": "simple"}
#: A workshop machine of each layout: printed or slot frame, rods or wheels with friction, stepper motors.
WORKSHOP = {"corexy": "desk-corexy", "moving-bed": "moving-bed-wheels", "delta": "small-delta"}


#: The desk machine without its panels: an open frame, which two columns are as well.
OPEN = {f"frame.panels.{place}.part": "none" for place in ("sides", "rear", "top")}


def bare(layout: str, changes: Mapping[str, Any] | None = None) -> Scenario:
    """A bare machine of a layout with dotted keys changed, exactly as a person would write them."""
    plain = scenario_of(tomllib.loads(BARE.format(layout=layout)), "bare.toml")
    return with_changes(plain, changes) if changes else plain


def shipped(name: str, changes: Mapping[str, Any] | None = None) -> Scenario:
    """A shipped scenario with dotted keys changed."""
    plain = load_scenario(name)
    return with_changes(plain, changes) if changes else plain


def textbook(name: str, changes: Mapping[str, Any] | None = None) -> Scenario:
    """A shipped scenario in the textbook's few coordinates, with dotted keys changed."""
    return shipped(name, SIMPLE | dict(changes or {}))


def workshop(layout: str, changes: Mapping[str, Any] | None = None) -> Scenario:
    """A machine of the layout with everything in it, at detail simple: the shipped one, else the one written here."""
    if layout in WORKSHOP:
        return textbook(WORKSHOP[layout], changes)
    plain = scenario_of(tomllib.loads(BUILT.format(layout=layout)), "built.toml")
    return with_changes(plain, changes) if changes else plain


def machine_of(scenario: Scenario) -> Machine:
    """The machine of a scenario."""
    return build_machine(scenario)


def model_of(scenario: Scenario) -> System:
    """The model of a scenario."""
    return build_model(build_machine(scenario))


def plan_of(scenario: Scenario, system: System) -> MotionPlan:
    """The plan of a scenario's own move."""
    return build_plan(motion_limits(scenario), shapers(scenario), move_spec(scenario), system.machine.reach)


def without_friction(layout: str) -> dict[str, Any]:
    """Keys that switch guide friction off in a workshop machine."""
    return {f"{part}.friction_n": 0 for part in ("carriage", "gantry", "bed")}


def without_detent(layout: str) -> dict[str, Any]:
    """Keys that switch the motors' detent off in a workshop machine: it shakes the rotors faster than any other spring."""
    own = ["motors.y"] if layout == "moving-bed" else []  # the file gives this motor a part of its own
    return {f"{motor}.detent_nm": 0 for motor in ("motors", *own)}


def with_runs(system: System, lengths: Mapping[tuple[str, str], float]) -> System:
    """The model with free lengths of runs (belt, run) set, m, at every place: the closed forms hold L fixed."""
    runs = tuple(
        replace(r, length_m=lengths.get((r.belt, r.name), r.length_m), length_row=np.zeros(system.n))
        for r in system.runs
    )
    return replace(system, runs=runs)


def linear(system: System) -> System:
    """The same machine made linear: free lengths held, belts that never go slack, a magnetic spring that is straight.

    The sine stays, but over one electrical turn a revolution with fifty times the torque: the same stiffness, and
    straight to one part in a million at the lags that occur.
    """
    runs = tuple(replace(r, length_row=np.zeros(system.n), pretension_n=1e4) for r in system.runs)
    motors = tuple(
        m
        if m.spec is None
        else replace(
            m,
            limit_nm=m.limit_nm * m.spec.rotor_teeth,
            detent_nm=0.0,
            spec=replace(
                m.spec,
                holding_torque_nm=m.spec.holding_torque_nm * m.spec.rotor_teeth,
                rotor_teeth=1,
                supply_v=1e6,
                inductance_h=1e-12,  # drag in proportion to the speed off the command
                detent_nm=0.0,
            ),
        )
        for m in system.motors
    )
    return replace(system, runs=runs, motors=motors)


@dataclass(frozen=True)
class EvenMotion:
    """Even acceleration: from t0 to t1 s, position p, velocity v (at t0) and acceleration a, (3,) each."""

    t0: float
    t1: float
    p: Array
    v: Array
    a: Array

    def at(self, t: float) -> tuple[Array, Array]:
        """Position and velocity at t."""
        d = t - self.t0
        return self.p + d * (self.v + 0.5 * d * self.a), self.v + d * self.a


def trapezoids(points: Sequence[Array], speed: float, acceleration: float, settle: float) -> list[EvenMotion]:
    """Straight lines through points, a full stop at each: three stretches a line, then rest.

    Rest to rest over D: T = D/v + v/a, or 2 sqrt(D/a) when the speed is not reached (any textbook on motion profiles).
    """
    out: list[EvenMotion] = []
    t = 0.0
    for start, end in itertools.pairwise(points):
        way = np.asarray(end, float) - start
        distance = float(np.linalg.norm(way))
        along = way / distance
        top = min(speed, float(np.sqrt(distance * acceleration)))
        ramp = top / acceleration
        cruise = (distance - top * ramp) / top
        p, v = np.asarray(start, float), 0.0
        for length, a in ((ramp, acceleration), (cruise, 0.0), (ramp, -acceleration)):
            if length > 1e-12:
                out.append(EvenMotion(t, t + length, p, v * along, a * along))
                p, v, t = p + along * (v * length + 0.5 * a * length**2), v + a * length, t + length
    out.append(EvenMotion(t, t + settle, np.asarray(points[-1], float), np.zeros(3), np.zeros(3)))
    return out


class Equations:
    """The equations of motion written a second time, first order, for a general-purpose integrator.

    State y: q (n,), then w (n,) with q' = w - command_inertia omega_cmd, then one bristle a friction element. Motors hold
    their full torque K_t I: a move must stay below the speed at which the voltage limits it (`solve` checks that).
    """

    def __init__(self, system: System, linear_drag: bool = False) -> None:
        s = self.system = system
        self.n = s.n
        self.inverse = np.linalg.inv(s.mass)
        self.rows = np.array([r.row for r in s.runs])
        self.feeds = np.array([r.command_row for r in s.runs])
        self.reach = np.array([r.length_row for r in s.runs])
        self.free = np.array([r.length_m for r in s.runs])
        self.ea = np.array([r.ea_n for r in s.runs])
        self.taut = np.array([r.pretension_n for r in s.runs])
        self.lag = np.array([r.lag_s for r in s.runs])
        real = [(j, m, m.spec) for j, m in enumerate(s.motors) if m.row is not None and m.spec is not None]
        self.real = [j for j, _, _ in real]
        self.turns = np.array([m.row for _, m, _ in real]).reshape(-1, s.n)
        self.teeth = np.array([spec.rotor_teeth for _, _, spec in real])
        # K_t I = T_h I / (sqrt 2 I_rated), both phases on at the rated current (Acarnley; Kenjo; from memory).
        self.pull = np.array(
            [spec.holding_torque_nm * spec.current_a / (np.sqrt(2) * spec.rated_current_a) for _, _, spec in real]
        )
        self.drag = np.array([m.damping_nm_s for _, m, _ in real])
        self.specs = [spec for _, _, spec in real]
        self.detent = np.array([m.detent_nm for _, m, _ in real])
        # linear_drag: against the command's speed at any lag and without limit, as it is for small motions in step.
        self.winding = np.array([spec.rotor_teeth * spec.inductance_h / spec.resistance_ohm for spec in self.specs])
        self.linear_drag = linear_drag
        self.shift = np.zeros(3)
        self.slides = np.array([f.row for f in s.frictions]).reshape(-1, s.n)
        self.coulomb = np.array([f.coulomb_n for f in s.frictions])
        self.extra = np.array([f.static_n - f.coulomb_n for f in s.frictions])
        self.stribeck = np.array([f.stribeck_m_s for f in s.frictions])
        self.sigma0 = np.array([f.sigma0_n_m for f in s.frictions])
        self.sigma1 = np.array([f.sigma1_n_s_m for f in s.frictions])

    def full_torque(self, omega: Array) -> None:
        """Fail unless every motor can hold its current at these speeds: (R I + K_t w)^2 + (N w L I)^2 < V^2."""
        for m, pull, w in zip(self.specs, self.pull, np.abs(omega[self.real]), strict=True):
            back = m.resistance_ohm * m.current_a + pull / m.current_a * w
            assert back**2 + (m.rotor_teeth * w * m.inductance_h * m.current_a) ** 2 < m.supply_v**2

    def rate(self, t: float, y: Array, move: EvenMotion) -> Array:
        """dy/dt under one stretch of the command."""
        s, n = self.system, self.n
        place, velocity = move.at(t)
        theta, omega = s.motor_travel @ (place - s.middle), s.motor_travel @ velocity
        q, z = y[:n], y[2 * n :]
        speed = y[n : 2 * n] - s.command_inertia @ omega
        x, stretching = self.rows @ q + self.feeds @ theta, self.rows @ speed + self.feeds @ omega
        length = self.free + self.reach @ q
        tension = np.maximum(0.0, self.taut + self.ea * (x + self.lag * stretching) / length)
        strain = np.maximum(x / length, -self.taut / self.ea)
        lag, slip = self.turns @ q - theta[self.real], self.turns @ speed - omega[self.real]
        torque = -self.pull * np.sin(self.teeth * lag) - self.detent * np.sin(4 * self.teeth * (self.turns @ q))
        if self.linear_drag:
            torque -= self.drag * slip
        else:
            torque -= self.drag * slip * np.maximum(0.0, np.cos(self.teeth * lag)) / (1 + (slip * self.winding) ** 2)
        v = self.slides @ speed
        bristles = v - self.sigma0 * np.abs(v) / (self.coulomb + self.extra * np.exp(-((v / self.stribeck) ** 2))) * z
        force = (
            -s.stiffness @ q
            - s.damping @ speed
            - self.rows.T @ tension
            + self.reach.T @ (0.5 * self.ea * strain**2)
            + self.turns.T @ torque
            - self.slides.T @ (self.sigma0 * z + self.sigma1 * bristles)
            + s.gravity
            + self.joints(q, speed)
        )
        return np.concatenate([speed, self.inverse @ force, bristles])

    def rest(self, move: EvenMotion) -> Array:
        """State at the start of a move, where the forces written here balance: detents and weight pull it off its command.

        The tool reads its commanded place there.
        """
        first = equilibrium(self.system, move.p)
        state = np.concatenate([first, np.zeros(self.n + len(self.system.frictions))])
        still = EvenMotion(move.t0, move.t0, move.p, np.zeros(3), np.zeros(3))
        assert np.abs(self.system.mass @ self.rate(0.0, state, still)[self.n : 2 * self.n]).max() < 1e-6
        self.shift = np.zeros(3)
        self.shift = self.tool(state[None])[0] - move.p
        return state

    def joints(self, q: Array, speed: Array) -> Array:
        """Force of feet, frame and guides (PHYSICS.md 6.2): d = d0 - s phi_A x e without its part along e, V = d'K(s)d / 2,
        so -T'(K d + D T speed) - d'K'(s)d / 2 along the slide, T = dd/dq."""
        out = np.zeros(self.n)
        for joint in self.system.joints:
            d, rows, s = joint.row @ q, joint.row.copy(), 0.0
            if joint.axis is not None:
                s, e = d[joint.axis], np.eye(3)[joint.axis]
                lean = np.cross(joint.turn_a @ q, e)
                d[:3] -= s * lean
                rows[:3] -= np.outer(lean, joint.row[joint.axis]) + s * np.cross(joint.turn_a.T, e).T
                d[joint.axis], rows[joint.axis] = 0.0, 0.0
            stiff, slope = joint.stiffness_at(s)
            out -= rows.T @ (stiff @ d + joint.damping @ (rows @ speed))
            if joint.axis is not None:
                out -= 0.5 * (d @ slope @ d) * joint.row[joint.axis]
        return out

    def solve(self, motion: Sequence[EvenMotion], times: Array, rtol: float = 1e-10, method: str = "DOP853") -> Array:
        """State at `times`, (k, size), restarted at every jump of the command. scipy.integrate.solve_ivp."""
        s = self.system
        y = self.rest(motion[0])
        out = np.full((len(times), len(y)), np.nan)
        for move in motion:
            for t in (move.t0, move.t1):
                self.full_torque(s.motor_travel @ move.at(t)[1])
            inside = np.flatnonzero((times >= move.t0 - 1e-9) & (times <= move.t1 + 1e-9))
            marks = np.clip(times[inside], move.t0, move.t1)
            wanted = np.unique(np.append(marks, move.t1))
            found = solve_ivp(
                self.rate, (move.t0, move.t1), y, method=method, t_eval=wanted, args=(move,), rtol=rtol, atol=1e-14
            )
            assert found.success, found.message
            out[inside] = found.y.T[np.searchsorted(wanted, marks)]
            y = found.y[:, -1]
        assert not np.isnan(out).any()
        return out

    def tool(self, state: Array) -> Array:
        """Tool position (k, 3) of states (k, size), m."""
        s = self.system
        q = state[:, : self.n]
        r = q @ s.tool_rows.T
        return np.asarray(s.middle + r + np.cross(r, q @ s.work_turn.T) - self.shift)


def square_points(middle: Array, size_m: float) -> list[Array]:
    """Corners of the pattern "square" in its order, from the front left one back to it."""
    h = size_m / 2
    return [middle + np.array([x * h, y * h, 0.0]) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1))]
