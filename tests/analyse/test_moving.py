"""What shakes while an axis moves: written down by hand, away from the plan's jumps and only there."""

import numpy as np
import pytest
from beltspring.sim.analyse.moving import disturbances, half_ranges, moving

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
