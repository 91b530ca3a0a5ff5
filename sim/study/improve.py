"""What to change about a design, best first: one thing at a time, then the best two and three together.

Every change is judged by its ringing at the speeds of the design as written, asked of `check`, priced and weighed. A change
that `check` stops where it did not before is never among the best; it is told apart, with the rules that stop it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace
from itertools import combinations

from ..chain.judged import Judged, Paces, paces_of
from ..errors import BeltspringError, ScenarioError
from ..order.prices import Prices
from ..scenario.schema import Scenario
from .designs import Candidate, Checked, Priced, as_written, candidate, checked, dearer, judging, priced
from .draws import DRAWS, SEED
from .improve_change import Change, Settings
from .improve_changes import changes
from .improve_masses import with_masses
from .spread import Pair, paired, spreads, sureness

#: So many are told; so many of the best are tried together, two and three at a time.
MOST_TOLD, MOST_TOGETHER = 10, 4
#: A change that gains less is not worth a line.
LEAST_GAIN = 0.02
#: called with what is being done, how many are done, and of how many.
Told = Callable[[str, int, int], None]


@dataclass(frozen=True, eq=False)
class Improved:
    """One change, or several together, and what came of it.

    settings: dotted keys in file units, those that follow with them.  judged: its verdict.  gain_share: of the judged ringing
    as written that it takes away; None where that is not known.  price: beyond the design as written, None without
    prices, where what differs has none, and where no order list shows it.  mass_kg: heavier in all.  longer_share: its move.
    stops: rules that stop it, `new_stops` those that did not stop the design as written, `ended` those that no longer do.
    new_warnings: rules that warn of it and did not before.
    remarks: what it drops.  pair, sure: against the design as written, machine by machine; None without draws.
    """

    settings: Settings
    words: str
    judged: Judged
    gain_share: float | None
    price: float | None
    mass_kg: float
    longer_share: float
    stops: tuple[str, ...]
    new_stops: tuple[str, ...]
    ended: tuple[str, ...]
    new_warnings: tuple[str, ...]
    remarks: tuple[str, ...]
    tried: Candidate = field(repr=False)
    pair: Pair | None = None
    sure: str | None = None

    @property
    def judged_m(self) -> float:
        """Its judged ringing, m."""
        assert self.judged.judged_m is not None
        return self.judged.judged_m


@dataclass(frozen=True, eq=False)
class Improvement:
    """What to change about a design. changes: of the machine, best first.  together: the best two, the best three.

    motion: of speed, acceleration and shapers, which cost no part but time or round corners.  stopped: what would gain and
    `check` would stop.  tried: how many changes were judged, of `possible`.  refused: those that cannot be built, and why.
    complete: False where it was interrupted.  draws, seed: None where nobody asked how sure.
    """

    first: Candidate
    judged: Judged
    checked: Checked
    priced: Priced | None
    changes: tuple[Improved, ...]
    together: tuple[Improved, ...]
    motion: tuple[Improved, ...]
    stopped: tuple[Improved, ...]
    refused: tuple[tuple[str, str], ...]
    tried: int
    possible: int
    complete: bool
    draws: int | None = None
    seed: int | None = None


def improve(
    scenario: Scenario,
    prices: Prices | None = None,
    draws: int | None = None,
    seed: int = SEED,
    long: bool = False,
    told: Told | None = None,
    executor: Executor | None = None,
) -> Improvement:
    """The changes that make a design ring less. draws: how many machines say how sure each of the best is; None: not asked.

    long: whether a program that takes long is meant.  Raises InputError for what cannot be run, or has no ringing to judge.
    An interrupt (Ctrl-C) ends it with what is judged, checked and priced so far, once the design as written is.
    """
    work = _Work(scenario, prices, long, told, executor)
    complete = False
    together: list[Improved] = []
    try:
        work.try_all()
        together = list(work.together())
        complete = True
    except KeyboardInterrupt:
        pass
    found = work.result(together, complete)
    if draws is None or not complete:
        return found
    try:
        return _made_sure(found, draws, seed, long, told, executor)
    except KeyboardInterrupt:
        return replace(found, complete=False)


class _Work:
    """Changes of one design, tried one after the other; what is finished can be told at any time."""

    def __init__(
        self, scenario: Scenario, prices: Prices | None, long: bool, told: Told | None, executor: Executor | None
    ) -> None:
        self.scenario, self.prices, self.executor = scenario, prices, executor
        self.told: Told = told if told is not None else (lambda what, done, whole: None)
        self.first = as_written(scenario)
        assert self.first.ready is not None
        ready = self.first.ready
        self.possible = changes(scenario, ready.machine)
        self.told("the design as written", 0, len(self.possible))
        self.paces = paces_of(ready)
        if not long:
            each = 1 + (0 if self.paces is None else len(self.paces.factors))
            ready.burden_of(each * (1 + len(self.possible))).refuse("improve")
        self.judged = self._judged_first(self.paces)
        self.checked = checked(self.first)
        self.priced = priced(ready.machine, prices)
        self.good: list[tuple[Change, Improved]] = []
        self.bad: list[Improved] = []
        self.refused: list[tuple[str, str]] = []
        self.tried = 0

    def _judged_first(self, paces: Paces | None) -> Judged:
        ((_, found),) = next(judging([self.first], paces, self.executor))
        if found is None:
            raise ScenarioError(
                [
                    f"{self.scenario.label}: nothing to judge, in this move no axis comes to rest after a corner; improve needs "
                    "a move with corners or ends, such as --set move.pattern=square"
                ]
            )
        return found

    def try_all(self) -> None:
        """Every single change, the promising ones checked as soon as they are judged."""
        for change, one in self._built(self.possible):
            for _, found in next(judging([one], self.paces, self.executor), []):
                self._weigh(change, one, found)
            self.tried += 1
            self.told(change.words, self.tried, len(self.possible))

    def _built(self, wanted: Sequence[Change]) -> Iterator[tuple[Change, Candidate]]:
        """Candidates that stand, the masses that follow from their parts with them."""
        assert self.first.ready is not None
        for change in wanted:
            one = candidate(self.scenario, change.settings, change.words)
            if one.ready is not None:
                try:
                    more = with_masses(self.scenario, self.first.ready.machine, one.ready.machine)
                except BeltspringError:
                    more = {}
                more = {key: value for key, value in more.items() if key not in change.settings}
                if more:
                    one = candidate(self.scenario, {**change.settings, **more}, change.words)
            if one.stands:
                yield change, one
            else:
                self.refused.append((change.words, one.refused))

    def _gain(self, judged: Judged | None) -> float | None:
        """Share of the ringing as written that is gone; None where either is not known."""
        if judged is None or judged.judged_m is None or not self.judged.judged_m:
            return None
        return 1.0 - judged.judged_m / self.judged.judged_m

    def _weigh(self, change: Change, one: Candidate, judged: Judged | None) -> None:
        """Ask `check` of a change, price and weigh it, where it gains as much as the best do."""
        found = self.improved(change, one, judged)
        if found is None:
            return
        if found.new_stops:
            self.bad.append(found)
        else:
            self.good.append((change, found))

    def improved(
        self, change: Change, one: Candidate, judged: Judged | None, among_best: bool = True
    ) -> Improved | None:
        """A change that gains enough, asked of `check`; None for others. among_best: only if it is among the best so far."""
        gain, before = self._gain(judged), self.checked.stops
        if judged is None or judged.judged_m is None:
            return None
        little = gain is not None and gain < LEAST_GAIN
        kept = sorted(found.judged_m for other, found in self.good if other.kind == change.kind)
        beaten = among_best and len(kept) >= MOST_TOLD and judged.judged_m >= kept[MOST_TOLD - 1]
        if (little or beaten) and not before:
            return None
        assert one.ready is not None
        assert self.first.ready is not None
        asked = checked(one)
        if little and len(asked.stops) >= len(before):
            return None  # of a design that is stopped, what ends a stop is worth a line whatever it gains
        stops, known = asked.stops, {*before, *self.checked.warnings}
        masses = [sum(b.mass_kg for b in r.machine.bodies) for r in (one.ready, self.first.ready)]
        return Improved(
            dict(one.settings), change.words, judged, gain,
            dearer(priced(one.ready.machine, self.prices), self.priced) if change.listed else None,
            masses[0] - masses[1],
            one.ready.plan.move_s / self.first.ready.plan.move_s - 1.0,
            stops, tuple(s for s in stops if s not in before), tuple(s for s in before if s not in stops),
            tuple(w for w in asked.warnings if w not in known), one.remarks, one,
        )  # fmt: skip

    def best(self, kind: str) -> list[tuple[Change, Improved]]:
        """The best changes of a kind, best first; what a rule still stops after those that none does."""
        mine = [g for g in self.good if g[0].kind == kind]
        return sorted(mine, key=lambda g: (bool(g[1].stops), g[1].judged_m))[:MOST_TOLD]

    def together(self) -> Iterator[Improved]:
        """The best two and the best three of the best changes of the machine that `check` lets pass."""
        families: dict[str, Change] = {}
        for change, _ in self.best("machine"):
            families.setdefault(change.family, change)
        best = list(families.values())[:MOST_TOGETHER]
        for count in (2, 3):
            built = list(self._built([_joined(some) for some in combinations(best, count)]))
            tried = [one for _, one in built]
            verdicts = [v for block in judging(tried, self.paces, self.executor) for _, v in block]
            known = [(v.judged_m, i) for i, v in enumerate(verdicts) if v is not None and v.judged_m is not None]
            self.told(f"{count} together", self.tried, len(self.possible))
            for _, i in sorted(known):
                found = self.improved(*built[i], verdicts[i], among_best=False)
                if found is not None and not found.new_stops:
                    yield found
                    break

    def result(self, together: Sequence[Improved], complete: bool) -> Improvement:
        """What there is so far."""
        return Improvement(
            self.first, self.judged, self.checked, self.priced,
            tuple(found for _, found in self.best("machine")), tuple(together),
            tuple(found for _, found in self.best("motion")),
            tuple(sorted(self.bad, key=lambda found: found.judged_m)[:MOST_TOLD]),
            tuple(self.refused), self.tried, len(self.possible), complete,
        )  # fmt: skip


def _joined(some: Sequence[Change]) -> Change:
    """Several changes of unlike families as one."""
    settings = {key: value for change in some for key, value in change.settings.items()}
    words = " + ".join(c.words for c in some)
    return Change(settings, words, " + ".join(c.family for c in some), listed=all(c.listed for c in some))


def _made_sure(
    found: Improvement, draws: int, seed: int, long: bool, told: Told | None, executor: Executor | None
) -> Improvement:
    """The best changes and those together as the machines they may turn out to be, each against the design as written."""
    wanted = [*found.changes, *found.together, *found.motion]
    scenarios = [s for one in (found.first, *(w.tried for w in wanted)) if (s := one.scenario) is not None]

    def tell(done: int, whole: int) -> None:
        if told is not None:
            told("machines", done, whole)

    first, *others = spreads(scenarios, draws, seed, executor, tell, long, "improve")
    sure = []
    for one, spread in zip(wanted, others, strict=True):
        pair = paired(spread, first)
        sure.append(replace(one, pair=pair, sure=sureness(pair, one.judged.peaks_m, found.judged.peaks_m)))
    a, b = len(found.changes), len(found.changes) + len(found.together)
    return replace(
        found, changes=tuple(sure[:a]), together=tuple(sure[a:b]), motion=tuple(sure[b:]), draws=draws, seed=seed
    )


DEFAULT_DRAWS = DRAWS
