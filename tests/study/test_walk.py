"""A walk up a limit on a machine written down by hand: where it holds and where it fails is known beforehand."""

from __future__ import annotations

import math
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest
from beltspring.sim.chain.stand import Trial
from beltspring.sim.scenario.motion import MotionLimits
from beltspring.sim.study import walk as walk_module
from beltspring.sim.study.limit_words import Words
from beltspring.sim.study.limits import answer
from beltspring.sim.study.spread_words import _capital
from beltspring.sim.study.walk import Quantity, Walk

OWN = MotionLimits(
    speed_m_s=0.15, acceleration_m_s2=2.0, jerk_m_s3=0.0, corner_speed_step_m_s=0.005, corner_tolerance_m=0.0
)


def walk_of(used: Callable[[float], float], quantity: Quantity = "acceleration", top_speed: float = math.inf) -> Walk:
    """Of a machine that uses such a share of the ringing allowed (20 um) at each value; 5 % of its torque for each unit."""
    walk = Walk.__new__(Walk)

    def try_out(limits: MotionLimits, value: float) -> Trial:
        share = used(min(value, top_speed) if quantity == "speed" else value)
        broken = ("ringing",) if share > 1 else ()
        top = min(limits.speed_m_s, top_speed)
        return Trial(value, 20e-6 * share, 0.05 * value, 5.0, 0.0, 0, 0, top, share, broken)

    walk.bench = SimpleNamespace(limits=OWN, try_out=try_out, judged=lambda limits: None)  # type: ignore[assignment]
    walk.quantity, walk.move, walk.tried, walk.frequency_hz = quantity, "own", {}, 0.0
    return walk


def test_the_highest_safe_value_is_where_the_line_crosses_what_is_allowed() -> None:
    walk = walk_of(lambda a: a / 1.234)
    walk.walk()
    failing = [t for t in walk.trials if not t.holds]
    safe = walk.safe(failing[0])
    assert 1.234 / 1.001 <= safe <= 1.234
    assert walk.at(0.99 * safe).holds
    assert not walk.at(1.05 * safe).holds
    assert walk.passing(safe) == ()
    assert walk.failing_above(safe) <= 1.001 * 1.234
    # It rings 20 um / 1.234 more for each m/s2, whatever two trials are taken.
    assert walk.slope(walk.trials[0], failing[0]) == pytest.approx(20e-6 / 1.234)


def test_what_gives_way_says_which_slope_is_told() -> None:
    walk = walk_of(lambda a: a / 1.5)
    low, high = walk.at(1.0), walk.at(2.0)
    assert walk.slope(low, high) == pytest.approx(20e-6 / 1.5)
    from dataclasses import replace

    assert walk.slope(low, replace(high, broken=("torque", "ringing"))) == pytest.approx(0.05)
    assert walk.slope(low, replace(high, broken=("slack",))) is None
    assert walk.slope(replace(low, ringing_m=None), high) is None


def test_stretches_that_hold_beyond_the_first_failure_are_told_with_their_edges() -> None:
    """It fails from 0.5 to 0.8 and from 1.6 m/s2 on: between them lies the one stretch that passes again."""
    walk = walk_of(lambda a: 1.2 if 0.5 < a < 0.8 or a > 1.6 else 0.5)
    walk.walk()
    failing = [t for t in walk.trials if not t.holds]
    safe = walk.safe(failing[0])
    assert safe == pytest.approx(0.5, rel=1e-3)
    ((low, high),) = walk.passing(safe)
    assert (low, high) == pytest.approx((0.8, 1.6), rel=1e-3)
    assert walk.at(low).holds
    assert walk.at(high).holds


def test_where_the_lowest_fails_what_passes_is_told_from_the_first_that_holds() -> None:
    walk = walk_of(lambda a: 0.5 if 0.3 < a < 0.6 else 1.2)
    for value in (0.1, 0.2, 0.4, 0.5, 0.7):
        walk.at(value)
    ((low, high),) = walk.passing(None)
    assert (low, high) == pytest.approx((0.3, 0.6), rel=1.1e-3)


def test_a_walk_ends_where_nothing_changes_any_more_and_not_before() -> None:
    """Speeds beyond 0.3 m/s are never reached: eight trials on end that change nothing end the walk (our choice)."""
    walk = walk_of(lambda v: 0.2 * v, "speed", top_speed=0.3)
    walk.walk()
    reached = [t for t in walk.trials if t.value <= 0.3]
    idle = [t for t in walk.trials if t.value > 0.3]
    assert len(reached) > 10
    # The torque goes on rising with the value in this machine, so that nothing is idle.
    assert walk.trials[-1].value == pytest.approx(5.0)
    still = walk_of(lambda v: 0.2 * v, "speed", top_speed=0.3)
    plain = still.bench.try_out

    def try_out(limits: MotionLimits, value: float) -> Trial:
        from dataclasses import replace

        return replace(plain(limits, value), torque_share=0.0)

    still.bench = SimpleNamespace(limits=OWN, try_out=try_out)  # type: ignore[assignment]
    still.walk()
    idle = [t for t in still.trials if t.value > 0.3]
    assert len(idle) == 1 + 8


def test_a_crest_between_two_trials_is_looked_at_more_closely() -> None:
    """A narrow crest at 0.92 m/s2 that uses more than is allowed only about its top."""
    walk = walk_of(lambda a: 0.5 + 0.55 * math.exp(-((math.log(a / 0.92) / 0.04) ** 2)))
    walk.walk()
    assert max(t.used for t in walk.trials) > 1.0
    assert [t.value for t in walk.trials] == sorted(t.value for t in walk.trials)


@pytest.mark.parametrize(
    ("quantity", "value", "words"),
    [
        ("acceleration", 0.5, "500 mm/s²"),
        ("acceleration", 12.3456, "12\u202f346 mm/s²"),
        ("speed", 0.12344, "123.4 mm/s"),
        ("speed", 1.5, "1\u202f500 mm/s"),
    ],
)
def test_a_value_is_told_in_the_unit_of_the_file(quantity: Quantity, value: float, words: str) -> None:
    made: Any = Words(walk_of(lambda a: a, quantity))
    assert made.shown(value).replace("\u2009", "\u202f") == words


def test_the_answer_is_the_first_edge_from_below() -> None:
    found = answer(walk_of(lambda a: a / 1.234))
    assert found.value is not None
    assert 1.234 / 1.001 <= found.value <= 1.234
    assert found.gives_way == "ringing"
    assert found.below is not None
    assert found.below.holds
    never = answer(walk_of(lambda a: 1e-3 * a))
    assert (never.value, never.gives_way) == (None, "")
    always = answer(walk_of(lambda a: 2.0))
    assert (always.value, always.gives_way) == (None, "ringing")


def test_a_sentence_begins_with_a_capital_and_loses_no_letter() -> None:
    assert _capital("belt a is the softer") == "Belt a is the softer"
    assert _capital("x") == "X"
    assert _capital("") == ""


def test_a_walk_goes_by_the_faster_axis_of_its_move(monkeypatch: pytest.MonkeyPatch) -> None:
    hertz = [60.0, 40.0]
    monkeypatch.setattr(walk_module, "modes", lambda system: [])
    monkeypatch.setattr(walk_module, "swings_most", lambda system, known, c: SimpleNamespace(frequency_hz=hertz[c]))
    bench: Any = SimpleNamespace(ready=SimpleNamespace(system=None))
    for move, faster in (("own", 60.0), ("x", 60.0), ("y", 40.0)):
        assert Walk(bench, "speed", move).frequency_hz == faster
    hertz.reverse()
    assert Walk(bench, "speed", "own").frequency_hz == 60.0
