"""Machines that were built, in a simulation: numbers drawn within their bands, and what instruments would read on them.

What a sensor feels is worked out apart from the fit: the whole run of the engine at a tenth of a millisecond, accelerations
by differences. The instruments have what cheap ones have: any pose, gain, constant, clock, jitter, steps, noise, gaps.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from beltspring.sim.chain.motion import plan_of
from beltspring.sim.machine.build import build_machine, sway_stiffness
from beltspring.sim.model.build import build_model
from beltspring.sim.model.kinematics import Kinematics
from beltspring.sim.plan.build import MotionPlan
from beltspring.sim.scenario.load import with_changes
from beltspring.sim.scenario.schema import Scenario
from beltspring.sim.simulate.run import run
from beltspring.sim.study.fit.knobs import Knob, drawn_of, free_numbers, written
from beltspring.sim.study.fit.measured import Measured
from beltspring.sim.trace import Trace
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

Array = NDArray[np.float64]

G = 9.80665
STEP = {
    "move.pattern": "step",
    "move.size_mm": 60.0,
    "move.settle_ms": 500,
    "motion.speed_mm_s": 120.0,
    "motion.acceleration_mm_s2": 4000.0,
}
STEP_X, STEP_Y = {**STEP, "move.axis": "x"}, {**STEP, "move.axis": "y"}
SQUARE = {"move.pattern": "square", "move.size_mm": 40.0, "move.settle_ms": 400, "motion.speed_mm_s": 150.0}


@dataclass(frozen=True)
class Sensor:
    """An accelerometer: turn from the machine's axes to its own, (3, 3); constant, (3,) m/s2; clock above 1 counts too few
    seconds; range and steps in m/s2."""

    turn: Array
    gain: float
    constant: Array
    clock: float
    rate_hz: float = 1600.0
    jitter: float = 0.05
    noise: float = 0.06
    steps: float = 0.004 * G
    range: float = 8 * G
    missing: float = 0.01
    gap: tuple[float, float] | None = (0.60, 0.63)
    rests_s: float = 0.3


def any_sensor(rng: np.random.Generator) -> Sensor:
    """One of those that are sold."""
    turn = Rotation.random(random_state=int(rng.integers(1 << 30))).as_matrix()
    return Sensor(turn, 1 + 0.02 * rng.normal(), 0.4 * rng.normal(size=3), 1 + 0.01 * rng.normal())


@dataclass(frozen=True)
class BuiltMachine:
    """A machine that stands there. scenario: as it was drawn up.  truth: its numbers, by key, in file units.  knobs, turns:
    the same as a fit has them."""

    scenario: Scenario
    written: Scenario
    truth: dict[str, float]
    knobs: tuple[Knob, ...]
    turns: Array

    def simulated(
        self, changes: Mapping[str, object], record_s: float = 1e-4
    ) -> tuple[Trace, MotionPlan, object, object]:
        """The whole run of a move."""
        asked = with_changes(self.written, dict(changes))
        machine = build_machine(asked, drawn_of(self.truth))
        system = build_model(machine)
        plan = plan_of(asked, machine, system)
        return run(system, plan, record_s), plan, machine, system

    def felt(self, changes: Mapping[str, object], at_m: Sequence[float], on: str = "tool") -> tuple[Array, Array]:
        """(times s, specific force (n, 3) m/s2 in the machine's axes) where a sensor sits."""
        trace, _, machine, system = self.simulated(changes)
        kin = Kinematics(machine)
        body = machine.tool_body if on == "tool" else machine.work_body
        rows = kin.at(body, np.asarray(machine.tool_point) + np.asarray(at_m))[:, : system.n]
        turns = kin.rows[body][3:, : system.n]
        even = slice(0, len(trace.t_s) - 1)
        a = np.gradient(trace.speeds[even] @ rows.T, trace.t_s[even], axis=0)
        up = np.array([0.0, 0.0, G])
        tilt = np.cross((trace.q[even] - trace.q[0]) @ turns.T, up)
        return trace.t_s[even], a + up - tilt

    def reads(
        self,
        sensor: Sensor,
        changes: Mapping[str, object],
        rng: np.random.Generator,
        at_m: Sequence[float] = (0, 0.02, 0.035),
    ) -> tuple[Array, Array]:
        """(times s by the sensor's clock, readings (n, 3) m/s2) of a move, from rest before it to rest after it."""
        t, f = self.felt(changes, at_m)
        whole = sensor.rests_s + t[-1] + 0.15
        stamps = np.arange(0.0, whole, 1 / sensor.rate_hz)
        stamps = stamps + rng.normal(0.0, sensor.jitter / sensor.rate_hz, len(stamps))
        keep = rng.random(len(stamps)) >= sensor.missing
        if sensor.gap is not None:
            keep &= (stamps < sensor.gap[0]) | (stamps > sensor.gap[1])
        stamps = np.sort(stamps[keep])
        when = stamps * sensor.clock - sensor.rests_s
        real = np.stack([np.interp(when, t, f[:, k], f[0, k], f[-1, k]) for k in range(3)], axis=1)
        a = sensor.gain * real @ sensor.turn.T + sensor.constant + rng.normal(0.0, sensor.noise, real.shape)
        return stamps - stamps[0], np.clip(np.round(a / sensor.steps) * sensor.steps, -sensor.range, sensor.range)


def built_like(scenario: Scenario, seed: int) -> BuiltMachine:
    """A machine built after a scenario: every number that a fit may turn is drawn from its band, cut at three sigma."""
    rng = np.random.default_rng(seed)
    free = free_numbers(scenario, Measured("drawn"))
    sigmas = np.clip(rng.normal(size=len(free.knobs)), -3.0, 3.0)
    turns = np.array([k.turn(k.number.at(s)) for k, s in zip(free.knobs, sigmas, strict=True)])
    return BuiltMachine(scenario, free.scenario, written(free.knobs, list(turns)), free.knobs, turns)


def write_csv(path: Path, t: Array, a: Array, unit: str = "m_s2", time: str = "s", axes: str = "xyz") -> Path:
    """Samples as a file: unit "m_s2" or "g", time in "s" or "ms"."""
    scale = {"m_s2": 1.0, "g": 1 / G}[unit]
    ticks = {"s": 1.0, "ms": 1e3}[time]
    lines = [",".join([f"t_{time}", *(f"a{axis}_{unit}" for axis in axes)])]
    lines += [
        ",".join([f"{s * ticks:.6g}", *(f"{v * scale:.5f}" for v in row)])
        for s, row in zip(t, a[:, : len(axes)], strict=True)
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def record_table(
    file: str, changes: Mapping[str, object], use: str = "fit", at_mm: Sequence[float] = (0, 20, 35)
) -> str:
    """One [[record]] of a measured file."""
    said = ", ".join(f'"{k}" = {v!r}'.replace("'", '"') for k, v in changes.items())
    return f'[[record]]\nfile = "{file}"\nat_mm = {list(at_mm)}\nset = {{ {said} }}\nuse = "{use}"\n'


def pitch_of(machine: BuiltMachine, belt: str, run_name: str, free_mm: float) -> float:
    """Pitch of a strand, Hz: Mersenne's law, from the machine's own pretension and mass."""
    values = machine.truth
    tension = values.get(f"belts.{belt}.pretension_n", values.get("belts.pretension_n"))
    return float(np.sqrt(tension / (values["belts.mass_g_m"] / 1e3)) / (2 * free_mm / 1e3))


def sway_of(machine: BuiltMachine, axis: int) -> float:
    """Force at the frame's top per metre, N/m."""
    return sway_stiffness(build_machine(machine.written, drawn_of(machine.truth)), axis)


def with_sensor(sensor: Sensor, **changes: object) -> Sensor:
    """The same with changes."""
    return replace(sensor, **changes)
