"""Which design to take, by hand: stopped ones are no choice, what no other beats, and what does not differ at all."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from beltspring.sim.chain.judged import Judged
from beltspring.sim.study.designs import Priced
from beltspring.sim.study.verdict import alike_words, beaten, best_first, best_of, verdict_words


def judged(um: float | None, peaks: tuple[float, ...] = ()) -> Judged:
    m = None if um is None else um * 1e-6
    return Judged(m, m, m, 0.1, (0.1, 0.2), (), 13, np.array(peaks or (um or 0.0,)))


def moving(*seconds: float) -> list[SimpleNamespace]:
    return [SimpleNamespace(plan=SimpleNamespace(move_s=s), trace=SimpleNamespace(stopped_at_s=None)) for s in seconds]


def test_a_design_that_check_stops_is_last_and_never_best() -> None:
    found, stopped = [judged(50), judged(10), judged(30), None], [(), ("belt-rub",), (), ()]
    assert best_first(found, stopped) == (2, 0, 3, 1)
    assert best_of(found, moving(1, 1, 1, 1), stopped) == 2
    assert best_of(found, moving(1, 1, 1, 1)) == 1
    words = verdict_words(["a", "b", "c", "d"], moving(1, 1, 1, 1), found, 2, stopped)
    assert any("b rings less, 10 µm, but `check` stops it (belt-rub)" in w for w in words)


def test_slower_ones_are_told_apart() -> None:
    """One percent longer is as good; 16 % is told."""
    found = [judged(50), judged(40), judged(20)]
    assert best_of(found, moving(1.0, 1.009, 1.16), [(), (), ()]) == 1
    words = verdict_words(["a", "b", "c"], moving(1.0, 1.009, 1.16), found, 1)
    assert words[-1] == "c rings less, 20 µm, but takes 16 % longer."
    # Past the limit by a hair reads so, and not as at it.
    assert verdict_words(["a", "b", "c"], moving(1.0, 1.009, 1.013), found, 1)[-1].endswith("takes 1.3 % longer.")


def test_a_few_percent_make_no_winner() -> None:
    """48 of 50 um is 4 % less: alike; 47 is 6 % less: better."""
    how = "judged over speeds near its own"
    words = verdict_words(["a", "b", "c"], moving(1, 1, 1), [judged(50), judged(48), judged(90)], 1)
    assert words[0] == f"b, 48 µm, and a, 50 µm, ring alike, {how}; the worst 90 µm."
    words = verdict_words(["a", "b"], moving(1, 1), [judged(50), judged(48)], 1)
    assert words[0] == f"b, 48 µm, and a, 50 µm, ring alike, {how}."
    words = verdict_words(["a", "b"], moving(1, 1), [judged(50), judged(47)], 1)
    assert words[0] == "Best, judged over speeds near its own: b, 47 µm (a 50 µm)."


def test_below_a_micrometre_there_is_nothing_to_choose_by() -> None:
    assert verdict_words(["a", "b"], moving(1, 1), [judged(0.95), judged(0.5)], 1) == []
    assert verdict_words(["a", "b"], moving(1, 1), [judged(1.05), judged(0.5)], 1) != []


def test_where_all_are_stopped_there_is_none_to_take() -> None:
    found, stopped = [judged(50), judged(10)], [("reach",), ("belt-rub",)]
    assert best_of(found, moving(1, 1), stopped) is None
    assert verdict_words(["a", "b"], moving(1, 1), found, None, stopped) == [
        "None to take: `check` stops them all (reach, belt-rub)."
    ]


@pytest.mark.parametrize(
    ("prices", "left"),
    [
        (
            (10.0, 20.0, 30.0, 20.0),
            (0, 1, 1, 1),
        ),  # c is dearer and rings more than b; d rings more at b's price
        ((None, None, None, None), (1, 1, 1, 1)),
        ((10.0, None, 5.0, 1.0), (1, 1, 1, 1)),  # one price is not known: none counts
    ],
)
def test_what_no_other_beats(prices, left) -> None:
    costs = [None if p is None else Priced(p, (), "EUR", None) for p in prices]
    found = [judged(50), judged(20), judged(25), judged(21)]
    assert beaten(found, [1.0] * 4, costs, [()] * 4) == left


def test_stopped_ones_beat_nobody_and_are_not_marked() -> None:
    found = [judged(50), judged(20), judged(None)]
    assert beaten(found, [1.0] * 3, [None] * 3, [(), ("reach",), ()]) == (0, None, None)


def test_what_does_nothing_is_said() -> None:
    same, other = judged(50, (1.0, 2.0)), judged(40, (1.0, 3.0))
    told = alike_words(["h6", "h11", "9 mm"], [same, same, other], ["carriage.shaft"])
    assert told == ["h6 and h11 do not differ in a simulated move: see `beltspring check`."]
    assert alike_words(["a", "b"], [same, same], []) == [], "nothing was changed"
