"""What is prepared for drawing agrees with what the engine says."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.viz.charts.shown import Shown


@pytest.fixture(params=["desk", "bed"])
def shown(request):
    return Shown(request.getfixturevalue(request.param))


def test_the_drawn_error_is_the_measured_one(shown):
    """Distance from the drawn foot to the tool against the analysis' own distance from the asked path."""
    assert np.hypot(*shown.error_m.T) == pytest.approx(shown.result.analysis.path.across_m, abs=1e-9)


def test_sideways_error_is_positive_to_the_left(shown):
    """On a straight leg the left of direction d is (-dy, dx): plain vector geometry, by hand for each leg."""
    checked = 0
    for leg in shown.result.plan.legs:
        middle = 0.5 * (leg.cruise_from_s + leg.cruise_to_s)
        d = np.array(leg.direction[:2])
        off = (shown.at(middle, shown.trace.tool) - np.array(leg.start))[:2]
        left = float(d[0] * off[1] - d[1] * off[0])
        assert float(shown.at(middle, shown.sideways_m)) == pytest.approx(left, abs=2e-8)
        checked += abs(left) > 1e-7
    assert checked


def test_a_swing_keeps_its_side_round_a_corner(desk):
    """The square is gone round to the left: outside of it is right of it, beyond its corners too, by plain geometry."""
    shown = Shown(desk)
    low, high = shown.asked_m.min(axis=0), shown.asked_m.max(axis=0)
    tool = shown.trace.tool[:, :2]
    inside = np.minimum(tool - low, high - tool).min(axis=1)
    first, last = desk.plan.legs[0], desk.plan.legs[-1]
    judged = (shown.t_s > first.cruise_from_s) & (shown.t_s < last.cruise_to_s) & (np.abs(inside) > 0.2e-6)
    beyond = judged & (np.abs((shown.direction * shown.error_m).sum(axis=1)) > 1e-6)
    assert beyond.sum() > 5
    assert (np.sign(shown.sideways_m[judged]) == np.sign(inside[judged])).all()


def test_ramps_lie_in_legs_and_do_not_touch(shown):
    assert shown.ramps
    for a, b in shown.ramps:
        assert 0 <= a < b <= shown.end_s
    for (_, b), (a, _) in zip(shown.ramps[:-1], shown.ramps[1:], strict=True):
        assert a > b


def test_between_samples_values_are_interpolated(shown):
    t = 0.5 * (shown.t_s[10] + shown.t_s[11])
    assert shown.at(t, shown.t_s) == pytest.approx(t)
    assert shown.at(-1.0, shown.t_s) == pytest.approx(shown.t_s[0])
    assert shown.at(1e9, shown.t_s) == pytest.approx(shown.t_s[-1])


def test_the_largest_deviation_is_the_largest(shown):
    for axis, values in shown.deviation_m.items():
        assert abs(shown.largest[axis].value_m) == np.abs(values).max()


def test_marks_name_the_largest_error(shown):
    assert "largest" in {m.kind for m in shown.moments}


def test_slack_and_lost_steps_are_marked(desk):
    from beltspring.viz.window.runs import run_changed

    loose = Shown(run_changed(desk.scenario, {"belts.pretension_n": 1.5}))
    moment = next(m for m in loose.moments if m.kind == "slack")
    k = int(np.searchsorted(loose.t_s, moment.time_s))
    assert loose.trace.tension_n[k].min() <= 0
    weak = Shown(run_changed(desk.scenario, {"motors.current_a": 0.05, "motion.acceleration_mm_s2": 12000}))
    assert "lost steps" in {m.kind for m in weak.moments}


def test_words_for_what_the_motion_does(desk):
    shown = Shown(desk)
    leg = desk.plan.legs[1]
    assert shown.doing(leg.start_s + 1e-3) == "speeding up on the way to corner 2"
    assert shown.doing(0.5 * (leg.cruise_from_s + leg.cruise_to_s)) == "steady on the way to corner 2"
    assert shown.doing(leg.end_s - 1e-3) == "slowing down on the way to corner 2"
    assert shown.doing(desk.plan.legs[3].end_s - 1e-3) == "slowing down on the way to the end"
    assert shown.doing(shown.move_s + 0.1) == "settling"
