"""What must hold of every full model: symmetry, free rigid motion, the gradient, the step rule, both loops, the rate."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.errors import RunError
from beltspring.sim.model.forces import Forces
from beltspring.sim.model.modes import modes
from beltspring.sim.model.system import System
from beltspring.sim.simulate.run import run
from beltspring.sim.simulate.steps import corner_poses, longest_step

from tests.full.machines import FRICTIONLESS, desk, rigid_model
from tests.full.test_energy import stored
from tests.support import ALL_LAYOUTS, OPEN, Array, machine_of, model_of, plan_of

OFF = np.array([0.03, -0.04, 0.0])  # off mid-reach, m


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_mass_and_stiffness_are_symmetric_and_positive(layout):
    s = model_of(desk(layout))
    k = s.linear_stiffness(s.rest(s.middle + OFF))
    for matrix in (s.mass, k, s.linear_damping(s.rest(s.middle + OFF))):
        assert np.abs(matrix - matrix.T).max() < 1e-12 * np.abs(matrix).max()
    size = np.sqrt(np.diag(s.mass))
    assert np.linalg.eigvalsh(s.mass / np.outer(size, size)).min() > 1e-3
    assert np.linalg.eigvalsh(k / np.outer(size, size)).min() > 0


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_force_is_the_gradient_of_what_is_stored(layout):
    # Fourth-order central differences of the energy, motors without field, at a place off the middle with all coordinates
    # stirred: leaving the slide's own terms out of a guide would show as 6e-4.
    s = model_of(desk(layout, FRICTIONLESS | {"motors.detent_nm": 0}))
    q = s.rest(s.middle + OFF) + np.random.default_rng(1).normal(size=s.n) * 1e-6
    still, none = np.zeros(len(s.motors)), np.zeros(len(s.frictions))
    theta = np.array([m.row @ q for m in s.motors])
    _, acceleration, _, _ = Forces(s)(q, np.zeros(s.n), theta, still, still, none, none)
    slope = np.zeros(s.n)
    for i, e in enumerate(1e-6 * np.eye(s.n)):
        near, far = (stored(s, q + n * e, np.zeros(s.n))[1] - stored(s, q - n * e, np.zeros(s.n))[1] for n in (1, 2))
        slope[i] = (8 * near - far) / (12 * 1e-6)
    force = s.mass @ acceleration
    assert force == pytest.approx(-slope, abs=1e-7 * np.abs(force).max())


def whole_machine(s: System, q: Array, turn: Array, shift: Array) -> Array:
    """Small motion (n,) of everything as one rigid body, rotors with their stators."""
    machine, out = s.machine, np.zeros(s.n)
    moved = {name: row @ q for name, row in s.body_rows.items()}
    for body in machine.bodies:
        at = [i for i, n in enumerate(s.dof_names) if n.startswith(f"{body.name} ")]
        if len(at) == 6:
            out[at[:3]] = shift + np.cross(turn, np.array(body.centre) + moved[body.name])
            out[at[3:]] = turn
    for motor in machine.motors:  # a belt lies across the shaft of its motor
        shaft = next(b.axes[2] for b in machine.belts if motor.wheel in [w.wheel for w in b.wraps])
        out[s.dof_names.index(f"rotor {motor.name}")] = turn @ shaft
    return out


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_moving_the_whole_machine_costs_nothing(layout):
    # Feet off: no joint is bent, no belt pulled, and the tool stays where it is over the work.
    s = model_of(desk(layout))
    q = s.rest(s.middle + OFF)
    for axis in range(3):
        for turn, shift in ((np.zeros(3), np.eye(3)[axis]), (np.eye(3)[axis], np.zeros(3))):
            small = 1e-6 * whole_machine(s, q, turn, shift)
            for joint in (j for j in s.joints if j.name != "feet"):
                before, after = joint.deflection(q)[0], joint.deflection(q + small)[0]
                assert np.abs(after - before).max() < 1e-15
            assert max(abs(float(r.row @ small)) for r in s.runs) < 1e-15
            # Arms are long before they are stretched: a turn of 1e-6 costs their length its square.
            assert max([abs(a.at(q + small)[1] - a.length_m) for a in s.arms], default=0.0) < 1e-12
            held = np.array([t if moves else 0.0 for t, moves in zip(s.tool_at(q + small) - s.tool_at(q), s.tool_moves,
                                                                     strict=True)])  # fmt: skip
            # Second order in what the tool has moved and the turn: the work turns under it.
            assert np.abs(held[:2]).max() < 1e-12


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_rigid_travel_costs_nothing(layout):
    s = model_of(desk(layout))
    q = s.rest(s.middle + OFF)
    for joint in s.joints:
        assert np.abs(joint.deflection(q)[0]).max() < 1e-15
    assert max(abs(float(r.row @ q)) for r in s.runs) < 1e-15
    assert max([abs(a.at(q)[1] - a.length_m) for a in s.arms], default=0.0) < 1e-15
    assert s.tool_at(q)[:2] == pytest.approx((s.middle + OFF)[:2], abs=1e-15)


def test_a_corexy_has_twenty_six_coordinates():
    s = model_of(desk("corexy"))
    assert s.n == 26
    assert [sum(n.startswith(f"{b} ") for n in s.dof_names) for b in ("base", "frame", "gantry", "carriage", "rotor")] == [
        6, 6, 6, 6, 2,
    ]  # fmt: skip


def test_a_tool_on_arms_has_thirty_nine():
    s = model_of(desk("delta"))
    assert s.n == 39
    counts = [
        sum(n.startswith(f"{b} ") for n in s.dof_names) for b in ("base", "frame", "effector", "carriage", "rotor")
    ]
    assert counts == [6, 6, 6, 18, 3]
    assert len(s.arms) == 6


def largest_eigenvalue(s: System, q: Array) -> float:
    """Largest |lambda| of the motion about q, 1/s, from differences of the forces themselves."""
    f = Forces(s)
    n, m = s.n, len(s.motors)
    theta = np.array([mo.row @ q for mo in s.motors])
    limit = np.array([mo.limit_nm for mo in s.motors])
    still = np.zeros(m)
    none = np.zeros(len(s.frictions))
    a = np.zeros((2 * n, 2 * n))
    a[:n, n:] = np.eye(n)
    for i, e in enumerate(np.eye(n)):
        for step, column, at in ((1e-7, i, "q"), (1e-4, n + i, "v")):
            d = step * e
            ends = [
                f(q + sign * d * (at == "q"), sign * d * (at == "v"), theta, still, limit, none, none)[1]
                for sign in (1, -1)
            ]
            a[n:, column] = (ends[0] - ends[1]) / (2 * step)
    return float(np.abs(np.linalg.eigvals(a)).max())


STIFF = {
    "carriage.guide": "rail-15", "carriage.lines": 2, "carriage.blocks": 2,
    "gantry.guide": "rail-15", "gantry.blocks": 2,
}  # fmt: skip


@pytest.mark.parametrize("changes", [FRICTIONLESS, FRICTIONLESS | STIFF], ids=["rods", "rails"])
def test_step_rule_at_the_corners(changes):
    # RK4 is stable for dt |lambda| < 2.78 on either axis (any text on numerical integration): the rule keeps 2.5.
    s = model_of(desk("corexy", changes | {"motors.detent_nm": 0}))
    dt = longest_step(s, 1e-3)
    worst = max(largest_eigenvalue(s, q) for q in corner_poses(s))
    assert dt <= min(1e-3 / 6, 2.5 / worst * (1 + 1e-3))
    if changes != FRICTIONLESS:
        assert dt == pytest.approx(2.5 / worst, rel=1e-3)
        assert dt < 1e-3 / 6


def test_a_model_too_stiff_for_a_step_is_refused():
    scenario = desk("corexy", STIFF)
    s = model_of(scenario)
    with pytest.raises(RunError, match="longer than this model allows"):
        run(s, plan_of(scenario, s), step_s=1e-3 / 6)


MOVE = {
    "move.pattern": "step", "move.axis": "xy", "move.size_mm": 1, "move.settle_ms": 10, "motion.speed_mm_s": 60,
    "motion.acceleration_mm_s2": 6000, "belts.pretension_n": 60,
}  # fmt: skip


@pytest.mark.parametrize(
    "changes",
    [
        {"carriage.ends": "built-in", "motors.stepping": "steps", "motors.microsteps": 4, "motors.detent_nm": 0.02},
        {"carriage.guide": "wheels", "gantry.guide": "rail-9"},
    ],
    ids=["steps", "wheels"],
)
def test_both_loops_agree(changes):
    scenario = desk("corexy", MOVE | changes)
    s = model_of(scenario)
    plan = plan_of(scenario, s)
    fast, slow = (run(s, plan, loop=loop) for loop in ("generated", "reference"))
    assert fast.tool == pytest.approx(slow.tool, abs=1e-12)
    assert fast.motor_nm == pytest.approx(slow.motor_nm, abs=1e-9)


def test_error_falls_sixteenfold_with_half_the_step():
    # Classical RK4, friction off, belts taut, steps on breakpoints.
    scenario = desk("corexy", FRICTIONLESS | MOVE | {"motors.detent_nm": 0, "move.size_mm": 6, "move.axis": "x"})
    s = model_of(scenario)
    plan = plan_of(scenario, s)

    ends = [run(s, plan, record_s=1e-3, step_s=dt).tool for dt in (100e-6, 50e-6, 25e-6, 6.25e-6)]
    errors = [float(np.abs(e - ends[-1]).max()) for e in ends[:-1]]
    rates = [np.log2(a / b) for a, b in itertools.pairwise(errors)]
    assert errors[0] < 1e-8  # 10 nm at 100 us
    assert rates == pytest.approx([4.0, 4.0], abs=0.35)


SAME_FRAME = {
    **OPEN, "feet.part": "rigid", "carriage.guide": "rigid", "gantry.guide": "rigid", "bed.guide": "rigid",
    "frame.stiffness_x_n_per_mm": 400, "frame.stiffness_y_n_per_mm": 600, "motors.detent_nm": 0,
}  # fmt: skip


def test_simple_and_full_agree_when_what_simple_lacks_is_rigid():
    # Frame top held from turning (the simple one only sways), everything else rigid: the same ringing within 1 %.
    peaks, tones = [], []
    for detail in ("simple", "full"):
        scenario = desk("corexy", SAME_FRAME | {"detail": detail, "move.settle_ms": 60, "move.size_mm": 20})
        s = model_of(scenario)
        if detail == "full":
            # Against turning the frame top gets the hardness that the simple model takes for granted.
            hard = np.diag([1 / c for c in np.diag(np.linalg.inv(s.machine.frame_stiffness))[:2]] + [1e9] + [1e8] * 3)
            joints = tuple(replace(j, stiffness=hard) if j.name == "frame" else j for j in s.joints)
            s = replace(s, joints=joints)
        trace = run(s, plan_of(scenario, s))
        peaks.append(np.abs(trace.tool - trace.commanded).max(axis=0)[:2])
        tones.append(sorted(m.frequency_hz for m in modes(s))[:4])
    assert peaks[1] == pytest.approx(peaks[0], rel=0.01)
    assert tones[1] == pytest.approx(tones[0], rel=0.01)


def test_very_stiff_guides_and_feet_come_to_the_rigid_ones():
    # Not removed but as hard as the file allows: the modes of belts and motors are those of the model without them.
    hard = {}
    for table in ("carriage", "gantry"):
        hard |= {
            f"{table}.guide": "rail-15", f"{table}.lines": 2, f"{table}.stiffness_n_per_mm": 1_000_000,
            f"{table}.stiffness_nm_per_rad": 1_000_000, f"{table}.mass_g": 400,
        }  # fmt: skip
    stiff = rigid_model("corexy", hard | {"motors.part": "motor-17-40", "motors.detent_nm": 0})
    plain = rigid_model("corexy", {"carriage.mass_g": 400, "gantry.mass_g": 400, "motors.part": "motor-17-40"})
    assert stiff.n == 14
    assert plain.n == 4
    found = sorted(m.frequency_hz for m in modes(stiff))[:4]
    assert found == pytest.approx(sorted(m.frequency_hz for m in modes(plain)), rel=0.01)


def test_rigid_parts_have_no_coordinates():
    assert machine_of(desk("corexy", {"frame.part": "rigid"})).frame_stiffness is None
    names = rigid_model("corexy", {"motors.part": "motor-17-40"}).dof_names
    assert names == ("rotor a", "rotor b", "gantry y", "carriage x")
