"""What shakes while an axis moves: written down by hand, away from the plan's jumps and only there."""

from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest
from beltspring.sim.analyse.moving import _limits, disturbances, half_range_at, half_ranges, moving

HERTZ = 40.0


def test_a_steady_shake_on_a_slope_is_half_its_range(made):
    plan = made.plan([(0, 0), (0.2, 0)])
    trace = made.trace(plan, deviation_x=lambda t: 12e-6 * np.sin(2 * np.pi * 80.0 * t) + 1e-3 * t + 5e-6)
    found = moving(trace, plan, "x", HERTZ, 0.1)
    # Four whole periods have a slope of their own, up to 3 / (4 pi) of the amplitude at the ends (integral of x sin).
    assert 12e-6 * 0.99 < found.typical_m <= found.peak_m < 12e-6 * (1 + 3 / (4 * np.pi))
    assert found.frequency_hz == pytest.approx(80.0, rel=0.02)


def test_what_a_jump_stirs_up_does_not_count_until_it_has_faded(made):
    plan = made.plan([(0, 0), (0.2, 0)], speed=0.1, acceleration=3.0)
    ring = made.sprung(plan, HERTZ, 0.05, 0)
    trace = made.trace(plan, deviation_x=ring)
    fade = np.log(20) / (2 * np.pi * HERTZ * 0.05)
    at_once, faded = (moving(trace, plan, "x", HERTZ, s) for s in (0.0, fade))
    top = np.abs(ring(np.linspace(plan.legs[0].cruise_from_s, plan.legs[0].cruise_to_s, 5001))).max()
    assert faded.peak_m < 0.06 * top < 0.5 * at_once.peak_m


def test_times_of_the_jumps_come_from_the_plan(made):
    plan = made.plan([(0, 0), (0.06, 0), (0.06, 0.06)])
    found = disturbances(plan, plan.duration_s, 0.25 / HERTZ)
    for time, _ in plan.jumps:
        assert np.abs(np.array(found) - time).min() < 1e-9
    # Nothing else is one: changes within a quarter of a period lie about the jumps themselves.
    far = [t for t in found if min(abs(t - time) for time, _ in plan.jumps) > 0.5 / HERTZ]
    assert far == []


def test_an_axis_that_stands_or_never_gets_clear_of_a_jump_tells_nothing(made):
    plan = made.plan([(0, 0), (0.06, 0)])
    trace = made.trace(plan, deviation_y=lambda t: 20e-6 * np.sin(300 * t))
    assert moving(trace, plan, "y", HERTZ, 0.1) is None
    assert moving(trace, plan, "x", HERTZ, 10.0) is None


def test_windows_with_rows_missing_are_left_out(made):
    from dataclasses import replace

    plan = made.plan([(0, 0), (0.2, 0)])
    trace = made.trace(plan)
    keep = (trace.t_s < 1.0) | (trace.t_s > 1.1)
    named = ("t_s", "asked", "commanded", "tool")
    short = replace(trace, **{name: getattr(trace, name)[keep] for name in named})
    start, _ = half_ranges(short, "x", 2 / HERTZ)
    assert not np.any((start + 2 / HERTZ > 1.002) & (start < 1.1))
    assert np.any(start < 0.9)
    assert np.any(start > 1.1)


def test_a_window_is_as_long_as_asked_and_every_one_that_fits_is_looked_at(made):
    plan = made.plan([(0, 0), (0.2, 0)])
    trace = made.trace(plan, deviation_x=lambda t: 3e-3 * t)
    start, found = half_ranges(trace, "x", 0.05)
    assert start[0] == 0.0
    assert start[-1] == pytest.approx(trace.t_s[-1] - 0.05, abs=1.001e-3)
    assert len(start) == len(trace.t_s) - 50
    # A straight line is no shaking, however steep.
    assert found.max() < 1e-12
    assert half_range_at(trace, "x", HERTZ, 1.0) == pytest.approx(0.0, abs=1e-12)
    assert half_range_at(trace, "x", HERTZ, trace.t_s[-1]) is None


def test_the_window_about_a_moment_has_it_in_its_middle(made):
    """Two periods of 40 Hz are 50 ms: a knock is in the windows whose middle is at most 25 ms away."""
    plan = made.plan([(0, 0), (0.2, 0)])
    trace = made.trace(plan, deviation_x=lambda t: np.where(np.abs(t - 1.0) < 5e-4, 8e-6, 0.0))
    for off_s, seen in ((-0.0245, True), (0.0, True), (0.0245, True), (-0.0265, False), (0.0265, False)):
        found = half_range_at(trace, "x", HERTZ, 1.0 + off_s)
        assert (found > 3e-6) is seen, off_s


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_speed_and_acceleration_of_a_cubic_are_exact_from_either_side(way):
    """What a plan is made of: (0.2, 0.1) + (0.3, -0.1) t + (1, 2) t^2 / 2 + (40, -20) t^3 / 6, its derivatives by hand."""
    given = np.array([[0.2, 0.1], [0.3, -0.1], [1.0, 2.0], [40.0, -20.0]])

    def commanded(t):
        powers = np.stack([t**0, t, t**2 / 2, t**3 / 6], axis=1)
        return np.concatenate([powers @ given, t[:, None]], axis=1)

    t = np.array([0.0, 0.1, 0.35])
    speed, acceleration = _limits(SimpleNamespace(commanded=commanded), t, way)
    assert speed == pytest.approx(np.stack([t**0, t, t**2 / 2], axis=1) @ given[1:], abs=1e-9)
    assert acceleration == pytest.approx(np.stack([t**0, t], axis=1) @ given[2:], abs=2e-5)


def test_where_nothing_jumps_nothing_is_a_disturbance(made):
    """Stretches that end in the middle of even motion, speeding up and slowing down: only the three jumps are told.

    A quarter of a period such that it is looked at right before the end of a stretch, where the acceleration jumps next.
    """
    jumps = [(0.0, 2.0), (0.05, -2.0), (0.4, -2.0), (0.45, 2.0)]

    def place(t):
        x = sum(0.5 * da * np.clip(np.asarray(t) - at, 0, None) ** 2 for at, da in jumps)
        return np.stack([x, 0 * x, 0 * x], axis=1)

    edges = [0.0, 0.05, 0.2, 0.31, 0.4, 0.45]
    plan = SimpleNamespace(
        stretches=lambda: (made.stretch(a, b, (False,) * 3, np.empty(0), place) for a, b in pairwise(edges))
    )
    for share in (1, 2, 3):
        # The steps of half a quarter end one STEP_S beyond the end of the stretch from 0.31 to 0.4.
        quarter = 2 * 0.09 / (10 * share)
        assert disturbances(plan, 0.45, quarter) == pytest.approx([0.0, 0.05, 0.4], abs=1e-12)


@pytest.mark.parametrize("hertz", [22.0, 339.8, 360.0])
def test_what_shakes_is_heard_from_half_the_mode_to_350_hertz(made, hertz):
    """Beyond, no frequency is told: what stands at an end of the search is no peak."""
    plan = made.plan([(0, 0), (0.2, 0)])
    trace = made.trace(plan, deviation_x=lambda t: 12e-6 * np.sin(2 * np.pi * hertz * t), step=5e-4)
    found = moving(trace, plan, "x", HERTZ, 0.1)
    if hertz < 350:
        assert found.frequency_hz == pytest.approx(hertz, rel=0.02)
    else:
        assert found.frequency_hz is None
