"""What a plan owes to mechanics alone: the same way backwards takes as long, and a sweep fades to nothing."""

from __future__ import annotations

import itertools
import math
import random

import numpy as np
import pytest
from beltspring.sim.errors import ProgramError
from beltspring.sim.plan.build import MotionPlan, build_plan
from beltspring.sim.plan.ramps import ramp_distance, ramp_reach
from beltspring.sim.plan.rounding import corner_rounding
from beltspring.sim.scenario.motion import MotionLimits, MoveSpec, ShaperSpec

from tests.plan.conftest import REACH, PlanProgram
from tests.plan.measure import pieces, state


def way(lengths: list[float], feeds: list[int]) -> str:
    """A straight way in X in pieces (mm) with a speed of their own each (mm/min)."""
    x, lines = 0.0, ["G90 G0 X0 Y10", "G4 P0.1"]
    for length, feed in zip(lengths, feeds, strict=True):
        x += length
        lines.append(f"G1 X{x:.3f} F{feed}")
    return "\n".join(lines)


@pytest.mark.parametrize("jerk", [0.0, 40.0, 2000.0])
@pytest.mark.parametrize("seed", range(6))
def test_a_way_backwards_takes_as_long(planned: PlanProgram, jerk: float, seed: int) -> None:
    """Time runs either way in mechanics: speed limits along a line, met backwards in the opposite order, leave the same
    quickest motion, mirrored."""
    rng = random.Random(seed)
    lengths = [rng.choice([0.4, 1.0, 3.0, 9.0]) for _ in range(18)]
    feeds = [rng.choice([300, 900, 900, 2400, 6000]) for _ in range(18)]
    limits = MotionLimits(0.15, 4.0, jerk, 0.005, 0.0)
    there, back = (planned(way(*order), limits) for order in ((lengths, feeds), (lengths[::-1], feeds[::-1])))
    assert there.move_s == pytest.approx(back.move_s, rel=1e-9)


@pytest.mark.parametrize("jerk", [10.0, 40.0, 400.0])
def test_a_way_that_is_its_own_mirror_image_is_gone_like_one(planned: PlanProgram, jerk: float) -> None:
    """Halves alike: what is behind the middle takes as long as what is before it."""
    for seed in range(25):
        rng = random.Random(seed)
        half = [(rng.choice([0.4, 1.0, 3.0, 9.0]), rng.choice([300, 600, 900, 900, 2400])) for _ in range(7)]
        lengths, feeds = zip(*half, *half[::-1], strict=True)
        plan = planned(way(list(lengths), list(feeds)), MotionLimits(0.15, 4.0, jerk, 0.005, 0.0))
        moving = next(w for w in plan.stretches(1000.0) if not w.resting[0])
        t = np.linspace(0.0, moving.t1 - moving.t0, 41)
        x = moving.commanded(moving.t0 + t)[:, 0]
        assert x + x[::-1] == pytest.approx(np.full(41, 1e-3 * sum(lengths)), abs=1e-9), seed


@pytest.mark.parametrize("seed", range(4))
def test_space_has_no_axis_of_its_own(planned: PlanProgram, seed: int) -> None:
    """A path of short and long chords in space, its axes exchanged: as many segments, and as long in time."""
    rng = random.Random(seed)
    place, path = [60.0, 60.0, 60.0], []
    heading = [1.0, 0.4, -0.3]
    for _ in range(60):
        heading = [h + rng.choice([0.0, 0.0, 0.02, 0.3]) * rng.uniform(-1, 1) for h in heading]
        size = rng.choice([0.05, 0.3, 2.0])
        place = [min(max(p + size * h, 1.0), 199.0) for p, h in zip(place, heading, strict=True)]
        path.append([round(p, 3) for p in place])
    told = set()
    for order in itertools.permutations(range(3)):
        lines = (" ".join(f"{name}{point[k]:.3f}" for name, k in zip("XYZ", order, strict=True)) for point in path)
        plan = planned("G90 G1 F6000 X60 Y60 Z60\nG4 P0.1\n" + "\n".join(lines))
        told.add((segments(plan), round(plan.move_s, 7)))
    assert len(told) == 1


def segments(plan: MotionPlan) -> int:
    """How many a plan has."""
    return sum(len(block.segments) for block in plan.stream())


def test_a_long_line_rounded_to_its_last_digit_is_one_and_a_short_one_keeps_its_corners(planned: PlanProgram) -> None:
    """Points a third of a last digit beside a line of 90 mm: angles of 0.01 mrad that nobody meant. Along 0.9 mm the same
    digits are angles of a milliradian, which a curve may mean."""
    long, short = (planned(f"G1 F3000\nX{x} Y0.001\nX{2 * x} Y0.003\nX{3 * x} Y0.004\n") for x in (30.0, 0.3))
    assert segments(short) - segments(long) == 2


@pytest.mark.parametrize("jerk", [0.3, 0.8])
def test_the_smallest_jerk_is_kept_too(jerk: float) -> None:
    """Distance d from rest to rest, neither speed nor acceleration at its limit: four phases of (d / 2j)^(1/3)."""
    limits = MotionLimits(0.15, 4.0, jerk, 0.005, 0.0)
    plan = build_plan(limits, {}, MoveSpec("step", None, 0.03, 1, "x", 0.0), REACH)
    assert plan.move_s == pytest.approx(4 * (0.03 / (2 * jerk)) ** (1 / 3), rel=1e-6)
    sweep = build_plan(limits, {}, MoveSpec("chirp", None, 0.06, 1, "x", 0.0), REACH)
    free = build_plan(MotionLimits(0.15, 4.0, 0.0, 0.005, 0.0), {}, MoveSpec("chirp", None, 0.06, 1, "x", 0.0), REACH)

    def width(plan: MotionPlan) -> float:
        return float(max(np.ptp(w.commanded(np.linspace(w.t0, w.t1, 4000))[:, 0]) for w in plan.stretches()))

    # At 10 Hz and more a jerk of j leaves an acceleration of j / (2 pi 10 Hz), and twice j / w^3 of swing.
    assert width(sweep) < 2.2 * jerk / (2 * math.pi * 10) ** 3 < 0.1 * width(free)


@pytest.mark.parametrize("v0", [0.0, 0.03, 0.2])
@pytest.mark.parametrize("v1", [0.031, 0.21, 0.9])
@pytest.mark.parametrize(("a", "j"), [(1.0, 5.0), (4.0, 2000.0), (0.5, 1.0)])
def test_a_ramp_reaches_what_its_way_is_long_enough_for(v0: float, v1: float, a: float, j: float) -> None:
    """The two are each other's inverse; the way itself is the mean speed times the time a ramp of that jerk takes:
    dv / a + a / j with full acceleration, 2 sqrt(dv / j) without."""
    if v1 <= v0:
        return
    change = v1 - v0
    time = change / a + a / j if change * j >= a * a else 2 * math.sqrt(change / j)
    assert ramp_distance(v0, v1, a, j) == pytest.approx(0.5 * (v0 + v1) * time)
    assert ramp_reach(v0, ramp_distance(v0, v1, a, j), a, j) == pytest.approx(v1, rel=1e-9)


CURVES = (
    "G1 F6000 X20 Y5\nG3 X40 Y25 R20\nG3 X20 Y45 R20\nG4 P0.1\nG2 X20 Y45 I-5 Z3\nG1 X60\nG2 X70 Y35 R10\nG1 Y5 Z0\n"
)


@pytest.mark.parametrize("jerk", [0.0, 100.0])
@pytest.mark.parametrize("tolerance", [0.0, 1e-4])
def test_corners_of_speed_and_acceleration_are_flagged_and_nothing_else(
    planned: PlanProgram, jerk: float, tolerance: float
) -> None:
    """By axis, from the definitions of the segments, before and behind every border of two pieces."""
    plan = planned(CURVES, MotionLimits(0.15, 4.0, jerk, 0.005, tolerance))
    last, flagged = [np.zeros(3), np.zeros(3)], 0
    for block, m, duration in pieces(plan):
        now = state(block, m, 0.0)[1:]
        step = np.maximum(abs(now[0] - last[0]) * 100.0, abs(now[1] - last[1]))
        # Where one axis jumps, all that move go on along another curve.
        flagged += int(block.jump[m].any())
        assert (step.max() > 1e-6) if block.jump[m].any() else (step.max() < 1e-2), (m, step)
        assert block.jump[m][step > 1e-2].all()
        last = list(state(block, m, duration)[1:])
    assert flagged > 10 or jerk > 0.0


@pytest.mark.parametrize("code", [5, 6, 12, 13, 30, 33, 38.2, 73, 81, 89])
def test_codes_that_would_move_the_tool_are_not_passed_over(planned: PlanProgram, code: float) -> None:
    """Splines, circles' pockets, other homes, threads, probing, drilling: RS274/NGC and its kin (from memory)."""
    with pytest.raises(ProgramError, match=rf"G{code:g}\b"):
        planned(f"G1 X10 F600\nG{code:g} X20 R2\n")
    assert planned(f"G1 X10 F600\nG80\nG{90 if code > 50 else 94} \nG1 X20\n").move_s > 0


def test_a_sweep_ends_without_a_jump() -> None:
    """Its last cycle fades to nothing, so that a shaper, which commands it once more 10 ms later, has no corner there."""
    limits = MotionLimits(0.15, 4.0, 0.0, 0.005, 0.0)
    plain, shaped = (
        build_plan(limits, shapers, MoveSpec("chirp", None, 0.06, 1, "x", 0.2), REACH)
        for shapers in ({}, {"x": ShaperSpec("zero-vibration", 50.0, 0.0)})
    )
    moving = next(iter(shaped.stretches(1000.0)))
    assert moving.t1 == pytest.approx(plain.move_s + 0.01)
    assert len(moving.breakpoints) > 100
    assert min(abs(moving.breakpoints - plain.move_s)) > 1e-6


def test_a_raster_run_twice_lays_its_rows_twice_and_nothing_on_the_way_back() -> None:
    plan = build_plan(MotionLimits(0.15, 4.0, 0.0, 0.005, 0.0), {}, MoveSpec("raster", None, 0.01, 2, "x", 0.1), REACH)
    laid = np.concatenate([b.segments.depositing for b in plan.stream()])
    length = np.concatenate([b.segments.length_m for b in plan.stream()])
    back = [leg.name for leg in plan.legs].count("back to the start")
    assert back == 1
    assert length[~laid].sum() == pytest.approx(math.dist(*(ends(plan, "back to the start"))))


def ends(plan: MotionPlan, name: str) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Where a leg begins and ends."""
    leg = next(leg for leg in plan.legs if leg.name == name)
    return leg.start, leg.end


def test_only_a_corner_that_is_passed_is_rounded(planned: PlanProgram) -> None:
    """Where the tool waits between two lines, or begins the next one elsewhere, there is nothing to round."""
    shapers = {"x": ShaperSpec("zero-vibration", 50.0, 0.0), "y": ShaperSpec("zero-vibration", 50.0, 0.0)}
    plan = planned("G1 F6000 X20\nG4 P0.2\nG1 Y20\nG1 X0\n", shapers=shapers)
    (only,) = corner_rounding(plan)
    assert only.leg == [leg.name for leg in plan.legs][1]
    assert only.distance_m > 0


def test_a_corner_that_slows_nothing_is_not_rounded(planned: PlanProgram) -> None:
    """1 mm/s round a right angle is a step of 1.4 mm/s where 5 mm/s are allowed; at 100 mm/s the same corner is rounded."""
    limits = MotionLimits(0.15, 4.0, 0.0, 0.005, 1e-4)
    slow, fast = (planned(f"G1 F{feed} X10\nG1 Y10\n", limits) for feed in (60, 6000))
    assert segments(fast) == segments(slow) + 1


@pytest.mark.parametrize("axis", ["x", "y", "xy"])
def test_a_sweep_swings_about_the_middle_along_its_axis(axis: str) -> None:
    plan = build_plan(MotionLimits(0.15, 4.0, 0.0, 0.005, 0.0), {}, MoveSpec("chirp", None, 0.06, 1, axis, 0.1), REACH)
    places = np.concatenate([w.commanded(np.linspace(w.t0, w.t1, 8000)) for w in plan.stretches()])
    low, high = places.min(axis=0), places.max(axis=0)
    assert (low + high) / 2 == pytest.approx([0.1, 0.1, places[0, 2]], abs=1e-4)
    assert [bool(wide > 1e-3) for wide in (high - low)[:2]] == ["x" in axis, "y" in axis]
