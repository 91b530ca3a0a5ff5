"""The headline of a ringing axis on whole runs: smooth in what it depends on, and that of the crests one can count."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from beltspring.sim.analyse.ringing import find_ringdowns, ringdown_at
from beltspring.sim.analyse.ringing.stills import rest_of, stand_stills
from beltspring.sim.chain.chain import Outcome, prepare, simulate_scenario
from beltspring.sim.scenario.motion import motion_limits
from beltspring.sim.simulate.run import run

from tests.support import shipped

KEYS = {f"{part}.presliding_um": 10.0 for part in ("carriage", "gantry")}


def told(outcome: Outcome, axis: str) -> dict[str, float]:
    """Frequency of the worst leg and of those within a tenth of it, Hz, by the leg's name."""
    found = outcome.analysis.ringing[axis]
    return {found.leg: found.frequency_hz} | {o.leg: o.frequency_hz for o in found.others}


#: A stiff frame and no detent leave each axis one mode that rings: what is told of one tone is asked there.
ONE_TONE = {
    **{"detail": "simple", "motors.detent_nm": 0},
    **{"frame.stiffness_x_n_per_mm": 1000, "frame.stiffness_y_n_per_mm": 1600},
}


def with_presliding(um: float, **keys: object) -> Outcome:
    return simulate_scenario(shipped("desk-corexy", ONE_TONE | dict.fromkeys(KEYS, um) | keys))


def test_it_is_smooth_over_presliding():
    # Where presliding is short the bristles are a spring beside the others: f^2 = f0^2 + b, b as 1 over presliding, so that a
    # tenth more of it takes half a tenth of their share off the frequency; 0.8 % beside that is for the telling.
    free = with_presliding(1000)
    places = (1, 1.1, 4, 4.4, 10, 11, 20, 22, 60, 66, 150, 165, 272, 300)
    steps = [with_presliding(um) for um in places]
    for a, b in zip(steps[::2], steps[1::2], strict=True):
        for axis in "xy":
            one, other = told(a, axis), told(b, axis)
            both = one.keys() & other.keys()
            assert both
            rolling = free.analysis.ringing[axis].frequency_hz
            for leg in both:
                share = max(0.0, 1 - (rolling / one[leg]) ** 2)
                assert abs(other[leg] / one[leg] - 1) <= 0.5 * share * np.log(1.1) + 0.008


@pytest.mark.parametrize("name", ["desk-corexy", "moving-bed-wheels", "spring-mass"])
def test_it_does_not_depend_on_the_recording_step(name):
    ready = prepare(shipped(name))
    fine, coarse = (find_ringdowns(run(ready.system, ready.plan, step), ready.plan) for step in (1e-4, 1e-3))
    for a, b in zip(fine, coarse, strict=True):
        if a.peak_m > 1e-6 and a.frequency_hz is not None:
            assert b.peak_m == pytest.approx(a.peak_m, rel=1e-3)
            # Beside a second mode that dies in the first swing it matters how late the first row comes.
            alone = a.decay is not None and a.decay.residual < 0.1
            assert b.frequency_hz == pytest.approx(a.frequency_hz, rel=0.002 if alone else 0.008)


@pytest.mark.parametrize("speed", [130, 140, 150, 160, 170])
def test_it_is_what_the_first_crests_count(speed):
    # By hand: extremes of tool minus rest in the first three swings, their times by parabola, half a period apart each.
    ready = prepare(shipped("desk-corexy", ONE_TONE | dict.fromkeys(KEYS, 60.0) | {"motion.speed_mm_s": speed}))
    assert motion_limits(ready.scenario).speed_m_s == pytest.approx(1e-3 * speed)
    trace = run(ready.system, ready.plan, 1e-4)
    checked = 0
    for down in find_ringdowns(trace, ready.plan):
        axis = "xy".index(down.axis)
        (still,) = (s for s in stand_stills(trace, ready.plan, axis) if s.start_s == down.start_s)
        if down.decay is None or down.decay.damping_ratio is None or down.decay.damping_ratio >= 0.1:
            continue
        if down.decay.residual >= 0.1:  # two modes at once have no common crests to count
            continue
        rows = (trace.t_s >= still.start_s) & (trace.t_s <= still.start_s + 3 / down.frequency_hz)
        t, y = trace.t_s[rows], trace.tool[rows, axis] - rest_of(trace, still)
        tops = np.flatnonzero((np.abs(y[1:-1]) > np.abs(y[:-2])) & (np.abs(y[1:-1]) >= np.abs(y[2:]))) + 1
        counted = 0.5 * (len(tops) - 1) / (t[tops[-1]] - t[tops[0]])
        assert down.frequency_hz == pytest.approx(counted, rel=0.03)
        checked += 1
    assert checked


def first_crests_hz(trace, still, axis: int, hertz: float) -> float:
    """By hand, as with a ruler on a wall: half a period between crests, of those at least two fifths as tall as the tallest.

    Smaller ones come sooner: there friction holds the axis more and more (the drift that the reading tells).
    """
    rows = (trace.t_s >= still.start_s) & (trace.t_s <= still.start_s + 3 / hertz)
    t, y = trace.t_s[rows], trace.tool[rows, axis] - rest_of(trace, still)
    tops = np.flatnonzero((np.abs(y[1:-1]) > np.abs(y[:-2])) & (np.abs(y[1:-1]) >= np.abs(y[2:]))) + 1
    tall = np.abs(y[tops]) >= 0.4 * np.abs(y[tops]).max()
    kept = tops[: int(np.argmin(tall)) if not tall.all() else len(tops)]
    return float(0.5 * (len(kept) - 1) / (t[kept[-1]] - t[kept[0]]))


@pytest.fixture(scope="module")
def desk_at():
    """The desk machine as it is shipped, detent and all, at a speed: its run, finely recorded, and its ring-downs by leg."""
    found: dict[int, tuple] = {}

    def at(speed: int) -> tuple:
        if speed not in found:
            ready = prepare(shipped("desk-corexy", {"motion.speed_mm_s": speed}))
            trace = run(ready.system, ready.plan, 1e-4)
            downs = {
                (axis, leg.name): ringdown_at(trace, ready.plan, axis, leg.name, leg.end_s)
                for leg in ready.plan.legs
                for axis in "xy"
            }
            found[speed] = (ready, trace, {key: d for key, d in downs.items() if d is not None and d.frequency_hz})
        return found[speed]

    return at


SPEEDS = (130, 140, 150, 160, 170)


@pytest.mark.parametrize("speed", SPEEDS)
def test_on_the_shipped_machine_too_it_is_what_the_first_crests_count(desk_at, speed):
    ready, trace, downs = desk_at(speed)
    checked = 0
    for (name, _), down in downs.items():
        if down.decay.damping_ratio is None or down.decay.damping_ratio >= 0.1 or down.decay.residual >= 0.15:
            continue  # two modes at once have no common crests to count
        axis = "xy".index(name)
        (still,) = (s for s in stand_stills(trace, ready.plan, axis) if s.start_s == down.start_s)
        assert down.frequency_hz == pytest.approx(first_crests_hz(trace, still, axis, down.frequency_hz), rel=0.03)
        checked += 1
    assert checked >= 1


def test_on_the_shipped_machine_it_is_smooth_over_the_speed(desk_at):
    """Leg by leg: which leg rings most changes with the speed, and another leg rings elsewhere and by another amount."""
    compared = 0
    for a, b in pairwise(SPEEDS):
        one, other = desk_at(a)[2], desk_at(b)[2]
        for key in one.keys() & other.keys():
            if max(one[key].decay.residual, other[key].decay.residual) < 0.135:
                assert other[key].frequency_hz == pytest.approx(one[key].frequency_hz, rel=0.03), (key, a, b)
                compared += 1
    assert compared >= 5


def test_peak_and_frequency_come_from_one_leg():
    outcome = simulate_scenario(shipped("desk-corexy"))
    for axis in "xy":
        found = outcome.analysis.ringing[axis]
        (down,) = (r for r in outcome.analysis.ringdowns if r.axis == axis and r.leg.name == found.leg)
        assert (down.peak_m, down.frequency_hz) == (found.peak_m, found.frequency_hz)
        assert down.peak_m == max(r.peak_m for r in outcome.analysis.ringdowns if r.axis == axis)


def test_an_axis_whose_frequency_cannot_be_told_is_not_left_out(made):
    from beltspring.sim.analyse import analyse

    plan = made.plan([(0, 0), (0.06, 0)], settle=0.35)
    slow = made.trace(
        plan,
        deviation_x=lambda t: np.where(t > plan.move_s, 80e-6 * np.cos(2 * np.pi * 4.0 * (t - plan.move_s)), 0.0),
        deviation_y=lambda t: np.where(t > plan.move_s, 5e-6 * np.sin(2 * np.pi * 60.0 * (t - plan.move_s)), 0.0),
    )
    found = analyse(slow, replace(plan))
    assert found.ringing_axis == "x"
    assert found.ripple_spacing_m is None
    assert found.ringing["x"].frequency_hz is None
    assert "X swings " in found.sentences[0]
    assert "cannot be told: too short to tell" in found.sentences[0]
    assert "Y rings at 60 Hz" in found.sentences[0]
