"""What the checks of the engine share: machines in the file's own words, textbook motion.

Nothing here uses a step loop or the plan's sampling: `EvenMotion` is a move from the textbook's trapezoid, and what
follows it are the equations of `tests/equations.py`.
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
from beltspring.sim.model.system import System
from beltspring.sim.plan.build import MotionPlan, build_plan
from beltspring.sim.scenario.load import load_scenario, scenario_of, with_changes
from beltspring.sim.scenario.motion import motion_limits, move_spec, shapers
from beltspring.sim.scenario.schema import Scenario
from numpy.typing import NDArray

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


def square_points(middle: Array, size_m: float) -> list[Array]:
    """Corners of the pattern "square" in its order, from the front left one back to it."""
    h = size_m / 2
    return [middle + np.array([x * h, y * h, 0.0]) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1))]
