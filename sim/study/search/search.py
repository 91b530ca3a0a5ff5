"""Search: many designs of a space judged, checked and priced; those that none other beats, and what each step buys.

    found = search(load("desk-corexy"), space_of(["belts.part=belt-2mm-6-glass,belt-2mm-9-glass"]), goals_of([], [], False))
    found.front[0].settings, found.front[0].answers["judged_um"]

Results do not depend on how many workers there are, on what a store already holds, or on when anything ended.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...chain.judged import paces_of
from ...errors import ScenarioError
from ...order.prices import Prices
from ...scenario.schema import Scenario
from ..deciding import CLASSES, grouped
from ..designs import Candidate, as_written
from .breeding import generations
from .found import Design, Knobbed, Searched, Sofar, Step
from .front import ranks, unbeaten
from .goals import Goals
from .hands import Hands
from .space import Genes, Space
from .store import Keys, Store, digest, keys_of
from .worker import Answers, Task, answers_of, stops_of

Array = NDArray[np.float64]

TRIES, SEED = 200, 1
MOST_TRIES = 100_000
#: Runs of a design on the way: five speeds.
RUNS_EACH = 5
#: A step of the chosen design that gains so much is asked of `check`.
WORTH_ASKING = 0.02
#: Of a range so many steps either way are tried on the chosen design.
RANGE_STEPS = (1, 4, 16)
#: By how much a design is amiss that cannot be built, cannot be judged, or is stopped; broken limits count by their share.
REFUSED, UNJUDGED, STOPPED = 1e9, 1e6, 1e5


#: called after every few results
Told = Callable[[Sofar], None]


def search(
    scenario: Scenario,
    space: Space,
    goals: Goals,
    prices: Prices | None = None,
    tries: int = TRIES,
    seed: int = SEED,
    store: Store | None = None,
    hands: Hands | None = None,
    long: bool = False,
    told: Told | None = None,
) -> Searched:
    """The designs of a space that no other beats.

    tries: how many may be judged; a space that is no larger is judged whole.  store, hands: None: in memory, in this
    process; both stay the caller's to close.  long: whether a search that takes long is meant.  Raises InputError for what
    cannot be run or judged, RunError where workers die again and again. An interrupt (Ctrl-C) ends it with what is judged.
    """
    if not 1 <= tries <= MOST_TRIES:
        raise ScenarioError([f"--tries {tries}: give 1 to {MOST_TRIES}"])
    first = as_written(scenario)
    assert first.ready is not None
    paces = paces_of(first.ready)
    if paces is None:
        raise ScenarioError(
            [
                f"{scenario.label}: nothing to judge, in this move no axis comes to rest after a corner; search needs a move "
                "with corners or ends, such as --set move.pattern=square"
            ]
        )
    if not long:
        runs = 1 if paces.corners else RUNS_EACH
        first.ready.burden_of(runs * min(tries, space.possible)).refuse("search")
    task = Task(scenario, paces, goals, prices)
    own_store, own_hands = store or Store(), hands or Hands()
    work = _Work(task, space, tries, own_store, own_hands, told)
    complete = False
    steps: tuple[Step, ...] = ()
    try:
        work.judge_all(seed)
        work.judge_front()
        steps = work.steps()
        complete = True
    except KeyboardInterrupt:
        pass
    finally:
        if store is None:
            own_store.close()
    return work.result(first, steps, seed, complete)


@dataclass
class _One:
    """A design while it is worked on."""

    genes: Genes
    settings: dict[str, Any]
    quick: Answers
    thorough: Answers | None = None
    check: Answers | None = field(default=None)

    @property
    def answers(self) -> Answers:
        return self.quick if self.thorough is None else self.thorough

    def amiss(self, goals: Goals) -> float:
        """By how much it breaks what is asked, 0: not at all."""
        said = self.answers
        if said["refused"]:
            return REFUSED
        broken = goals.amiss(said)
        if "judged_um" not in said:
            return UNJUDGED + broken  # by price, time or mass: not simulated
        if said["judged_um"] is None or said["passages"] or said["slack_s"] > 0 or not said["whole"]:
            return UNJUDGED + broken
        if any(said.get(name) is None for name in goals.least):
            return UNJUDGED + broken
        if self.check is not None and (self.check["stops"] or self.check["refused"]):
            return STOPPED + len(self.check["stops"]) + broken
        return broken

    def told(self) -> Design:
        stops = None if self.check is None else tuple(self.check["stops"])
        warns = None if self.check is None else tuple(self.check["warnings"])
        return Design(self.genes, self.settings, self.answers, stops, warns)


class _Work:
    """Designs judged so far, in the order asked; what is finished can be told at any time."""

    def __init__(self, task: Task, space: Space, tries: int, store: Store, hands: Hands, told: Told | None) -> None:
        self.task, self.space, self.store, self.hands = task, space, store, hands
        self.told: Told = told if told is not None else (lambda sofar: None)
        self.keys: Keys = keys_of(task)
        self.of = min(tries, space.possible)
        self.ones: list[_One] = []
        self.rows: dict[str, Answers] = {}
        self.winners: list[_One] = []
        self.sofar: tuple[Design, ...] = ()

    # Asking

    def ask(self, kind: str, wanted: Sequence[Genes], seen: Callable[[int], None] | None = None) -> list[Answers]:
        """Answers of designs, in their order, from the store or from the workers; stored as they come."""
        settings = [self.space.settings(genes) for genes in wanted]
        keys = [self.keys.of(kind, one) for one in settings]
        found: dict[str, Answers] = {key: said for key in keys if (said := self.store.get(key)) is not None}
        missing = [i for i in range(len(keys)) if keys[i] not in found]
        call, extra = {"quick": (answers_of, (False,)), "thorough": (answers_of, (True,)), "check": (stops_of, ())}[
            kind
        ]
        for number, said in self.hands.done(call, [(self.task, settings[i], *extra) for i in missing]):
            key = keys[missing[number]]
            self.store.put(key, said)
            found[key] = self.store.get(key) or said  # as it is read again: the same with and without a store
            if seen is not None:
                seen(len(found))
        for key in keys:
            self.rows[key] = found[key]
        return [found[key] for key in keys]

    def judge_all(self, seed: int) -> None:
        """Every generation, and `check` asked of those that none other beats."""
        for born in generations(self.space, self.of, seed, self.scores):
            here = len(self.ones)
            said = self.ask("quick", born, lambda count, here=here: self.tell(here + count))  # type: ignore[misc]
            self.ones += [_One(g, self.space.settings(g), s) for g, s in zip(born, said, strict=True)]
            self.sofar = tuple(one.told() for one in self.sorted_front(self.settle(0)))
            self.tell(len(self.ones))

    def settle(self, deepest: int) -> list[_One]:
        """The designs of the layers down to `deepest`, after `check` let all of them pass."""
        while True:
            best = self.layer(deepest)
            unasked = [one for one in best if one.check is None]
            if not unasked:
                return best
            for one, said in zip(unasked, self.ask("check", [one.genes for one in unasked]), strict=True):
                one.check = said

    def layer(self, deepest: int) -> list[_One]:
        values, amiss = self.scores()
        good = np.flatnonzero(amiss <= 0)
        if not len(good):
            return []
        found = good[ranks(values[good], amiss[good]) <= deepest]
        return [self.ones[i] for i in found]

    def scores(self) -> tuple[Array, Array]:
        """What is to be least of every design so far, inf where unknown, and by how much each is amiss."""
        goals = self.task.goals
        values = [[_number(one.answers.get(name)) for name in goals.least] for one in self.ones]
        return np.array(values).reshape(len(self.ones), len(goals.least)), np.array(
            [one.amiss(goals) for one in self.ones]
        )

    def judge_front(self) -> None:
        """The best two layers at all speeds; the front is what none of them beats then."""
        while True:
            best = self.settle(1)
            quick = [one for one in best if one.thorough is None]
            if not quick:
                break
            self.tell(len(self.ones), "designs at all speeds")
            for one, said in zip(quick, self.ask("thorough", [one.genes for one in quick]), strict=True):
                one.thorough = said
        self.winners = self.sorted_front([one for one in self.ones if one.thorough is not None])

    def sorted_front(self, some: Sequence[_One]) -> list[_One]:
        goals = self.task.goals
        kept = [one for one in some if one.amiss(goals) <= 0]
        if not kept:
            return []
        values = np.array([[_number(one.answers.get(name)) for name in goals.least] for one in kept])
        return [kept[i] for i in unbeaten(values)]

    # Telling

    def tell(self, judged: int, what: str = "designs") -> None:
        refused = sum(bool(one.quick["refused"]) for one in self.ones)
        self.told(Sofar(judged, self.of, refused, self.sofar, what))

    def steps(self) -> tuple[Step, ...]:
        """Single changes of the first of the front."""
        if not self.winners:
            return ()
        chosen = self.winners[0]
        wanted = [(k, genes) for k, genes in self.space.neighbours(chosen.genes) if self._worth(k, chosen.genes, genes)]
        self.tell(len(self.ones), "single changes")
        said = self.ask("thorough", [genes for _, genes in wanted])
        found = []
        for (k, genes), answers in zip(wanted, said, strict=True):
            if answers["refused"] or answers.get("judged_um") is None:
                continue
            gain = 1.0 - answers["judged_um"] / chosen.answers["judged_um"] if chosen.answers["judged_um"] else None
            stops = None
            if gain is not None and gain >= WORTH_ASKING:
                stops = tuple(self.ask("check", [genes])[0]["stops"])
            prices = (answers.get("price"), chosen.answers.get("price"))
            price = None if prices[0] is None or prices[1] is None else prices[0] - prices[1]
            knob = self.space.knobs[k]
            found.append(Step(knob.key, knob.levels[chosen.genes[k]], knob.levels[genes[k]], gain, price, stops))
        return tuple(sorted(found, key=lambda s: -math.inf if s.gain_share is None else -s.gain_share))

    def _worth(self, k: int, chosen: Genes, genes: Genes) -> bool:
        """Of a range only some steps either way, and its ends."""
        knob = self.space.knobs[k]
        ends = (0, len(knob.levels) - 1)
        return not knob.ranged or abs(genes[k] - chosen[k]) in RANGE_STEPS or genes[k] in ends

    def knobs(self) -> tuple[Knobbed, ...]:
        """Which key decides the ringing, among the designs that were judged."""
        known = [one for one in self.ones if one.quick.get("judged_um")]
        if len(known) < 4:
            return ()
        log = np.log([one.quick["judged_um"] for one in known])
        found = [
            Knobbed(
                knob.key,
                grouped(
                    log,
                    [_class(one.genes[k], len(knob.levels)) for one in known],
                ),
            )
            for k, knob in enumerate(self.space.knobs)
        ]
        return tuple(sorted(found, key=lambda k: -k.share))

    def result(self, first: Candidate, steps: tuple[Step, ...], seed: int, complete: bool) -> Searched:
        """What there is so far."""
        goals = self.task.goals
        front = self.winners or self.sorted_front(self.layer(0))
        reasons: dict[str, int] = {}
        for one in self.ones:
            if one.quick["refused"]:
                reasons[one.quick["refused"]] = reasons.get(one.quick["refused"], 0) + 1
        amiss = [one.amiss(goals) for one in self.ones]
        return Searched(
            first=first, space=self.space, goals=goals, prices=self.task.prices,
            judged=tuple(one.told() for one in self.ones), front=tuple(one.told() for one in front),
            steps=steps, knobs=self.knobs(),
            refused=sum(reasons.values()), broken=sum(0 < a < STOPPED or UNJUDGED <= a < REFUSED for a in amiss),
            stopped=sum(STOPPED <= a < UNJUDGED for a in amiss),
            why=tuple(sorted(reasons.items(), key=lambda item: (-item[1], item[0]))),
            seed=seed, digest=digest(self.rows), deaths=self.hands.deaths, complete=complete,
        )  # fmt: skip


def _number(value: object) -> float:
    return float(value) if isinstance(value, int | float) else math.inf


def _class(gene: int, levels: int) -> int:
    """The class of a level: its own, or one of a few where there are many."""
    return gene if levels <= CLASSES else gene * CLASSES // levels
