"""A search: its front by brute force, nothing lost with workers that die, one digest whoever did the work."""

from __future__ import annotations

import os
import signal
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from beltspring.sim.chain.chain import prepare
from beltspring.sim.chain.judged import judge_ringing, paces_of
from beltspring.sim.check.check import check
from beltspring.sim.errors import InputError
from beltspring.sim.order.order import order
from beltspring.sim.order.prices import load_prices
from beltspring.sim.scenario.load import with_changes
from beltspring.sim.study.search import hands as hands_module
from beltspring.sim.study.search import store as store_module
from beltspring.sim.study.search.found import Searched
from beltspring.sim.study.search.front import beats
from beltspring.sim.study.search.goals import goals_of
from beltspring.sim.study.search.hands import Hands
from beltspring.sim.study.search.search import search
from beltspring.sim.study.search.space import space_of
from beltspring.sim.study.search.store import Store
from beltspring.sim.study.search.words import search_sentences

from tests.support import textbook

SPACE = space_of(
    [
        "belts.part=belt-2mm-6-glass,belt-2mm-9-glass,belt-2mm-6-steel",
        "frame.part=slot-2020,slot-2040",
        "belts.pretension_n=2,15",
    ]
)
GOALS = goals_of(["judged_um", "price"], ["price<320"], priced=True)


def searched(**more: object) -> Searched:
    return search(textbook("desk-corexy"), SPACE, GOALS, load_prices("example"), **more)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def whole() -> Searched:
    return searched()


def test_the_front_is_that_of_every_design_by_itself(whole: Searched) -> None:
    here, prices = textbook("desk-corexy"), load_prices("example")
    paces = paces_of(prepare(here))
    kept = {}
    for genes in SPACE.every():
        scenario = with_changes(here, SPACE.settings(genes))
        ready = prepare(scenario)
        (judged,) = judge_ringing([ready], paces)
        price = order(ready.machine, prices).price
        findings = check(scenario).findings
        if judged is None or judged.judged_m is None or price is None or price >= 320:
            continue
        if any(f.severity == "stop" for f in findings):
            continue
        kept[genes] = (1e6 * judged.judged_m, price)
    front = {g for g in kept if not any(beats(np.array(kept[o]), np.array(kept[g])) for o in kept)}
    assert {one.genes for one in whole.front} == front
    assert len(whole.judged) == SPACE.possible == 12
    for one in whole.front:
        assert (one.answer("judged_um"), one.answer("price")) == pytest.approx(kept[one.genes], rel=1e-12)
    told = [one.answer("judged_um") or 0.0 for one in whole.front]
    assert told == sorted(told), "the first goal decides the order"


def test_designs_that_hardly_differ_are_told_as_one_choice(whole: Searched) -> None:
    # By hand: 40.5 is 1.2 % from 40, 50 is no tie, 50.9 is 1.8 % from 50; 40.9 is 2.2 % from 40 and too far, though near 40.5.
    names = ("judged_um", "price")
    values = [(40.0, 300.0), (40.5, 299.0), (40.9, 298.0), (50.0, 200.0), (50.9, 199.0), (60.0, 199.0)]
    front = tuple(replace(whole.judged[0], answers=dict(zip(names, both, strict=True))) for both in values)
    found = replace(whole, front=front)
    assert found.as_good_as == (None, 0, None, None, 3, None)
    assert "Of 6 that none beats 2 are as good as another within 2 %" in "\n".join(search_sentences(found))


def test_what_breaks_a_rule_is_counted_and_not_simulated(whole: Searched) -> None:
    dear = [one for one in whole.judged if (one.answer("price") or 0.0) >= 320]
    assert dear
    assert all("judged_um" not in one.answers for one in dear)
    assert whole.broken >= len(dear)
    assert whole.chosen is not None
    assert f"{whole.possible} designs are possible, all of them judged" in search_sentences(whole)[0]


def test_single_changes_of_the_first(whole: Searched) -> None:
    assert whole.chosen is not None
    for step in whole.steps:
        assert step.before == whole.chosen.settings[step.key] != step.after
    gains = [step.gain_share for step in whole.steps]
    assert gains == sorted(gains, key=lambda g: -(g or 0.0))


def test_the_belts_decide_and_what_is_idle_does_not(whole: Searched) -> None:
    assert whole.knobs[0].key == "belts.part"
    shares = [knob.share for knob in whole.knobs]
    assert shares == sorted(shares, reverse=True)
    assert sum(shares) <= 1.2


def test_a_store_goes_on_where_it_was_to_the_same_digest(whole: Searched, tmp_path: Path) -> None:
    place = tmp_path / "search.db"

    def stop_after(sofar) -> None:
        if sofar.judged >= 5:
            raise KeyboardInterrupt

    with Store(place) as store:
        cut = searched(store=store, told=stop_after)
    assert not cut.complete
    assert search_sentences(cut)[-1] == "Ended early: the same search with the same --store goes on where it was."
    assert not any("Ended early" in said for said in search_sentences(whole))
    assert cut.digest != whole.digest
    with Store(place) as store, Hands(2) as hands:
        again = searched(store=store, hands=hands)
    assert again.complete
    assert again.digest == whole.digest
    with Store(place) as store:
        asked: list[int] = []
        third = searched(store=store, told=lambda sofar: asked.append(sofar.judged))
        assert third.digest == whole.digest
        assert len(asked) <= 4, "everything was there: only the ends of generations are told"


def test_a_worker_that_dies_takes_nothing_with_it(whole: Searched) -> None:
    with Hands(2, processes=True) as hands:
        killed: list[int] = []

        def kill_one(sofar) -> None:
            if sofar.judged >= 4 and not killed:
                victim = next(iter(hands._executor._processes))
                killed.append(victim)
                os.kill(victim, signal.SIGKILL)

        found = searched(hands=hands, told=kill_one)
    assert killed
    assert found.deaths >= 1
    assert found.digest == whole.digest


def test_a_cluster_of_two_with_one_killed_in_the_middle(whole: Searched) -> None:
    distributed = pytest.importorskip("distributed", reason="needs dask.distributed: pip install 'beltspring[cluster]'")
    assert distributed
    with Hands(cluster="local:2") as hands:
        killed: list[int] = []

        def kill_one(sofar) -> None:
            if sofar.judged >= 4 and not killed:
                victim = next(iter(hands._own.workers.values())).process.process.pid
                killed.append(victim)
                os.kill(victim, signal.SIGKILL)

        found = searched(hands=hands, told=kill_one)
    assert killed
    assert found.digest == whole.digest


def test_a_task_that_kills_every_worker_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hands_module, "MOST_DEATHS", 1)
    with Hands(1) as hands:
        hands._executor.shutdown()
        hands.workers = 1
        monkeypatch.setattr(hands, "_made", lambda: _Dying())
        hands._executor = _Dying()
        with pytest.raises(Exception, match="workers die again and again"):
            list(hands.done(len, [((),)]))


class _Dying(hands_module.Inline):
    def submit(self, fn, /, *args, **kwargs):
        future = hands_module.Future()
        future.set_exception(hands_module.BrokenProcessPool("gone"))
        return future


def test_what_is_no_store_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    other = tmp_path / "notes.txt"
    other.write_text("shopping list " * 100)
    with pytest.raises(InputError, match=r"notes\.txt is no store of this program's searches"):
        Store(other)
    assert other.read_text().startswith("shopping"), "left as it was"
    with pytest.raises(InputError, match="is a folder"):
        Store(tmp_path)
    gone = Store(tmp_path / "gone.db")
    gone.close()
    for work in (lambda: gone.put("a", {"b": 1}), lambda: gone.get("a")):
        with pytest.raises(InputError, match=r"gone\.db"):
            work()
    place = tmp_path / "a.db"
    monkeypatch.setattr(store_module, "LOCKED_S", 0.1)
    with Store(place), pytest.raises(InputError, match="belongs to a search that is running"):
        Store(place)
