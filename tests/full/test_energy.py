"""What the motors put in is found again: as motion, strain, height and loss. Work goes by the loop's own stage weights."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim.model.forces import Forces
from beltspring.sim.model.statics import equilibrium
from beltspring.sim.model.system import System
from beltspring.sim.simulate import reference
from beltspring.sim.simulate.commands import make_chunk, torque_table
from beltspring.sim.simulate.steps import grid

from tests.full.machines import FRICTIONLESS, desk
from tests.support import Array, model_of, plan_of

DT = 50e-6
#: 2 mm in X at 80 mm/s and 4 m/s2, belts well taut.
SHORT = {
    "belts.pretension_n": 60, "move.pattern": "step", "move.axis": "x", "move.size_mm": 2, "move.settle_ms": 5,
    "motion.speed_mm_s": 80, "motion.acceleration_mm_s2": 4000, "motion.corner_speed_step_mm_s": 0,
}  # fmt: skip


def stored(s: System, q: Array, v: Array) -> tuple[float, float]:
    """(kinetic, strain and height) energy, J: joints with the rods' stiffness where they stand, belts, weight."""
    strain = -float(s.gravity @ q)
    for joint in s.joints:
        d, slide, _ = joint.deflection(q)
        strain += 0.5 * float(d @ joint.stiffness_at(slide)[0] @ d)
    for run in s.runs:
        x, length = float(run.row @ q), float(run.length_m + run.length_row @ q)
        strain += 0.5 * run.ea_n * x * x / length + run.pretension_n * x
    for arm in s.arms:
        strain += 0.5 * arm.stiffness_n_m * (float(np.linalg.norm(arm.start + arm.row @ q)) - arm.length_m) ** 2
    return 0.5 * float(v @ s.mass @ v), strain


def power(s: System, q: Array, v: Array, torque: Array) -> float:
    """What the motors give less what joints and belts lose, W; friction apart."""
    out = sum(float(torque[j] * (m.row @ v)) for j, m in enumerate(s.motors) if m.row is not None)
    for joint in s.joints:
        rate = joint.row @ v
        if joint.axis is not None:
            _, slide, lean = joint.deflection(q)
            e = np.eye(3)[joint.axis]
            rate[:3] -= rate[joint.axis] * lean + slide * np.cross(joint.turn_a @ v, e)
            rate[joint.axis] = 0.0
        out -= float(rate @ joint.damping @ rate)
    for run in s.runs:
        out -= run.lag_s * run.ea_n / float(run.length_m + run.length_row @ q) * float(run.row @ v) ** 2
    for arm in s.arms:
        d = arm.start + arm.row @ q
        out -= arm.damping_n_s_m * float(d @ (arm.row @ v)) ** 2 / float(d @ d)
    return out


def balance(changes: dict, layout: str = "corexy") -> tuple[float, float]:
    """(largest |stored - put in|, peak kinetic energy), J, over a short move, stepped as the readable loop does."""
    scenario = desk(layout, SHORT | changes)
    s = model_of(scenario)
    plan = plan_of(scenario, s)
    forces, table = Forces(s), torque_table(s)
    q, w = equilibrium(s, plan.start), np.zeros(s.n)
    z = np.zeros(len(s.frictions))
    start = sum(stored(s, q, w))
    work = worst = peak = 0.0
    for stretch in plan.stretches(1.0):
        edges, numbers = grid(stretch, DT, 1e-3)
        chunk = make_chunk(s, stretch, edges, numbers, True, table)
        last = np.zeros(s.n)
        for k, h in enumerate(chunk.lengths):
            dq, dw = np.zeros(s.n), np.zeros(s.n)
            sum_q, sum_w, given = np.zeros(s.n), np.zeros(s.n), 0.0
            middle = w + 0.5 * h * last
            slide, level = reference.slides(s, middle), reference.bristle_level(s, middle)
            bristles = reference.Bristles(z, level, level * np.abs(slide), h)
            for stage in range(4):
                at, sample = reference.STAGE_AT[stage] * h, reference.STAGE_SAMPLE[stage]
                here, speed = q + at * dq, w + at * dw
                dq, dw, _, torque = forces(
                    here, speed, chunk.theta[k, sample], chunk.omega[k, sample], chunk.limit[k, sample],
                    bristles.z, level,
                )  # fmt: skip
                rubbed = sum(
                    float(f.row @ speed)
                    * (f.sigma0_n_m * bristles.z[i]
                       + f.sigma1_n_s_m * (f.row @ speed - level[i] * abs(f.row @ speed) * bristles.z[i]))
                    for i, f in enumerate(s.frictions)
                )  # fmt: skip
                weight = reference.STAGE_WEIGHT[stage]
                given += weight * (power(s, here, speed, torque) - rubbed)
                sum_q, sum_w = sum_q + weight * dq, sum_w + weight * dw
                bristles.stage(reference.slides(s, dq))
            q, w, z, work, last = q + h * sum_q, w + h * sum_w, bristles.z, work + h * given, dw
            kinetic, strain = stored(s, q, w)
            peak = max(peak, kinetic)
            worst = max(worst, abs(kinetic + strain - start - work))
    return worst, peak


@pytest.mark.parametrize(
    ("layout", "changes", "share"),
    [
        # Friction and detent off: one hundred-millionth of the peak kinetic energy is asked for; 1.2e-9 was measured.
        ("corexy", FRICTIONLESS | {"motors.detent_nm": 0}, 1e-8),
        # The detent shakes the rotor at the step rate (400 Hz here): 2e-7 was measured.
        ("corexy", FRICTIONLESS, 1e-6),
        # Guides that rub, the bristles' rate frozen over a step: 1.1e-9 was measured.
        ("corexy", {"motors.detent_nm": 0}, 1e-8),
        # Arms turn as they move.
        ("delta", FRICTIONLESS | {"motors.detent_nm": 0}, 1e-8),
    ],
    ids=["smooth", "detent", "friction", "arms"],
)
def test_work_of_the_motors_is_found_again(layout, changes, share):
    worst, peak = balance(changes, layout)
    assert peak > 1e-3
    assert worst < share * peak, worst / peak
