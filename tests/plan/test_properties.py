"""What must hold for every plan: limits, continuity, splitting, streaming; tried on many random programs."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from beltspring.sim.plan import jerk, program
from beltspring.sim.plan.axes import AxisLimits
from beltspring.sim.plan.build import MotionPlan, build_plan
from beltspring.sim.plan.patterns import PATTERNS, PatternChoices
from beltspring.sim.scenario.motion import MotionLimits, MoveSpec, ShaperSpec
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.plan.conftest import LIMITS, REACH, PlanProgram
from tests.plan.measure import pieces, state, worst
from tests.tries import examples

WIDE = ((-10.0, 10.0), (-10.0, 10.0), (-10.0, 10.0))

coordinate = st.integers(0, 60_000).map(lambda n: n / 1000)
point = st.tuples(coordinate, coordinate)


@st.composite
def programs(draw: st.DrawFn) -> str:
    """Lines and arcs of all lengths, feeds, dwells and depositing, as text."""
    lines = ["G1 F6000 X30 Y30"]
    for _ in range(draw(st.integers(1, 25))):
        what = draw(st.sampled_from(["far", "near", "near", "near", "arc", "wait", "feed", "up"]))
        e = draw(st.sampled_from(["", "", " E1"]))
        if what == "far":
            x, y = draw(point)
            lines.append(f"G90 G1 X{x} Y{y}{e}")
        elif what == "near":
            dx, dy = draw(st.tuples(st.integers(-900, 900), st.integers(-900, 900)))
            lines.append(f"G91 G1 X{dx / 1000} Y{dy / 1000}{e}")
        elif what == "arc":
            i, j = draw(st.tuples(st.integers(-9000, 9000), st.integers(-9000, 9000)))
            quarter = draw(st.sampled_from([(i + j, j - i), (2 * i, 2 * j), (i - j, i + j), (0, 0)]))
            code = draw(st.sampled_from(["G2", "G3"]))
            rise = draw(st.sampled_from(["", "", " Z0.5"]))
            lines.append(f"G91 {code} X{quarter[0] / 1000} Y{quarter[1] / 1000} I{i / 1000} J{j / 1000}{rise}{e}")
            if i == 0 and j == 0:
                lines.pop()
        elif what == "wait":
            lines.append("G4 P0.02")
        elif what == "up":
            lines.append(f"G90 G0 Z{draw(st.integers(0, 10))}")
        else:
            lines.append(f"F{draw(st.sampled_from([60, 1000, 6000, 20000]))}")
    return "\n".join(lines)


limits = st.builds(
    MotionLimits,
    speed_m_s=st.sampled_from([0.02, 0.15, 0.5]),
    acceleration_m_s2=st.sampled_from([0.5, 4.0, 20.0]),
    jerk_m_s3=st.sampled_from([0.0, 0.0, 20.0, 500.0]),
    corner_speed_step_m_s=st.sampled_from([0.0, 0.001, 0.005, 0.05]),
    corner_tolerance_m=st.sampled_from([0.0, 0.0, 20e-6, 1e-3]),
)

FEW = settings(max_examples=examples(60), suppress_health_check=[HealthCheck.function_scoped_fixture])


def hold_to(plan: MotionPlan, given_limits: MotionLimits) -> None:
    """No limit is exceeded, nothing jumps that may not."""
    found = worst(plan)
    assert found.speed <= given_limits.speed_m_s * (1 + 1e-9)
    assert found.acceleration <= given_limits.acceleration_m_s2 * (1 + 1e-9)
    assert found.backwards <= 1e-12
    assert found.gap <= 1e-12
    assert found.jump <= given_limits.corner_speed_step_m_s * (1 + 1e-9) + 1e-9
    if given_limits.jerk_m_s3:
        assert found.jerk <= given_limits.jerk_m_s3 * (1 + 1e-9)
        assert found.acceleration_jump <= 1e-9 * given_limits.acceleration_m_s2 + 1e-9


@FEW
@given(text=programs(), given_limits=limits)
def test_no_sample_exceeds_a_limit(planned: PlanProgram, text: str, given_limits: MotionLimits) -> None:
    hold_to(planned(text, given_limits, reach=WIDE), given_limits)


@pytest.mark.parametrize("jerk_m_s3", [0.0, 100.0])
@pytest.mark.parametrize("name", PATTERNS)
def test_patterns_keep_the_limits(name: str, jerk_m_s3: float) -> None:
    given_limits = MotionLimits(0.15, 4.0, jerk_m_s3, 0.005, 50e-6)
    choices = PatternChoices(levels=3, row_spacing_m=0.01, sweep_s=1.0)
    plan = build_plan(given_limits, {}, MoveSpec(name, None, 0.06, 2, "xy", 0.1), REACH, choices=choices)
    hold_to(plan, given_limits)
    if name == "chirp" and jerk_m_s3:
        # The chirp times itself: its jerk by differences of its acceleration.
        for block, m, duration in pieces(plan):
            taus = np.linspace(0.0, duration, 400)
            a = np.array([state(block, m, t)[2] for t in taus])
            assert np.linalg.norm(np.diff(a, axis=0), axis=1).max() <= jerk_m_s3 * (taus[1] - taus[0]) * (1 + 1e-6)


@FEW
@given(text=programs(), given_limits=limits)
def test_single_axes_keep_theirs(planned: PlanProgram, tmp_path: Path, text: str, given_limits: MotionLimits) -> None:
    path = tmp_path / "job.gcode"
    path.write_text(text)
    axes = AxisLimits((0.1, math.inf, 0.005), (math.inf, 1.0, 0.2))
    plan = build_plan(given_limits, {}, MoveSpec(None, path, 0.06, 1, "x", 0.1), WIDE, axes=axes)
    hold_to(plan, given_limits)
    for block, m, duration in pieces(plan):
        for tau in np.linspace(0.0, duration, 7):
            _, v, a = state(block, m, float(tau))
            assert (np.abs(v) <= np.array(axes.speed_m_s) * (1 + 1e-9)).all()
            assert (np.abs(a) <= np.array(axes.acceleration_m_s2) * (1 + 1e-9)).all()


def test_a_line_that_only_rounding_left_is_no_way(planned: PlanProgram) -> None:
    """Two rises by half a millimetre do not end at 10 mm to the last bit: going there turned the tool twice in no time."""
    text = "G1 F6000 X30 Y30\nG90 G0 Z9\n" + "G91 G2 X0.001 Y0.001 I0.0 J0.001 Z0.5\n" * 2
    text += "G90 G1 X0.0 Y0.0\nG90 G0 Z10\nG90 G1 X0.0 Y0.001"
    given_limits = MotionLimits(0.02, 0.5, 0.0, 0.001, 0.0)
    hold_to(planned(text, given_limits, reach=WIDE), given_limits)


def test_a_rounded_corner_waits_through_a_stretch_that_brings_nothing(planned: PlanProgram) -> None:
    """A line shortened by the arc before it stays so where the next stretch of the program adds no segment."""
    given_limits = MotionLimits(0.02, 0.5, 0.0, 0.0, 20e-6)
    text = "G1 F6000 X30 Y30\nX0 Y0\nX0 Y0.001\nX0.001 Y0\nX0.002 Y0"
    hold_to(planned(text, given_limits, reach=WIDE), given_limits)


def timeline(plan: MotionPlan, n: int = 2001) -> np.ndarray:
    """Commanded position at n even times, (n, 3) m."""
    t = np.linspace(0.0, plan.duration_s, n)
    out = np.zeros((n, 3))
    for w in plan.stretches():
        mine = (t >= w.t0) & (t <= w.t1)
        out[mine] = w.commanded(t[mine])
    return out


@pytest.mark.parametrize("jerk_m_s3", [0.0, 50.0])
@pytest.mark.parametrize("step_m_s", [0.0, 0.005])
@pytest.mark.parametrize("digits", [3, 4, 9])
def test_splitting_a_line_changes_nothing(planned: PlanProgram, jerk_m_s3: float, step_m_s: float, digits: int) -> None:
    """A slanted line in 1000 pieces, its points rounded to the digits a program is written to."""
    given_limits = MotionLimits(0.15, 4.0, jerk_m_s3, step_m_s, 0.0)
    whole = planned("G1 X10 Y10 F9000\nG1 X71.5 Y43.25\nG1 X20 Y90\n", given_limits)
    split = "".join(f"X{10 + 61.5 * k / 1000:.{digits}f} Y{10 + 33.25 * k / 1000:.{digits}f}\n" for k in range(1, 1001))
    many = planned(f"G1 X10 Y10 F9000\n{split}G1 X20 Y90\n", given_limits)
    assert many.move_s == pytest.approx(whole.move_s, abs=1e-6)
    assert np.abs(timeline(many) - timeline(whole)).max() < 0.1e-6


@pytest.mark.parametrize("jerk_m_s3", [0.0, 50.0])
def test_a_change_that_is_no_corner_costs_nothing(planned: PlanProgram, jerk_m_s3: float) -> None:
    """Depositing that starts in the middle of a ramp parts the line, and leaves the motion as it was."""
    given_limits = MotionLimits(0.15, 4.0, jerk_m_s3, 0.0, 0.0)
    whole = planned("G1 X60 F9000\n", given_limits)
    parted = planned("G1 X1 F9000\nX2 E1\nX2.5\nX59 E2\nX60\n", given_limits)
    assert parted.move_s == pytest.approx(whole.move_s, abs=1e-12)
    assert np.abs(timeline(parted) - timeline(whole)).max() < 1e-12


def scribble(n: int) -> str:
    """A curve of many short lines with some arcs and stops, the same every time."""
    rng = np.random.default_rng(7)
    heading = np.cumsum(rng.normal(0.0, 0.2, n))
    x, y = np.cumsum(0.4 * np.cos(heading)), np.cumsum(0.4 * np.sin(heading))
    lines = ["G1 F9000 X0 Y0"]
    for k in range(n):
        if k % 500 == 499:
            lines.append("G4 P0.01")
        if k % 50 == 49:
            lines.append(f"G3 X{x[k]:.3f} Y{y[k]:.3f} R5 E{k}")
        else:
            lines.append(f"G1 X{x[k]:.3f} Y{y[k]:.3f} E{k}")
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("jerk_m_s3", [0.0, 100.0])
@pytest.mark.parametrize("tolerance_m", [0.0, 50e-6])
def test_reading_in_other_chunks_changes_nothing(
    planned: PlanProgram, monkeypatch: pytest.MonkeyPatch, jerk_m_s3: float, tolerance_m: float
) -> None:
    given_limits = MotionLimits(0.15, 4.0, jerk_m_s3, 0.005, tolerance_m)
    text = scribble(4000)
    monkeypatch.setattr(jerk, "MOST_SEGMENTS", 700)
    whole = planned(text, given_limits, reach=WIDE)
    monkeypatch.setattr(program, "CHUNK_BYTES", 900)
    parts = planned(text, given_limits, reach=WIDE)
    assert parts.move_s == pytest.approx(whole.move_s, rel=1e-12)
    assert parts.legs == whole.legs
    a = np.concatenate([w.breakpoints for w in whole.stretches()])
    b = np.concatenate([w.breakpoints for w in parts.stretches()])
    assert len(a) > 1000
    assert b == pytest.approx(a, abs=1e-9)
    hold_to(parts, given_limits)


def test_long_ways_without_a_stop_are_planned_in_stretches(
    planned: PlanProgram, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Cutting a long way into stretches costs next to no time, and never a stop."""
    given_limits = MotionLimits(0.15, 4.0, 100.0, 0.02, 0.0)
    text = "\n".join(line for line in scribble(3000).splitlines() if "G4" not in line and "G3" not in line)
    whole = planned(text, given_limits, reach=WIDE)
    monkeypatch.setattr(jerk, "MOST_SEGMENTS", 200)
    stretches = planned(text, given_limits, reach=WIDE)
    assert whole.move_s <= stretches.move_s <= whole.move_s * 1.01
    slowest = [
        block.pieces.motion[m, 1]
        for block, m, _ in pieces(stretches)
        if 1.0 < block.pieces.start_s[m] < stretches.move_s - 1.0
    ]
    assert min(slowest) > 0.005


@pytest.mark.parametrize("name", ["square", "zigzag", "circle", "star"])
def test_shaped_motion_stays_inside_the_limits_of_each_axis(name: str) -> None:
    """Shaping averages: no axis gets faster or is accelerated harder, and none leaves the extent of the asked path."""
    shapers = {"x": ShaperSpec("one-hump", 45.0, 0.05), "y": ShaperSpec("zero-slope", 38.0, 0.03)}
    plan = build_plan(LIMITS, shapers, MoveSpec(name, None, 0.06, 1, "x", 0.1), REACH)
    low, high = np.full(3, np.inf), np.full(3, -np.inf)
    for w in plan.stretches():
        t = np.linspace(w.t0, w.t1, 400)
        low, high = np.minimum(low, w.asked(t).min(axis=0)), np.maximum(high, w.asked(t).max(axis=0))
    for w in plan.stretches():
        edges = np.unique(np.concatenate([np.linspace(w.t0, w.t1, 400), w.breakpoints]))
        p, v = w.command(edges[:-1], edges[1:])
        assert np.abs(v).max() <= LIMITS.speed_m_s * (1 + 1e-9)
        steps = np.diff(edges)
        a = np.abs(v[:, 2] - v[:, 0]).max(axis=1) / steps
        assert a[steps > 1e-6].max(initial=0.0) <= LIMITS.acceleration_m_s2 * (1 + 1e-6)
        assert (p >= low - 1e-6).all()
        assert (p <= high + 1e-6).all()


@pytest.mark.parametrize("chord_mm", [0.02, 0.1, 0.4])
def test_a_curve_of_short_chords_is_not_slowed_by_joining_them(planned: PlanProgram, chord_mm: float) -> None:
    """A circle of 5 mm radius in chords, to three digits and to six: about the same time, and the true arc's."""
    n = round(2 * math.pi * 5.0 / chord_mm)
    given_limits = MotionLimits(0.1, 4.0, 0.0, 0.02, 0.0)

    def time_for(digits: int) -> float:
        angles = [2 * math.pi * k / n for k in range(1, n + 1)]
        chords = "".join(f"X{20 + 5 * math.cos(a):.{digits}f} Y{20 + 5 * math.sin(a):.{digits}f}\n" for a in angles)
        return planned(f"G1 X25 Y20 F6000\nG4 P0\n{chords}", given_limits).move_s

    arc = planned("G1 X25 Y20 F6000\nG3 X25 Y20 I-5\n", given_limits).move_s
    assert time_for(6) == pytest.approx(arc, rel=0.02)
    assert time_for(3) == pytest.approx(time_for(6), rel=0.01)
