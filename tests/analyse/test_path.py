"""Path error: true distance from the asked path, and the lag along it."""

import itertools
from types import SimpleNamespace

import numpy as np
import pytest
from beltspring.sim.analyse.path import path_error
from beltspring.sim.plan.plan import Leg
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from tests.tries import examples

SQUARE = [(0, 0), (0.06, 0), (0.06, 0.06), (0, 0.06), (0, 0)]


def shifted(plan, dx, dy):
    return lambda t: plan.place(t) + np.array([dx, dy, 0.0])


def test_a_tool_that_is_always_late_is_on_the_path_but_behind(made):
    plan = made.plan([(0, 0), (0.06, 0)])
    late = 0.005
    trace = made.trace(plan, tool=lambda t: plan.place(np.clip(t - late, 0, None)))
    error = path_error(trace, plan)
    assert error.across_max_m < 1e-12
    assert error.along_max_m == pytest.approx(0.1 * late, rel=1e-6)
    assert np.all(error.along_m >= -1e-12)


def test_a_tool_beside_the_path_counts_sideways_only(made):
    plan = made.plan([(0, 0), (0.06, 0)])
    error = path_error(made.trace(plan, tool=shifted(plan, 0, 30e-6)), plan)
    assert error.across_max_m == pytest.approx(30e-6, rel=1e-9)
    assert error.across_rms_m == pytest.approx(30e-6, rel=1e-9)
    assert error.along_max_m < 1e-9


def test_an_overshot_end_is_distance_and_not_lag(made):
    plan = made.plan([(0, 0), (0.06, 0)])
    error = path_error(made.trace(plan, tool=shifted(plan, 80e-6, 0)), plan)
    assert error.across_max_m == pytest.approx(80e-6, rel=1e-9)
    assert error.along_max_m == pytest.approx(80e-6, rel=1e-9)  # in mid-leg it runs ahead of the asked place by as much
    assert error.along_m[-1] == pytest.approx(0.0, abs=1e-12)


def test_corners_inside_and_outside(made):
    # Moved 40 um out of the corner both ways: sqrt(2) away there, 40 um along the legs. Moved in: never over 40 um.
    plan = made.plan([(0, 0), (0.06, 0), (0.06, 0.06)], acceleration=2.5)  # 640 ms a leg: the corner is a sample
    out = path_error(made.trace(plan, tool=shifted(plan, 40e-6, -40e-6)), plan)
    assert out.across_max_m == pytest.approx(40e-6 * np.sqrt(2), rel=1e-6)
    assert out.worst_s == pytest.approx(plan.legs[0].end_s, abs=0.002)
    trace = made.trace(plan, tool=shifted(plan, -40e-6, 40e-6))
    inside = path_error(trace, plan)
    # At both ends of the path the tool stands 40 um beside it and 40 um beyond; in between, at the corner too, it is
    # never further than 40 um from one of the legs.
    assert inside.across_max_m == pytest.approx(40e-6 * np.sqrt(2), rel=1e-6)
    between = (trace.t_s > 0.05) & (trace.t_s < plan.move_s - 0.05)
    assert inside.across_m[between].max() == pytest.approx(40e-6, rel=1e-6)


def test_a_path_that_runs_back_over_itself_keeps_its_order(made):
    plan = made.plan([(0, 0), (0.06, 0), (0, 0), (0.06, 0)])
    late = 0.004
    trace = made.trace(plan, tool=lambda t: plan.place(np.clip(t - late, 0, None)))
    error = path_error(trace, plan)
    assert error.across_max_m < 1e-9
    assert error.along_max_m == pytest.approx(0.1 * late, rel=1e-3)


@given(seed=st.integers(0, 2**32 - 1), size=st.floats(1e-6, 5e-4))
@settings(max_examples=examples(25), suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_the_distance_agrees_with_a_brute_search_over_the_whole_path(made, seed, size):
    # Oracle: scipy.spatial.cKDTree over the path cut every 2 um. It can only be further than the true distance, and by
    # no more than the gap between cuts.
    rng = np.random.default_rng(seed)
    corners = rng.uniform(0, 0.1, (5, 2))
    legs, t = [], 0.0
    for i, (a, b) in enumerate(itertools.pairwise(corners)):
        took = np.hypot(*(b - a)) / 0.1
        unit = (*((b - a) / np.hypot(*(b - a))), 0.0)
        legs.append(Leg(f"leg {i}", t, t + took, t, t + took, unit, 0.1, (*a, 0.0), (*b, 0.0)))
        t += took
    times = np.linspace(0, t, 400)
    ends = np.array([0.0, *(leg.end_s for leg in legs)])

    def place(when):
        return np.stack([*(np.interp(when, ends, corners[:, k]) for k in (0, 1)), 0.0 * when], axis=1)

    asked = place(times)[:, :2]
    tool = asked + rng.normal(0, size, asked.shape)
    at = np.c_[asked, asked[:, 0] * 0]
    trace = SimpleNamespace(t_s=times, asked=at, commanded=at, tool=np.c_[tool, tool[:, 0] * 0], stretches=[])
    whole = made.stretch(0.0, t, (False,) * 3, np.empty(0), place, tuple(ends))
    plan = SimpleNamespace(legs=legs, shaper_delay_s=(0.0, 0.0, 0.0), stretches=lambda longest_s=1.0: iter([whole]))
    found = path_error(trace, plan).across_m
    cuts = [np.linspace(0, 1, int(np.hypot(*(b - a)) / 2e-6) + 2) for a, b in itertools.pairwise(corners)]
    dense = np.concatenate([a + s[:, None] * (b - a) for s, a, b in zip(cuts, corners, corners[1:], strict=False)])
    when = np.concatenate([leg.start_s + s * (leg.end_s - leg.start_s) for s, leg in zip(cuts, legs, strict=True)])
    brute, index = cKDTree(dense).query(tool)
    assert np.all(found >= brute - 1e-6)
    # Another pass of the path does not count, however near: the place has to lie within a few distances of the asked one.
    away = np.hypot(*(tool - asked).T)
    order = 0.1 * np.abs(when[index] - times)
    near = order < 4 * away
    assert near.sum() > 150  # where legs happen to be short and the noise large, places of other legs are nearer
    # Of places about as near the one nearest in order is meant: that never makes it a micrometre farther.
    assert np.all(found[near] <= brute[near] + 1e-6)
    clear = near & (np.abs(times[:, None] - ends).min(axis=1) * 0.1 > 4 * away)
    assert clear.sum() > 100
    assert np.all(found[clear] <= brute[clear] + 1e-12)
    assert np.all(found <= away + 1e-12)


@pytest.mark.parametrize("late_um", [0, 400])
def test_beside_a_corner_the_nearer_side_counts(made, late_um):
    # Round the corner, 259 um inside one leg and 249 um inside the other, whichever of them is the one in order.
    plan = made.plan([(0, 0), (0.06, 0), (0.06, 0.06)], acceleration=2.5)
    late = late_um * 1e-6
    corner = np.array([0.06, 0.0])
    for inside in ((259e-6, 249e-6), (249e-6, 259e-6)):
        tool = corner + np.array([-inside[0], inside[1]])
        trace = made.trace(plan, tool=lambda t, tool=tool: np.tile([*tool, 0.0], (len(t), 1)))
        gone = trace.t_s[:, None] * 0 + plan.place(trace.t_s)
        beside = np.flatnonzero(np.abs(np.hypot(*(gone[:, :2] - corner).T) - late) < 300e-6)
        assert len(beside) > 5
        assert path_error(trace, plan).across_m[beside] == pytest.approx(np.full(len(beside), 249e-6), abs=1e-9)


@pytest.mark.parametrize("back", [(0.0, 0.0), (0.0, 2e-3), (0.0, -1e-3)], ids=["the same way", "at 2 degrees", "below"])
def test_a_ray_that_is_gone_out_and_back_is_never_taken_for_the_other_way(made, back):
    # The tool swings 30 um about the asked place both ways: no place of the path is more out of order than that
    # reaches at the turn (4 times), and in mid-ray it is exactly as late or early as it swings.
    plan = made.plan([(0, 0), (0.06, 0), back])
    swing = 30e-6

    def tool(t):
        return plan.place(t) + swing * np.c_[np.cos(300 * t), np.sin(300 * t), 0 * t]

    trace = made.trace(plan, tool=tool)
    error = path_error(trace, plan)
    assert error.across_max_m <= swing * (1 + 1e-9)
    assert error.along_max_m <= 4 * swing
    ends = np.array([0.0, *(leg.end_s for leg in plan.legs)])
    middle = np.abs(trace.t_s[:, None] - ends).min(axis=1) > 0.15
    assert np.abs(error.along_m[middle]).max() == pytest.approx(swing, rel=0.01)
    assert error.across_m[middle].max() == pytest.approx(swing, rel=0.01)


def test_what_swings_where_the_tool_stands_still_counts_whole(made):
    # Ringing along the last leg, round the end: inwards it runs back over the path, yet it is as far off as outwards.
    for turn in ([(0, 0), (0.06, 0)], [(0, 0), (0.06, 0), (0.06, 0.06), (0, 0.06), (0, 0)]):
        plan = made.plan(turn)
        way = np.array(plan.legs[-1].direction)

        def ring(t, plan=plan, way=way):
            gone = np.clip(t - plan.move_s, 0, None)
            size = 60e-6 * np.exp(-8 * gone) * np.sin(2 * np.pi * 20 * gone)
            return plan.place(t) + size[:, None] * way

        trace = made.trace(plan, tool=ring)
        error = path_error(trace, plan)
        resting = trace.t_s > plan.move_s + 1e-3
        true = np.hypot(*(ring(trace.t_s) - plan.place(trace.t_s))[resting, :2].T)
        assert error.across_m[resting] == pytest.approx(true, abs=1e-9)
        assert np.abs(error.along_m[resting]).max() < 1e-9


def test_a_tool_off_a_path_that_closes_belongs_to_the_end_it_is_at(made):
    # Start and end of a square are one place; at the end the first leg, 60 um off the tool's side, is not meant.
    plan = made.plan(SQUARE)

    def tool(t):
        return plan.place(t) + np.where(t > plan.legs[3].start_s + 0.1, 50e-6, 0.0)[:, None] * np.array([1.0, 0, 0])

    trace = made.trace(plan, tool=tool)
    late = trace.t_s > plan.legs[3].start_s + 0.11
    assert path_error(trace, plan).across_m[late] == pytest.approx(np.full(late.sum(), 50e-6), abs=1e-9)


def test_a_circle_is_measured_from_its_true_arc(made):
    radius, turn_s = 0.02, 1.0

    def place(t):
        angle = 2 * np.pi * np.asarray(t) / turn_s
        return np.stack((radius * np.cos(angle), radius * np.sin(angle), 0 * angle), axis=1)

    bends = tuple(np.linspace(0, turn_s, 1 + 3000))  # chords that lie within 11 nm of the arc
    stretch = made.stretch(0.0, turn_s, (False,) * 3, np.empty(0), place, bends)
    speed = 2 * np.pi * radius / turn_s
    leg = Leg("circle", 0.0, turn_s, 0.0, turn_s, (0, 1, 0), speed, (radius, 0, 0), (radius, 0, 0), curved=True)
    plan = SimpleNamespace(legs=[leg], shaper_delay_s=(0.0,) * 3, stretches=lambda longest_s=1.0: iter([stretch]))
    t = np.linspace(0, turn_s, 1001)
    asked = place(t)
    trace = SimpleNamespace(t_s=t, asked=asked, commanded=asked, tool=asked * (1 + 25e-6 / radius), stretches=[])
    error = path_error(trace, plan)
    assert error.across_m == pytest.approx(np.full(len(t), 25e-6), abs=0.05e-6)
    assert error.along_max_m < 0.1e-6
    assert np.hypot(*np.diff(error.asked_m, axis=0).T).sum() == pytest.approx(2 * np.pi * radius, rel=1e-3)


def evenly(made, delay_s=0.0, ends=(0.3, 0.6, 0.9, 1.2, 1.5)):
    """A plan along X at 0.1 m/s in stretches that end at `ends`, s, the command `delay_s` behind what is asked."""

    def place(t):
        x = 0.1 * np.asarray(t)
        return np.stack([x, 0 * x, 0 * x], axis=1)

    def stretches(longest_s=1.0):
        return iter(
            [made.stretch(a, b, (False, True, True), np.empty(0), place) for a, b in itertools.pairwise((0.0, *ends))]
        )

    shaping = SimpleNamespace(delay_s=delay_s) if delay_s else None
    return SimpleNamespace(legs=[], shaper_delay_s=(delay_s,) * 3, shaping=shaping, stretches=stretches), place


@pytest.mark.parametrize("late_s", [0.005, -0.005])
def test_where_a_stretch_ends_does_not_matter_to_the_lag(made, late_s):
    """Always so many seconds late, or early: speed times that, before and after the end of every stretch."""
    plan, place = evenly(made)
    t = np.linspace(0, 1.5, 1501)
    at = place(t)
    trace = SimpleNamespace(t_s=t, asked=at, commanded=at, tool=place(t - late_s), stretches=[])
    error = path_error(trace, plan)
    inside = (t > 0.01) & (t < 1.49)
    assert error.along_m[inside] == pytest.approx(np.full(inside.sum(), 0.1 * late_s), abs=1e-12)
    assert error.across_m[inside].max() < 1e-12


def test_a_stretch_too_short_for_a_row_leaves_every_row_with_its_own_error(made):
    """Between two rows, 0.3 ms long. The tool is later and later: each row's lag is its own, by hand."""
    plan, place = evenly(made, ends=(0.3, 0.6004, 0.6007, 1.0))
    t = np.linspace(0, 1.0, 1001)
    at = place(t)
    trace = SimpleNamespace(t_s=t, asked=at, commanded=at, tool=place(0.99 * t), stretches=[])
    assert path_error(trace, plan).along_m == pytest.approx(0.001 * t, abs=1e-12)


@pytest.mark.parametrize("lag_s", [0.003, -0.003])
def test_what_shapers_delay_is_told_apart_from_what_the_tool_lags(made, lag_s):
    """At 0.1 m/s: a command 20 ms behind what is asked, a tool 3 ms behind its command, or before it: 2 mm of one, 0.3 mm of
    the other."""
    plan, place = evenly(made, 0.02)
    t = np.linspace(0, 1.5, 1501)
    asked, commanded, tool = place(t), place(np.clip(t - 0.02, 0, None)), place(np.clip(t - 0.02 - lag_s, 0, None))
    error = path_error(SimpleNamespace(t_s=t, asked=asked, commanded=commanded, tool=tool, stretches=[]), plan)
    assert error.own_max_m == pytest.approx(0.3e-3, rel=1e-9)
    assert error.delay_max_m == pytest.approx(2e-3, rel=1e-9)
    assert error.along_max_m == pytest.approx(0.1 * (0.02 + lag_s), rel=1e-9)
    assert error.across_max_m < 1e-12
