"""What a thinned trace keeps, on runs made by hand: a stand-still rings as it is told to, and rows stand 10 ms apart."""

from __future__ import annotations

import signal
from collections.abc import Callable
from dataclasses import fields, replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from beltspring.sim.chain.chain import prepare
from beltspring.sim.simulate import keep as keeping
from beltspring.sim.simulate.interrupt import RAISES, Interruptible, Wish, raises_interrupt
from beltspring.sim.simulate.keep import KeepAll, KeepThinned
from beltspring.sim.simulate.wheels import WheelWatch, deflections
from beltspring.sim.trace import Rows, StretchExtremes

from tests.support import model_of, shipped

STEP_S = 0.010
#: Of each stretch: from when to when, s, whether X stands still, and where the tool is in X at a time, m.
Stretch = tuple[float, float, bool, Callable[[np.ndarray], np.ndarray]]


def rows_at(t: np.ndarray, x: np.ndarray) -> Rows:
    blank: dict[str, Any] = {f.name: np.zeros((len(t), 3)) for f in fields(Rows)}
    tool = np.zeros((len(t), 3))
    tool[:, 0] = x
    return Rows(**blank | {"t_s": t, "tool": tool})


def kept(stretches: list[Stretch], **options: Any) -> tuple[Rows, list[StretchExtremes]]:
    keeper = KeepThinned(cast(Any, None), ("off_x", "tool_x", "tool_y"), **options)
    for t0, t1, resting, where in stretches:
        # A row belongs to the stretch it begins, the end of one to the next.
        t = np.arange(round(t0 / STEP_S), round(t1 / STEP_S)) * STEP_S
        fine = np.linspace(t0, t1, 400)
        low, high = np.array([0.0, where(fine).min(), 0.0]), np.array([0.0, where(fine).max(), 0.0])
        extremes = StretchExtremes(t0, t1, (resting, False, resting), low, high, np.zeros(0))
        keeper.add(rows_at(t, where(t)), extremes, cast(Any, None))
    rows, found = keeper.done()
    return Rows.join(rows), found


def still(
    at: float, low: float = 0.0, high: float = 0.0, from_s: float = 0.0, for_s: float = 0.1
) -> Callable[[np.ndarray], np.ndarray]:
    """A tool that comes to rest at a place, after a swing to either side for a while."""
    return lambda t: at + np.where(t < from_s + for_s, np.where(t < from_s + for_s / 2, high, -low), 0.0)


def moving(t: np.ndarray) -> np.ndarray:
    return 0.01 * np.sin(t)


def steps(rows: Rows) -> list[int]:
    return np.rint(rows.t_s / STEP_S).astype(int).tolist()


@pytest.fixture
def one_only(monkeypatch):
    monkeypatch.setattr(keeping, "MOST_RINGDOWNS", 1)


def whole(t0: float, t1: float, every: int, end: float) -> list[int]:
    """Numbers of rows: all from t0 to t1, s, and every so many-th of the others."""
    return [k for k in range(round(end / STEP_S)) if k % every == 0 or t0 <= k * STEP_S < t1]


def test_of_two_the_one_is_kept_that_goes_farther_from_where_it_comes_to_rest(one_only):
    """Not the one that swings wider: 1.0 mm to one side is more than 0.7 mm to both. And wherever they stand."""
    for place in (0.05, -0.3):
        run: list[Stretch] = [
            (0.0, 2.0, False, moving), (2.0, 4.0, True, still(place, 0.0, 1.0e-3, 2.0)), (4.0, 6.0, False, moving),
            (6.0, 8.0, True, still(0.15, 0.7e-3, 0.7e-3, 6.0)), (8.0, 10.0, False, moving),
        ]  # fmt: skip
        rows, extremes = kept(run, most_rows=260)
        assert steps(rows) == whole(2.0, 4.0, 4, 10.0)
        # What is not looked at closely is put together, its extremes too, and stands for no stand-still any more.
        assert [(e.t0, e.t1, any(e.resting)) for e in extremes] == [
            (0.0, 2.0, False),
            (2.0, 4.0, True),
            (4.0, 10.0, False),
        ]
        assert extremes[-1].low[1] == pytest.approx(moving(np.linspace(4.0, 6.0, 400)).min())
        assert extremes[-1].high[1] == pytest.approx(0.15 + 0.7e-3)


def test_the_other_way_round_too(one_only):
    run: list[Stretch] = [
        (0.0, 2.0, True, still(0.15, 0.7e-3, 0.7e-3, 0.0)), (2.0, 4.0, False, moving),
        (4.0, 6.0, True, still(0.05, 1.0e-3, 0.0, 4.0)), (6.0, 10.0, False, moving),
    ]  # fmt: skip
    assert steps(kept(run, most_rows=260)[0]) == whole(4.0, 6.0, 4, 10.0)


def test_one_that_lasts_to_the_end_of_the_run_is_ranked_by_its_peak_too(one_only):
    run: list[Stretch] = [
        (0.0, 2.0, True, still(0.05, 0.0, 1.0e-3, 0.0)), (2.0, 4.0, False, moving),
        (4.0, 6.0, True, still(0.15, 0.7e-3, 0.7e-3, 4.0)),
    ]  # fmt: skip
    assert steps(kept(run, most_rows=160)[0]) == whole(0.0, 2.0, 4, 6.0)


def test_the_largest_is_kept_however_often_rows_are_settled(one_only, monkeypatch):
    """Each stretch is settled by itself, so that every peak is worked out long before the end."""
    monkeypatch.setattr(keeping, "MOST_WAITING", 0)
    run: list[Stretch] = [
        (0.0, 2.0, True, still(0.05, 0.0, 1.0e-3, 0.0)), (2.0, 4.0, False, moving),
        (4.0, 6.0, True, still(0.15, 0.4e-3, 0.4e-3, 4.0)), (6.0, 8.0, False, moving),
        (8.0, 10.0, True, still(0.15, 0.1e-3, 0.7e-3, 8.0)), (10.0, 16.0, False, moving),
    ]  # fmt: skip
    rows, _ = kept(run, most_rows=410)
    assert steps(rows) == whole(0.0, 2.0, 4, 16.0)


def test_a_stand_still_over_several_stretches_is_one(one_only):
    """30 ms in three pieces are long enough to look at; 1 mm in 10 ms by itself is not."""
    run: list[Stretch] = [
        (0.0, 1.0, False, moving), (1.0, 1.01, True, still(0.0, 1e-4, 1e-4, 1.0, 0.006)), (1.01, 1.02, True, still(0.0)),
        (1.02, 1.03, True, still(0.0)), (1.03, 2.0, False, moving), (2.0, 2.01, True, still(0.0, 1e-3, 1e-3, 2.0, 0.006)),
        (2.01, 4.0, False, moving),
    ]  # fmt: skip
    _, extremes = kept(run, most_rows=101)
    assert [e.t0 for e in extremes if any(e.resting)] == pytest.approx([1.0, 1.01, 1.02])


@pytest.mark.parametrize(("length_s", "looked_at"), [(0.019, False), (0.021, True)])
def test_a_stand_still_counts_from_twenty_milliseconds_on(one_only, length_s, looked_at):
    """It rings more than the other, which is long enough in any case."""
    run: list[Stretch] = [
        (0.0, 1.0, False, moving), (1.0, 1.0 + length_s, True, still(0.0, 1e-3, 1e-3, 1.0, 0.006)),
        (1.0 + length_s, 2.0, False, moving), (2.0, 3.0, True, still(0.0, 1e-5, 1e-5, 2.0)), (3.0, 4.0, False, moving),
    ]  # fmt: skip
    _, extremes = kept(run, most_rows=201)
    assert [e.t0 for e in extremes if any(e.resting)] == [1.0 if looked_at else 2.0]


def test_a_long_stand_still_is_whole_for_five_seconds():
    run: list[Stretch] = [(0.0, 2.0, False, moving), (2.0, 9.0, True, still(0.0, 1e-4, 1e-4, 2.0))]
    assert steps(kept(run, most_rows=225)[0]) == whole(2.0, 7.0 + STEP_S / 2, 4, 9.0)


def test_a_stand_still_that_goes_on_where_rows_are_settled_is_kept_until_it_is_over(one_only, monkeypatch):
    """It has not rung yet, so that another ranks before it; what comes of it is more."""
    monkeypatch.setattr(keeping, "MOST_WAITING", 550)
    run: list[Stretch] = [
        (0.0, 2.0, True, still(0.0, 1e-4, 1e-4, 0.0)), (2.0, 4.0, False, moving), (4.0, 6.0, True, still(0.0)),
        (6.0, 8.0, True, still(0.0, 5e-4, 5e-4, 6.0)), (8.0, 16.0, False, moving),
    ]  # fmt: skip
    rows, extremes = kept(run, most_rows=410)
    assert steps(rows) == whole(4.0, 8.0, 4, 16.0)
    assert [e.t0 for e in extremes if any(e.resting)] == [4.0, 6.0]


def test_of_many_stand_stills_the_eight_that_ring_most_are_kept():
    """In each axis; analysis looks at fewer."""
    run: list[Stretch] = []
    for i in range(11):
        t, swing = 2.0 * i, 1e-4 * (1 + i * 4 % 11)
        run += [(t, t + 1, True, still(0.0, swing, 0.0, t)), (t + 1, t + 2, False, moving)]
    kept_at = [e.t0 for e in kept(run, most_rows=101)[1] if any(e.resting)]
    assert kept_at == [2.0 * i for i in range(11) if i * 4 % 11 >= 3]


def test_a_long_stand_still_that_others_outdo_is_thinned_after_all(one_only, monkeypatch):
    monkeypatch.setattr(keeping, "MOST_WAITING", 0)
    run: list[Stretch] = [
        (0.0, 7.0, True, still(0.0, 1e-4, 1e-4, 0.0)), (7.0, 7.3, False, moving),
        (7.3, 7.8, True, still(0.0, 1e-3, 1e-3, 7.3)), (7.8, 8.0, False, moving),
    ]  # fmt: skip
    assert steps(kept(run, most_rows=400)[0]) == whole(7.3, 7.8, 2, 8.0)


def test_all_is_kept_where_nothing_is_thinned():
    keeper = KeepAll()
    rows = [rows_at(np.arange(3.0), np.zeros(3)), rows_at(np.arange(3.0, 5.0), np.zeros(2))]
    ends = [
        StretchExtremes(0.0, 3.0, (True,) * 3, np.zeros(1), np.zeros(1)),
        StretchExtremes(3.0, 5.0, (True,) * 3, *np.zeros((2, 1))),
    ]
    for some, end in zip(rows, ends, strict=True):
        keeper.add(some, end, cast(Any, None))
    assert keeper.done() == (rows, ends)
    assert not keeper.thinned


def test_rows_of_a_run_that_does_not_stop_are_evenly_spread_to_its_end(monkeypatch):
    """However often it is settled, and without one row twice."""
    monkeypatch.setattr(keeping, "MOST_WAITING", 333)
    run: list[Stretch] = [(float(t), t + 1.0, False, moving) for t in range(40)]
    rows, extremes = kept(run, most_rows=300)
    assert steps(rows) == list(range(0, 4000, 16))
    assert (extremes[0].t0, extremes[-1].t1) == (0.0, 40.0)
    assert [e.t1 for e in extremes[:-1]] == [e.t0 for e in extremes[1:]]
    assert min(e.low[1] for e in extremes) == pytest.approx(-0.01, rel=1e-4)


@pytest.mark.parametrize(("duration_s", "thinned"), [(200.0, False), (200.0005, True)])
def test_of_more_than_200_000_rows_a_thinned_trace_is_kept(duration_s, thinned):
    """As the words beside the key `keep` say; a row stands for each millisecond here."""
    ready = prepare(shipped("spring-mass", {"record.step_ms": 1}))
    plan = cast(Any, SimpleNamespace(legs=(), duration_s=duration_s))
    assert replace(ready, plan=plan).thinned is thinned


def test_who_answers_ctrl_c_by_raising_says_so():
    def quiet(number: int, frame: object) -> None: ...

    def loud(number: int, frame: object) -> None: ...

    setattr(loud, RAISES, True)
    assert raises_interrupt(signal.default_int_handler)
    assert raises_interrupt(loud)
    assert not raises_interrupt(quiet)
    assert not raises_interrupt(signal.SIG_IGN)


def test_a_wish_is_one_only_once_it_is_told_and_until_it_is_taken_back():
    wish = Wish()
    assert not wish.is_set()
    wish.set()
    assert wish.is_set()
    wish.clear()
    assert not wish.is_set()
    stop = Interruptible()
    stop.stop = True
    assert stop.asked.is_set()
    stop.stop = False
    assert not stop.stop


def test_wheels_are_watched_by_what_the_guide_bends_beside_its_slide():
    """Against the guide's own deflection, at one place; a wheel off its profile is told once, at its worst."""
    system = model_of(shipped("desk-corexy-slot", {"detail": "full", "carriage.guide": "wheels"}))
    watch = WheelWatch(system)
    ((body, joint),) = watch.guides
    assert body.name == "carriage"
    assert body.guide is not None
    q = system.rest(system.middle + 0.03) + np.random.default_rng(2).normal(size=(5, system.n)) * 1e-4
    found = deflections(joint, q)
    for d, own in zip(found, q, strict=True):
        assert d == pytest.approx(joint.deflection(own)[0], abs=1e-15)
    assert watch.notes() == []
    for t, some in enumerate((q[:1] * 0.0, q, q[:2])):
        rows = rows_at(float(t) + 0.1 * np.arange(len(some)), np.zeros(len(some)))
        rows.q = some
        watch(rows)
    load, t = watch.worst[0]
    assert 1.0 <= t < 2.0
    assert load > body.guide.preload_n
    (note,) = watch.notes()
    assert note.startswith(f"carriage: a wheel is unloaded by {load:.0f} N at {t:.3f} s")


def test_rows_nobody_needs_any_more_are_joined_without_being_there_twice():
    parts = [rows_at(np.array([0.0, 1.0]), np.array([5.0, 6.0])), rows_at(np.array([2.0]), np.array([7.0]))]
    wanted, one = Rows.join(parts), parts[1]
    found = Rows.joined(parts)
    for f in fields(Rows):
        assert np.array_equal(getattr(found, f.name), getattr(wanted, f.name)), f.name
        assert not getattr(one, f.name).size
    assert parts == []


def test_what_was_handed_in_stays_whole():
    """Whoever else was handed the same rows goes on reading them."""
    t = np.arange(100) * STEP_S
    handed = rows_at(t, still(0.0, 1e-4, 1e-4)(t))
    keeper = KeepThinned(cast(Any, None), ("off_x", "tool_x", "tool_y"), most_rows=30)
    seen = np.array([0.0, -1e-4, 0.0]), np.array([0.0, 1e-4, 0.0])
    keeper.add(handed, StretchExtremes(0.0, 1.0, (True, False, False), *seen, np.zeros(0)), cast(Any, None))
    (kept_rows,), _ = keeper.done()
    assert len(kept_rows) == len(handed) == 100
    assert handed.tool.shape == (100, 3)
