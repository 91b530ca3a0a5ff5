"""What a comparison comes to in words: size and certainty apart, and what speaks against the best."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from beltspring.sim import compare, headline, load, prepare, rows_of, run, spread_comparison, with_variant
from beltspring.sim.study.headline import AMOUNTS, amount_words, troubles_of

SIMPLE = ["detail=simple"]


@pytest.fixture(scope="module")
def desk():
    scenario = load("desk-corexy", SIMPLE)
    names = ["as written", "9 mm belt", "steel cord", "gentler"]
    known = [scenario, *(with_variant(scenario, name) for name in names[1:])]
    return compare(names, [run(s) for s in known])


def test_amounts_rise_and_every_ratio_has_one():
    limits = [limit for limit, _, _ in AMOUNTS]
    assert limits == sorted(limits)
    for ratio in np.geomspace(0.01, 40, 60):
        alone, before = amount_words(float(ratio))
        assert alone
        assert before.endswith((" of", " than", " as"))
    assert amount_words(0.5)[0] == "about half"
    assert amount_words(0.75)[0] == "a quarter less"
    assert amount_words(1.0)[0] == "about the same"
    assert amount_words(4.2)[0] == "4 times as much"
    # By hand: a word holds to about the middle of it and the next, as ratios; that a tenth ends at 0.15 is our choice.
    words = {0.05: "hardly any", 0.1: "a tenth of it", 0.145: "a tenth of it", 0.155: "a quarter of it"}
    words |= {
        0.25: "a quarter of it",
        0.33: "a third of it",
        0.67: "a third less",
        1.5: "half more",
        2.0: "twice as much",
    }
    for ratio, alone in words.items():
        assert amount_words(ratio)[0] == alone


def test_the_sentence_names_the_best_and_what_it_is_set_against(desk):
    told = headline(desk)
    label = desk.labels[desk.best]
    assert told.sentence.lower().startswith(label.lower())
    assert "“as written”" in told.sentence
    assert told.certainty == ""


def test_size_and_certainty_stand_apart(desk):
    found = spread_comparison(desk, count=8)
    for row in rows_of(desk, found)[1:]:
        assert "sure" not in row.against
        assert not any(row.against and amount in row.sure for _, amount, _ in AMOUNTS if amount != "about the same")
    for row, both in zip(rows_of(desk, found), found.judged_um, strict=True):
        assert row.spread_m == pytest.approx((1e-6 * both[0], 1e-6 * both[1]))
    told = headline(desk, found)
    assert told.certainty in ("Sure", "Likely", "Not sure", "As good as the same")
    assert f"of {found.pair.of} machines" in told.why or f"over {found.pair.of} machines" in told.why


def test_a_slower_design_that_costs_nothing_is_told_as_free(desk):
    assert any("“gentler” is free and rings less" in but for but in headline(desk).buts)


def test_speeds_at_which_the_other_rings_less_are_told_as_luck(desk):
    best, first = desk.judged[desk.best], desk.judged[0]
    told = " ".join(headline(desk).buts)
    lucky = np.any(first.peaks_m < best.peaks_m)
    assert ("happens to ring less" in told) == bool(lucky)


def test_lost_steps_have_no_verdict(desk):
    scenario = load("desk-corexy", [*SIMPLE, "motors.current_a=0.2", "motion.acceleration_mm_s2=12000"])
    weak = compare(["as written", "weak"], [desk.reports[0], run(scenario)])
    row = rows_of(weak)[1]
    assert row.against == "no verdict"
    assert any("loses" in words for words in row.troubles)


def test_without_a_verdict_it_says_so(desk):
    told = headline(replace(desk, best=None))
    assert told.sentence.startswith("No verdict:")
    assert told.why == ""


@pytest.mark.parametrize(
    ("less", "of", "difference", "words"),
    [(50, 50, 0.3, "sure: 50 of 50"), (0, 0, 0.3, ""), (50, 50, 0.0, "the same"), (20, 50, 0.2, "not sure: 20 of 50")],
)
def test_how_sure_a_row_is_beside_the_first(less, of, difference, words):
    """By hand: in so many of so many machines it rings less, at every one of five speeds by half."""
    from types import SimpleNamespace

    from beltspring.sim.chain.judged import Judged
    from beltspring.sim.study.headline import _sure_beside_first
    from beltspring.sim.study.spread import Pair

    def judged(um):
        m = 1e-6 * um
        return Judged(m, m, m, 0.1, (0.1, 0.2), (), 5, np.full(5, m))

    calm = SimpleNamespace(trace=SimpleNamespace(stopped_at_s=None, slips=[], slack_s={}))
    comparison = SimpleNamespace(judged=(judged(60), judged(30)), reports=(calm, calm))
    spreading = SimpleNamespace(pairs=(Pair(less, 0, of, difference),), spreads=(None, None))
    assert _sure_beside_first(comparison, spreading, 1) == words
    assert _sure_beside_first(comparison, spreading, 0) == ""
    assert _sure_beside_first(comparison, None, 1) == ""


def by_hand(*judged_um):
    """A comparison of designs of which no more is known than what they are judged at, um."""
    from types import SimpleNamespace

    from beltspring.sim.chain.judged import Judged

    def judged(um):
        m = None if um is None else 1e-6 * um
        return Judged(m, m, m, 0.1, (0.1, 0.2), (), 5, np.zeros(5))

    calm = SimpleNamespace(trace=SimpleNamespace(stopped_at_s=None, slips=[], slack_s={}))
    labels = tuple("abcdef"[: len(judged_um)])
    found = tuple(None if um == "none" else judged(um) for um in judged_um)
    return SimpleNamespace(judged=found, reports=(calm,) * len(found), labels=labels)


def test_a_row_is_set_against_the_first():
    from beltspring.sim.study.headline import _against

    found = by_hand(60, 30, 80, None, "none")
    assert [_against(found, i) for i in range(5)] == [
        "the one to beat", "about half", "a third more", "no verdict", "no verdict",
    ]  # fmt: skip
    for nothing in ("none", 0, None):
        assert _against(by_hand(nothing, 30), 1) == ""


def test_the_sentence_sets_the_best_beside_the_other_as_a_ratio():
    from beltspring.sim.study.headline import _sentence

    assert _sentence(by_hand(60, 30), 1, 0) == "B: about half the ringing of “a”, judged 30 µm against 60 µm."
    assert _sentence(by_hand(60, 59), 1, 0) == "B and “a” ring alike, judged 59 µm against 60 µm."
    assert _sentence(by_hand(0.9, 0.3), 1, 0) == "None of them rings by a micrometre."
    assert _sentence(by_hand("none", 30), 1, 0) == "B rings least."


def test_an_axis_that_does_not_swing_has_nothing_to_fade() -> None:
    """Its step goes along X alone: what the row tells is how long X rings, as the run does."""
    report = run(prepare(load("spring-mass")))
    (row,) = rows_of(compare(["as written"], [report], None))
    found = report.analysis.ringing
    assert found["y"] is None or not found["y"].frequency_hz
    assert row.fades_s == found["x"].fades_to_5_percent_s > 0


def test_a_long_slack_is_told_in_plain_digits() -> None:
    trace = SimpleNamespace(stopped_at_s=None, slips=[], slack_s={"a": 0.11, "b": 0.0})
    assert troubles_of(trace) == ("belt A slack for 110 ms",)
