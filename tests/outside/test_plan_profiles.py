"""Times of single moves against textbook formulas and against a linear program; geometry of corners and arcs.

Trapezoid: any textbook of kinematics. Jerk-limited: Biagiotti & Melchiorri, Trajectory Planning for Automatic Machines
and Robots, Springer 2008, section 3.4 (formulas from memory, re-derived by hand). That no motion is faster is shown by
scipy's linear programming (HiGHS), which knows nothing of ramps: the farthest that can be reached in a given time.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from beltspring.sim.plan.build import MotionPlan, build_plan
from beltspring.sim.plan.profile import trapezoid_time
from beltspring.sim.plan.ramps import single_move_time
from beltspring.sim.plan.segments import BLEND
from beltspring.sim.scenario.motion import MotionLimits, MoveSpec
from scipy.optimize import linprog

REACH = ((0.0, 0.4), (0.0, 0.4), (0.0, 0.2))


def step(distance: float, speed: float, acceleration: float, jerk: float) -> MotionPlan:
    limits = MotionLimits(speed, acceleration, jerk, 0.0, 0.0)
    return build_plan(limits, {}, MoveSpec("step", None, distance, 1, "x", 0.1), REACH)


def top_speed(plan: MotionPlan) -> float:
    speeds = [
        np.abs(w.command(t[:-1], t[1:])[1]).max()
        for w in plan.stretches()
        for t in [np.linspace(w.t0, w.t1, 2001)]
        if not w.resting[0]
    ]
    return float(max(speeds))


# D, v, a, then T = D/v + v/a if D >= v^2/a, else 2 sqrt(D/a) with peak sqrt(a D), worked by hand.
TRAPEZOIDS = [(0.1, 0.2, 3.0, 0.566667, 0.2), (0.01, 0.2, 3.0, 0.115470, 0.173205), (0.1, 0.3, 5.0, 0.393333, 0.3)]


@pytest.mark.parametrize(("distance", "speed", "acceleration", "time", "peak"), TRAPEZOIDS)
def test_trapezoid_takes_the_textbook_time(
    distance: float, speed: float, acceleration: float, time: float, peak: float
) -> None:
    plan = step(distance, speed, acceleration, 0.0)
    assert plan.move_s == pytest.approx(time, rel=1e-5)
    assert trapezoid_time(distance, speed, acceleration) == pytest.approx(plan.move_s, rel=1e-12)
    assert top_speed(plan) == pytest.approx(peak, rel=1e-3)
    assert plan.legs[0].cruise_speed_m_s == pytest.approx(peak, rel=1e-5)


# D, v, a, j; T and peak worked by hand from the formulas for each case: full ramps and cruise, full ramps without
# cruise, neither full acceleration nor cruise, slow cruise without full acceleration, full ramps again.
S_CURVES = [
    (0.1, 0.2, 3.0, 100.0, 0.596667, 0.2),
    (0.01, 0.2, 3.0, 100.0, 0.149304, 0.133955),
    (0.001, 0.2, 3.0, 100.0, 0.0683990, 0.0292402),
    (0.1, 0.05, 3.0, 100.0, 2.0447214, 0.05),
    (0.1, 0.3, 5.0, 500.0, 0.403333, 0.3),
]


@pytest.mark.parametrize(("distance", "speed", "acceleration", "jerk", "time", "peak"), S_CURVES)
def test_jerk_limited_move_takes_the_textbook_time(
    distance: float, speed: float, acceleration: float, jerk: float, time: float, peak: float
) -> None:
    plan = step(distance, speed, acceleration, jerk)
    assert plan.move_s == pytest.approx(time, rel=1e-5)
    assert single_move_time(distance, speed, acceleration, jerk) == pytest.approx((time, peak), rel=1e-5)
    assert top_speed(plan) == pytest.approx(peak, rel=1e-3)


def farthest(time: float, speed: float, acceleration: float, jerk: float, parts: int = 240) -> float:
    """Farthest point reached from rest to rest in a time, with jerk constant over each of `parts` equal parts."""
    h = time / parts
    k = np.arange(parts)
    after = np.tril(np.ones((parts, parts)))  # row n: which parts are over after part n
    a_n = h * after
    lag = np.maximum(k[:, None] - k[None, :], 0) + 0.5
    v_n = h * h * lag * after
    s_end = h**3 * (0.5 * (parts - 1 - k) ** 2 + 0.5 * (parts - 1 - k) + 1.0 / 6.0)
    made = linprog(
        -s_end,
        A_ub=np.vstack([a_n, -a_n, v_n]),
        b_ub=np.concatenate([np.full(2 * parts, acceleration), np.full(parts, speed)]),
        A_eq=np.vstack([a_n[-1], v_n[-1]]),
        b_eq=[0.0, 0.0],
        bounds=[(-jerk, jerk)] * parts,
        method="highs",
    )
    assert made.status == 0
    return float(-made.fun)


@pytest.mark.parametrize(("distance", "speed", "acceleration", "jerk"), [case[:4] for case in S_CURVES])
def test_no_motion_is_one_percent_faster(distance: float, speed: float, acceleration: float, jerk: float) -> None:
    time = step(distance, speed, acceleration, jerk).move_s
    assert farthest(time, speed, acceleration, jerk) == pytest.approx(distance, rel=3e-3)  # the program is fine enough
    assert farthest(0.99 * time, speed, acceleration, jerk) < distance


def test_right_angle_at_a_tenth_of_a_metre_per_second_jumps_by_root_two() -> None:
    """|dv| = 2 v sin(theta / 2): 0.141421 m/s at 90 degrees and 0.1 m/s, so a step of 0.141421 lets 0.1 m/s through."""
    limits = MotionLimits(0.1, 3.0, 0.0, 0.141421, 0.0)
    plan = build_plan(limits, {}, MoveSpec("square", None, 0.06, 1, "x", 0.0), REACH)
    first = plan.legs[0]
    # Cruise lasts to the corner (all but the last 0.3 um/s), so the first leg has one ramp only.
    assert first.end_s == pytest.approx(0.06 / 0.1 + 0.5 * 0.1 / 3.0, rel=1e-5)
    stretch = next(w for w in plan.stretches() if w.t0 <= first.end_s <= w.t1)
    t = np.array([first.end_s - 1e-6, first.end_s, first.end_s + 1e-6])
    _, velocity = stretch.command(t[:-1], t[1:])
    jump = velocity[1, 0] - velocity[0, 2] if stretch.t1 > first.end_s else None
    if jump is None:
        following = next(w for w in plan.stretches() if w.t0 == stretch.t1)
        jump = following.command(t[1:2], t[2:])[1][0, 0] - velocity[0, 2]
    assert np.linalg.norm(jump) == pytest.approx(0.141421, rel=1e-5)


def test_blend_arc_has_the_radius_and_speed_of_plane_geometry() -> None:
    """Tangent circle 0.05 mm from a right-angled corner: R = d cos45 / (1 - cos45) = 0.120711 mm, sqrt(a R) = 19.03 mm/s."""
    limits = MotionLimits(0.1, 3.0, 0.0, 0.0, 50e-6)
    plan = build_plan(limits, {}, MoveSpec("square", None, 0.06, 1, "x", 0.0), REACH)
    blocks = list(plan.stream())
    arcs = [(b, i) for b in blocks for i in np.flatnonzero(b.segments.kind == BLEND)]
    assert len(arcs) == 3
    for block, i in arcs:
        assert 1.0 / block.segments.curvature[i] == pytest.approx(0.120711e-3, rel=1e-5)
        mine = block.pieces.segment == i
        speed = block.pieces.motion[mine, 1].max()
        assert speed == pytest.approx(19.030e-3, rel=2e-3)  # 0.1 % below sqrt(a R) by choice: CURVE_CAP
        assert speed <= 19.031e-3


def test_chords_of_an_arc_jump_by_speed_times_chord_over_radius(tmp_path: Path) -> None:
    """Chords of 1 mm on a radius of 10 mm: sagitta s^2 / 8R = 12.5 um, |dv| = v s / R = 10 mm/s at 0.1 m/s."""
    n = 20
    angles = 2.0 * math.asin(0.5 / 10.0) * np.arange(n + 1)
    points = [(50 + 10 * math.sin(a), 60 - 10 * math.cos(a)) for a in angles]
    path = tmp_path / "chords.gcode"
    path.write_text("G1 F6000\n" + "".join(f"X{x:.9f} Y{y:.9f}\n" for x, y in points))
    sagitta = 10.0 - math.hypot(*(0.5 * np.add(points[3], points[4]) - (50, 60)))
    assert sagitta == pytest.approx(12.5e-3, rel=1e-3)

    def evenly_for(step_m_s: float) -> float:
        limits = MotionLimits(0.1, 3.0, 0.0, step_m_s, 0.0)
        leg = build_plan(limits, {}, MoveSpec(None, path, 0.06, 1, "x", 0.0), REACH).legs[-1]
        return leg.cruise_to_s - leg.cruise_from_s

    # A step just above v s / R lets all chords through at full speed; one just below slows down at every corner.
    assert evenly_for(10.02e-3) > 0.15
    assert evenly_for(9.98e-3) < 1e-3 / 0.1
