"""Limits hold at 99 % and fail at 105 %, by the same command a person would use; the teaching machine's by hand."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from beltspring.sim.chain.chain import simulate_scenario
from beltspring.sim.chain.stand import Criteria
from beltspring.sim.chain.torque import torque_shares
from beltspring.sim.scenario.load import load_scenario, with_changes
from beltspring.sim.study.limits import find_limits
from beltspring.viz.cli import main
from beltspring.viz.pages.limits import answer_percent
from scipy.optimize import brentq

LOUD = Criteria(ringing_m=2e-3)
TEXTBOOK = "detail=simple"


def kept(scenario, criteria=None):
    """What a run of its own says: (ringing m, share of torque, slack s, lost steps) within the criteria or not."""
    wanted = criteria or Criteria()
    outcome = simulate_scenario(scenario)
    ringing = max(r.peak_m for r in outcome.analysis.ringing.values() if r is not None)
    share = max(torque_shares(outcome.trace, outcome.system).values(), default=0.0)
    clean = not outcome.trace.slips and sum(outcome.trace.slack_s.values()) == 0
    return ringing <= wanted.ringing_m and share <= wanted.torque_share and clean


def repeated(scenario, limit, factor):
    """The scenario as a person repeats it: the limit's own settings, and its value times a factor."""
    key = "motion.acceleration_mm_s2" if limit.quantity == "acceleration" else "motion.speed_mm_s"
    return with_changes(scenario, {**limit.settings, key: float(f"{factor * limit.value * 1e3:.6g}")})


@pytest.mark.parametrize(("name", "move"), [("desk-corexy", "own"), ("moving-bed-wheels", "x")])
def test_a_limit_holds_just_below_and_fails_just_above(name, move):
    scenario = load_scenario(name)
    found = [x for x in find_limits(scenario, moves=(move,)).limits if x.value is not None]
    assert found
    for limit in found:
        assert kept(repeated(scenario, limit, 0.99))
        assert not kept(repeated(scenario, limit, 1.05))
        assert limit.below.holds
        assert limit.above.broken[0] == limit.gives_way == "ringing"


def ringing_by_hand(a, speed):
    """Largest swing of the teaching machine after a ramp of v/a at constant acceleration, m.

    A damped mass whose support speeds up: the step response a/w^2 (1 - e^-zwt (cos + z w/wd sin)) from the ramp's start less
    the same from its end (Rao, Mechanical Vibrations, response to a rectangular pulse; from memory).
    """
    w = math.sqrt(18000 * (1 / 0.21 + 1 / 0.79) / 0.45)
    z = 0.05 * w / 500
    wd = w * math.sqrt(1 - z * z)

    def step(t):
        return a / w**2 * (1 - np.exp(-z * w * t) * (np.cos(wd * t) + z * w / wd * np.sin(wd * t)))

    ramp = speed / a
    t = ramp + np.linspace(0.0, 2 * math.pi / wd, 4001)
    return float(np.abs(step(t) - step(t - ramp)).max())


def test_speeds_pass_again_between_the_lobes_of_the_ringing():
    # Ringing comes and goes with speed: after a ramp that lasts a whole number of periods hardly any is left. The edges of
    # what passes are where the residual (Rao, as below) is what is allowed; at 3 m/s2 the lobes are 38 mm/s wide.
    (limit,) = find_limits(load_scenario("spring-mass"), moves=("own",), quantities=("speed",)).limits
    assert limit.value is None
    assert limit.gives_way == "ringing"
    assert "already at 16.67 mm/s it rings more than is allowed" in limit.words
    edges = [v for span in limit.passes_again for v in span]
    assert edges == sorted(edges)
    assert len(edges) >= 4
    for edge in edges[:-1]:
        assert ringing_by_hand(3.0, edge) == pytest.approx(20e-6, rel=2e-3)
    # From the last lobe on it holds, as fast as the travel lets it go.
    assert limit.fails_beyond is None
    assert (
        f"passes again from {1e3 * edges[0]:.4g} to {1e3 * edges[1]:.4g} mm/s and from {1e3 * edges[2]:.4g} mm/s on"
        in limit.words
    )


def test_every_trial_is_what_run_says_to_the_bit():
    # A shaper on "auto" is tuned by the move's own middle, which lies off the middle of the reach here.
    keys = [
        "motion.acceleration_mm_s2=3000",
        'motion.shaper.y={kind = "zero-vibration", frequency_hz = "auto"}',
        TEXTBOOK,
    ]
    scenario = load_scenario("desk-corexy", keys)
    (limit,) = find_limits(scenario, moves=("y",), quantities=("speed",)).limits
    assert len(limit.curve) > 20
    for trial in limit.curve[:: len(limit.curve) // 6]:
        one = with_changes(scenario, {**limit.settings, "motion.speed_mm_s": float(f"{trial.value * 1e3:.6g}")})
        outcome = simulate_scenario(one)
        peaks = [r.peak_m for r in outcome.analysis.ringing.values() if r is not None]
        assert max(peaks) == trial.ringing_m


def test_a_speed_that_fails_everywhere_is_not_what_limits():
    scenario = load_scenario("desk-corexy", [TEXTBOOK, "motion.corner_speed_step_mm_s=60"])
    (limit,) = find_limits(scenario, moves=("own",), quantities=("speed",)).limits
    assert limit.value is None
    assert not any(t.holds for t in limit.curve)
    assert "speed is not what limits you" in limit.words


def test_nothing_below_what_is_safe_fails_and_all_beyond_does():
    scenario = load_scenario("desk-corexy", [TEXTBOOK])
    (limit,) = find_limits(scenario, moves=("x",), quantities=("acceleration",)).limits
    assert all(t.holds for t in limit.curve if t.value <= limit.value)
    for trial in limit.curve:
        if trial.value > limit.value * 1.0011:
            inside = any(low * 0.9999 <= trial.value <= high * 1.0001 for low, high in limit.passes_again)
            assert trial.holds == inside
        if limit.fails_beyond is not None and trial.value > 1.0011 * limit.fails_beyond:
            assert not trial.holds
    # The slope is that of the curve where it gives way.
    low, high = (min(limit.curve, key=lambda t: abs(t.value - f * limit.value)) for f in (0.99, 1.01))
    assert limit.slope == pytest.approx((high.ringing_m - low.ringing_m) / (high.value - low.value), rel=0.3)


def test_a_weak_motor_gives_way_first():
    scenario = load_scenario("desk-corexy", [TEXTBOOK, "motors.current_a=0.6", "belts.pretension_n=25"])
    (limit,) = find_limits(scenario, LOUD, moves=("x",), quantities=("acceleration",)).limits
    assert limit.gives_way == "torque"
    assert kept(repeated(scenario, limit, 0.99), LOUD)
    assert not kept(repeated(scenario, limit, 1.05), LOUD)


def test_thousands_are_parted_by_a_thin_space_as_in_the_pictures():
    (limit,) = find_limits(load_scenario("spring-mass"), moves=("x",), quantities=("acceleration",)).limits
    whole = f"{round(limit.value * 1e3)}"
    assert f"safe up to {whole[:-3]}\u202f{whole[-3:]} mm/s² (nothing from" in limit.words


def test_a_loose_belt_gives_way_first():
    scenario = load_scenario("spring-mass", ["belts.pretension_n=1.5"])
    (limit,) = find_limits(scenario, LOUD, moves=("own",), quantities=("acceleration",)).limits
    assert limit.gives_way == "slack"
    # The short strand, 0.2 of 1 m, carries 4/5 of the push and swings past it: once the ramp has begun its pull lies
    # between 4/5 m a and 4/5 m a (1 + e^-pi zeta), so the belt slackens between these two accelerations.
    gentle, sudden = 1.5 / (0.8 * 0.45), 1.5 / (0.8 * 0.45 * (1 + math.exp(-math.pi * 0.05)))
    assert 0.95 * sudden <= limit.value <= gentle


def test_the_teaching_machine_by_hand():
    """Residual after a ramp, a / w^2 sqrt(1 - 2 e cos wT + e^2) with e = exp(-zeta w T) and T = v / a (Rao; from memory).

    The step of 20 mm ends 10 mm right of the middle: k = 18000 (1/0.21 + 1/0.79), m = 0.45 kg, and the damping is set for
    the middle, zeta = 0.05 x 491 / 500. What the first ramp left has faded to under 1 % when the last one ends.
    """
    k = 18000 * (1 / 0.21 + 1 / 0.79)
    w, speed = math.sqrt(k / 0.45), 0.1
    zeta = 0.05 * w / 500

    def peak(a):
        t = speed / a
        e = math.exp(-zeta * w * t)
        return a / w**2 * math.sqrt(1 - 2 * e * math.cos(w * math.sqrt(1 - zeta**2) * t) + e * e)

    # The first crossing of 20 um from below.
    a = 0.5
    while peak(a) < 20e-6:
        a *= 1.001
    by_hand = brentq(lambda x: peak(x) - 20e-6, a / 1.001, a)
    (limit,) = find_limits(load_scenario("spring-mass"), moves=("own",), quantities=("acceleration",)).limits
    assert limit.gives_way == "ringing"
    assert limit.value == pytest.approx(by_hand, rel=0.02)


def test_no_limit_is_said_in_words():
    scenario = load_scenario("spring-mass")
    (limit,) = find_limits(scenario, LOUD, moves=("own",), quantities=("speed",)).limits
    assert limit.value is None
    assert limit.gives_way == ""
    # 20 mm at 3 m/s2: the triangle's peak is sqrt(a D).
    assert f"{math.sqrt(3.0 * 0.020) * 1e3:.0f} mm/s" in limit.words


def test_what_fails_from_the_start_is_said():
    scenario = load_scenario("desk-corexy", ["belts.pretension_n=0"])
    (limit,) = find_limits(scenario, moves=("x",), quantities=("acceleration",)).limits
    assert limit.value is None
    assert limit.gives_way == "slack"
    assert "already at" in limit.words


def test_ringing_that_corners_alone_make_is_told():
    jumpy = load_scenario("desk-corexy", ["motion.corner_speed_step_mm_s=60", "motion.speed_mm_s=60"])
    (limit,) = find_limits(jumpy, moves=("own",), quantities=("acceleration",)).limits
    assert limit.value is None
    assert limit.gives_way == "ringing"
    assert "corner_speed_step_mm_s" in limit.words


def test_command_with_picture(tmp_path, capsys):
    place = tmp_path / "limits"
    assert main(["limits", "spring-mass", "--move", "own", "--json", "--out", str(place)]) == 0
    said = json.loads(capsys.readouterr().out)
    assert sorted(p.name for p in place.iterdir()) == ["limits.json", "picture.png", "scenario.toml"]
    assert (place / "picture.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    assert json.loads((place / "limits.json").read_text(encoding="utf-8")) == said
    first = said["limits"][0]
    assert first["at_99_percent"]["holds"] is True
    assert first["at_105_percent"]["holds"] is False
    values = [t["value"] for t in first["curve"]]
    assert values == sorted(values)
    assert len(values) > 20
    assert first["safe_up_to"] == first["value"]
    assert all(low < high for limit in said["limits"] for low, high in limit["passes_again"])
    assert first["slope"]["unit"] == "um per mm/s2"
    assert "fails_beyond" in first


@pytest.mark.parametrize(
    "option", [["--ringing-um", "0"], ["--torque-share", "2"], ["--ringing-um", "nan"], ["--move", "z"]]
)
def test_options_out_of_range(option, capsys):
    assert main(["limits", "desk-corexy", *option]) == 2
    assert option[0] in capsys.readouterr().err


def test_the_mark_of_the_answer_lies_on_the_curve():
    found = find_limits(load_scenario("desk-corexy", [TEXTBOOK]), moves=("y",), quantities=("acceleration",))
    (limit,) = found.limits
    at = next(t for t in limit.curve if abs(t.value / limit.value - 1) < 1e-5)
    assert answer_percent(limit, found) == pytest.approx(100 * at.ringing_m / found.criteria.ringing_m)
    assert 50 < answer_percent(limit, found) <= 100
