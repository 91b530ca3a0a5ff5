"""Patterns: what each draws, where, and what is said when it does not fit."""

from __future__ import annotations

import itertools
import math
import re

import numpy as np
import pytest
from beltspring.sim.errors import ScenarioError
from beltspring.sim.plan.build import MotionPlan, build_plan
from beltspring.sim.plan.patterns import PATTERNS, PatternChoices
from beltspring.sim.plan.rounding import corner_rounding, shaping_notes
from beltspring.sim.plan.shapers import KINDS, shaping_of
from beltspring.sim.scenario.motion import MotionLimits, MoveSpec, ShaperSpec

from tests.plan.conftest import LIMITS, REACH
from tests.plan.measure import pieces, state

SIZE = 0.06


def make(name: str, repeats: int = 1, axis: str = "x", **choices: float) -> MotionPlan:
    move = MoveSpec(name, None, SIZE, repeats, axis, 0.1)
    return build_plan(LIMITS, {}, move, REACH, choices=PatternChoices(**choices))


def extent(plan: MotionPlan) -> np.ndarray:
    """Extent of the asked path, (3,) m, and its middle, (3,) m."""
    at = np.concatenate([w.asked(np.linspace(w.t0, w.t1, 3000)) for w in plan.stretches()])
    return np.array([np.ptp(at, axis=0), 0.5 * (at.max(axis=0) + at.min(axis=0))])


@pytest.mark.parametrize("name", PATTERNS)
def test_every_pattern_lies_about_the_middle_within_its_size(name: str) -> None:
    size, middle = extent(make(name, sweep_s=0.5))
    assert (size[:2] <= SIZE + 1e-6).all()
    if name in ("square", "circle", "raster", "acceleration-ladder", "speed-ladder"):
        assert size[:2] == pytest.approx([SIZE, SIZE], abs=1e-6)
    if name != "star":
        assert middle[:2] == pytest.approx([0.1, 0.1], abs=2e-6)


@pytest.mark.parametrize("name", PATTERNS)
def test_legs_follow_each_other_and_say_what_they_are(name: str) -> None:
    plan = make(name, 2, sweep_s=0.5)
    assert plan.description.endswith("at 150 mm/s")
    assert plan.legs[0].start == pytest.approx(tuple(plan.start))
    for a, b in itertools.pairwise(plan.legs):
        assert a.end == pytest.approx(b.start, abs=1e-12)
        assert a.end_s == pytest.approx(b.start_s)
    for leg in plan.legs:
        assert leg.start_s <= leg.cruise_from_s <= leg.cruise_to_s <= leg.end_s
        assert 0.0 < leg.cruise_speed_m_s <= LIMITS.speed_m_s + 1e-12
        assert math.hypot(*leg.direction) == pytest.approx(1.0)
        assert leg.curved == (name == "circle")
        assert leg.source_line is None
        if not leg.curved and name != "chirp":
            way = np.subtract(leg.end, leg.start)
            assert way / np.linalg.norm(way) == pytest.approx(leg.direction)


def test_square_goes_counter_clockwise_from_the_front_left() -> None:
    plan = make("square")
    assert [leg.name for leg in plan.legs] == ["leg 1", "leg 2", "leg 3", "leg 4"]
    assert plan.start == pytest.approx([0.07, 0.07, 0.1])
    directions = [leg.direction[:2] for leg in plan.legs]
    assert directions == [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)]


@pytest.mark.parametrize(("axis", "direction"), [("x", (1, 0)), ("y", (0, 1)), ("xy", (0.5**0.5, 0.5**0.5))])
def test_step(axis: str, direction: tuple[float, float]) -> None:
    plan = make("step", 2, axis)
    there, back = plan.legs
    assert there.direction[:2] == pytest.approx(direction)
    assert back.direction[:2] == pytest.approx((-direction[0], -direction[1]))
    assert np.subtract(there.end, there.start)[:2] == pytest.approx([SIZE * ("x" in axis), SIZE * ("y" in axis)])
    assert 0.5 * np.add(there.end, there.start) == pytest.approx([0.1, 0.1, 0.1])
    assert back.end == pytest.approx(there.start)


def test_star_has_corners_at_steps_of_15_degrees() -> None:
    plan = make("star")
    turns = {}
    for a, b in itertools.pairwise(plan.legs):
        if found := re.fullmatch(r"to the (\d+) degree corner", a.name):
            turns[int(found[1])] = math.degrees(math.acos(np.clip(np.dot(a.direction, b.direction), -1, 1)))
            assert b.name == f"after the {found[1]} degree corner"
    assert sorted(turns) == list(range(15, 181, 15))
    for degrees, turn in turns.items():
        assert turn == pytest.approx(degrees, abs=1e-4)


@pytest.mark.parametrize("what", ["acceleration", "speed"])
def test_ladders_rise_level_by_level(what: str) -> None:
    plan = make(f"{what}-ladder", levels=4)
    reached: dict[int, float] = {}
    for block, m, duration in pieces(plan):
        name = plan.legs[block.segments.leg[block.pieces.segment[m]]].name
        if found := re.match(r"level (\d+) \(([\d.]+) mm/s", name):
            _, velocity, acceleration = state(block, m, duration)
            value = np.linalg.norm(acceleration if what == "acceleration" else velocity)
            level = int(found[1])
            reached[level] = max(reached.get(level, 0.0), value)
            top = 4000 if what == "acceleration" else 150
            assert float(found[2]) == pytest.approx(top * level / 4, abs=0.5)
    top = 4.0 if what == "acceleration" else 0.15
    assert [reached[n] for n in (1, 2, 3, 4)] == pytest.approx([0.25 * top, 0.5 * top, 0.75 * top, top])
    levels = [leg.level for leg in plan.legs if leg.level is not None]
    assert {(v.number, v.quantity) for v in levels} == {(n, what) for n in (1, 2, 3, 4)}
    assert {round(v.value / top, 9) for v in levels} == {0.25, 0.5, 0.75, 1.0}
    heights = sorted(
        {round(1e3 * leg.start[2], 6) for leg in plan.legs if "level" in leg.name and "up" not in leg.name}
    )
    assert heights == [100, 101, 102, 103]


def test_raster_fills_the_square_row_by_row() -> None:
    plan = make("raster", row_spacing_m=0.005)
    rows = [leg for leg in plan.legs if leg.name.startswith("row")]
    assert [leg.start[1] for leg in rows] == pytest.approx(np.linspace(0.07, 0.13, 13))
    assert [leg.direction[0] for leg in rows] == [1.0 if n % 2 == 0 else -1.0 for n in range(13)]


def test_chirp_sweeps_through_its_frequencies() -> None:
    """Zero crossings of the velocity say what frequency is driven; acceleration keeps its level across the sweep."""
    plan = make("chirp", from_hz=20.0, to_hz=100.0, sweep_s=2.0)
    t, v = [], []
    for w in plan.stretches():
        edges = np.unique(np.concatenate([np.linspace(w.t0, w.t1, 20001), w.breakpoints]))
        t.append(edges[:-1])
        v.append(w.command(edges[:-1], edges[1:])[1][:, 0, 0])
    times, velocity = np.concatenate(t), np.concatenate(v)
    moving = times < plan.move_s
    times, velocity = times[moving], velocity[moving]
    crossings = times[1:][(velocity[1:] > 0) & (velocity[:-1] <= 0)]
    frequency = 1.0 / np.diff(crossings)
    assert frequency[0] == pytest.approx(20.0, rel=0.02)
    assert frequency[-1] == pytest.approx(100.0, rel=0.02)
    assert (np.diff(frequency) > -0.5).all()
    assert plan.move_s == pytest.approx(2.0, rel=0.03)
    # The first cycle grows from nothing, so the second is the widest.
    swing = LIMITS.acceleration_m_s2 / (2 * math.pi * frequency[1]) ** 2
    assert extent(plan)[0][0] == pytest.approx(2 * swing, rel=0.03)


def test_a_pattern_that_does_not_fit_says_what_would() -> None:
    with pytest.raises(ScenarioError, match=r"size_mm = 250.*X -25 to 225 mm.*0 to 200 mm.*size_mm = 200 or less"):
        build_plan(LIMITS, {}, MoveSpec("square", None, 0.25, 1, "x", 0.1), REACH)
    low = ((0.0, 0.2), (0.0, 0.05), (0.0, 0.2))
    with pytest.raises(ScenarioError, match=r"Y -5 to 55 mm.*size_mm = 50 or less"):
        build_plan(LIMITS, {}, MoveSpec("circle", None, 0.06, 1, "x", 0.1), low)


def test_unknown_names_and_too_many_repeats() -> None:
    with pytest.raises(ScenarioError, match=r"pattern = 'spiral': must be one of step, square"):
        make("spiral")
    with pytest.raises(ScenarioError, match=r"repeats = 10000: the pattern chirp"):
        make("chirp", 10_000)


def test_many_repeats_stay_quick() -> None:
    plan = make("square", 10_000)
    assert len(plan.legs) == 40_000
    assert plan.move_s == pytest.approx(10_000 * make("square").move_s, rel=0.01)


def test_ladder_in_a_machine_without_room_above() -> None:
    flat = ((0.0, 0.2), (0.0, 0.2), (0.05, 0.05))
    plan = build_plan(LIMITS, {}, MoveSpec("acceleration-ladder", None, 0.06, 1, "x", 0.1), flat)
    assert {leg.start[2] for leg in plan.legs} == {0.05}


def test_shapers_cost_time_and_corners() -> None:
    shapers = {axis: ShaperSpec("zero-slope", 40.0, 0.05) for axis in ("x", "y")}
    move = MoveSpec("square", None, SIZE, 1, "x", 0.1)
    plan = build_plan(MotionLimits(0.15, 4.0, 0.0, 0.05, 0.0), shapers, move, REACH)
    found = corner_rounding(plan)
    assert [r.leg for r in found] == ["leg 1", "leg 2", "leg 3"]
    # A right angle at v = 35.4 mm/s; ZVD's impulses 0, 12.5, 25 ms make the corner a polygon of two further points.
    # Its middle is where half of each axis' impulses have come: on the diagonal, by the weights about 2-3 ms of travel.
    for r in found:
        assert 20e-6 < r.distance_m < 300e-6
    notes = shaping_notes(plan)
    assert "lag" in notes[0]
    assert f"{1e6 * max(r.distance_m for r in found):.0f} um" in notes[1]
    assert shaping_notes(build_plan(LIMITS, {}, move, REACH)) == []
    sharp = corner_rounding(build_plan(MotionLimits(0.15, 4.0, 0.0, 0.05, 0.0), {}, move, REACH))
    assert max(r.distance_m for r in sharp) < 1e-9


def test_a_plan_knows_no_machine_to_tune_a_shaper_to() -> None:
    with pytest.raises(ScenarioError, match="auto"):
        shaping_of({"x": ShaperSpec("zero-vibration", "auto", 0.5)})


@pytest.mark.parametrize(
    ("spec", "message"),
    [
        (ShaperSpec("zvx", 40.0, 0.0), r"kind = 'zvx'.*zero-vibration, zero-slope, zero-curvature, one-hump, two-hump"),
        (ShaperSpec("zero-vibration", 0.0, 0.0), "above 0"),
        (ShaperSpec("zero-vibration", math.nan, 0.0), "above 0"),
        (ShaperSpec("one-hump", 40.0, 0.5), r"damping = 0.5.*0 to 0.3.*zero-vibration or zero-slope"),
        (ShaperSpec("zero-vibration", 40.0, 1.0), r"damping = 1"),
    ],
)
def test_shapers_that_cannot_be_made(spec: ShaperSpec, message: str) -> None:
    with pytest.raises(ScenarioError, match=message):
        shaping_of({"x": spec})


@pytest.mark.parametrize("damping", [0.0, 0.01, 0.3])
@pytest.mark.parametrize("kind", KINDS)
def test_shaper_weights_are_positive_and_sum_to_one(kind: str, damping: float) -> None:
    made = shaping_of({"x": ShaperSpec(kind, 40.0, damping)}).by_axis[0]
    assert sum(made.weights) == pytest.approx(1.0, abs=1e-12)
    assert min(made.weights) > 0.0
    assert made.times_s[0] == 0.0
    assert (np.diff(made.times_s) > 0).all()


def test_a_zigzag_has_four_teeth_and_goes_back_the_way_it_came() -> None:
    """60 mm wide: eight legs of 7.5 mm in X, up and down by as much (corners of 90 degrees), about the middle; by hand."""
    plan = make("zigzag", repeats=2)
    x = [100.0 - 30.0 + 7.5 * n for n in range(9)]
    y = [100.0 + (3.75 if n % 2 else -3.75) for n in range(9)]
    there = list(zip(x, y, strict=True))
    ends = [plan.start[:2], *(leg.end[:2] for leg in plan.legs)]
    assert [(1e3 * a, 1e3 * b) for a, b in ends] == [pytest.approx(p, abs=1e-9) for p in [*there, *there[-2::-1]]]
    for a, b in itertools.pairwise(plan.legs[:8]):
        assert np.dot(a.direction, b.direction) == pytest.approx(0.0, abs=1e-12)
