"""Limits hold at 99 % and fail at 105 %, by the same command a person would use; the teaching machine's by hand."""

from __future__ import annotations

import itertools
import json
import math

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


def test_speeds_that_ring_below_the_answer_are_named():
    # Ringing comes and goes with speed: after a ramp that lasts a whole number of periods hardly any is left.
    # The detent, which also rings at 5 mm/s, is off.
    scenario = load_scenario("desk-corexy", ["motion.acceleration_mm_s2=2346", "motors.detent_nm=0"])
    (limit,) = find_limits(scenario, moves=("y",), quantities=("speed",)).limits
    assert limit.value is not None
    tried = [t for t in limit.curve if limit.value / 3 * 0.999 <= t.value < limit.value]
    gaps = [b.value / a.value for a, b in itertools.pairwise(sorted(tried, key=lambda t: t.value))]
    assert max(gaps) <= 1.0501
    failing = [t for t in tried if not t.holds]
    assert failing
    assert "lower ones fail too, at about " in limit.words
    for trial in failing:
        # By the command a person would use, each trial again: it does fail.
        one = with_changes(scenario, {**limit.settings, "motion.speed_mm_s": float(f"{trial.value * 1e3:.6g}")})
        assert not kept(one)
    # The answer itself is a point of the curve, with others close by on both sides.
    assert min(abs(t.value / limit.value - 1) for t in limit.curve) < 1e-5
    assert sum(abs(t.value / limit.value - 1) < 0.04 for t in limit.curve) >= 6


def test_a_weak_motor_gives_way_first():
    scenario = load_scenario("desk-corexy", [TEXTBOOK, "motors.current_a=0.3", "belts.pretension_n=25"])
    (limit,) = find_limits(scenario, LOUD, moves=("x",), quantities=("acceleration",)).limits
    assert limit.gives_way == "torque"
    assert kept(repeated(scenario, limit, 0.99), LOUD)
    assert not kept(repeated(scenario, limit, 1.05), LOUD)


def test_thousands_are_parted_by_a_thin_space_as_in_the_pictures():
    (limit,) = find_limits(load_scenario("desk-corexy", [TEXTBOOK]), moves=("x",), quantities=("acceleration",)).limits
    whole = f"{round(limit.value * 1e3)}"
    assert f"up to {whole[:-3]}\u202f{whole[-3:]} mm/s², then" in limit.words


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


@pytest.mark.parametrize(
    "option", [["--ringing-um", "0"], ["--torque-share", "2"], ["--ringing-um", "nan"], ["--move", "z"]]
)
def test_options_out_of_range(option, capsys):
    assert main(["limits", "desk-corexy", *option]) == 2
    assert option[0] in capsys.readouterr().err


def test_the_mark_of_the_answer_lies_on_the_curve():
    scenario = load_scenario("desk-corexy", ["motion.acceleration_mm_s2=2346", "motors.detent_nm=0"])
    found = find_limits(scenario, moves=("y",), quantities=("speed",))
    (limit,) = found.limits
    at = next(t for t in limit.curve if abs(t.value / limit.value - 1) < 1e-5)
    assert answer_percent(limit, found) == pytest.approx(100 * at.ringing_m / found.criteria.ringing_m)
    assert 50 < answer_percent(limit, found) <= 100
