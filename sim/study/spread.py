"""How far the answers spread because numbers are uncertain: designs judged as the machines they may turn out to be.

Every machine of a design is built with numbers drawn within their bands (draws.py) and runs the motion of the design as
written, at the judged speeds: a shaper tuned on paper stays as it was tuned. Designs are compared machine by machine.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..chain.batch import Rig, Sample, Trials, judge, rig_of
from ..chain.chain import Prepared, prepare
from ..chain.judged import Judged, Paces, paces_of, verdict
from ..chain.motion import middle_of
from ..errors import BeltspringError
from ..machine.build import build_machine, uncertain_numbers
from ..model.build import build_model
from ..model.modes import bare_modes
from ..parts.design import Uncertain
from ..scenario.schema import Scenario
from .deciding import first_order, how_to_measure, plain_name, told_shares
from .designs import tool_tones
from .draws import DRAWS, SEED, Draws, sobol_draws
from .spread_words import spread_sentences

Array = NDArray[np.float64]
Told = Callable[[int, int], None]

LOW, HIGH = 10.0, 90.0  # percentiles told: 8 of 10 machines
#: Two machines this close, by their ratio, do the same.
SAME = 1e-6
ANSWERS = ("judged_um", "x_hz", "y_hz", "least_tension_n")


@dataclass(frozen=True)
class Answer:
    """An answer over all machines: 10th, 50th and 90th percentile. values: (draws,), nan where a machine gives none."""

    low: float
    middle: float
    high: float
    values: Array


@dataclass(frozen=True)
class Share:
    """What share of the judged ringing's variance one uncertain thing has. key, keys: of its number.  measure: how to."""

    key: str
    keys: tuple[str, ...]
    share: float
    name: str
    measure: str


@dataclass(frozen=True)
class Spread:
    """One design as the machines it may turn out to be.

    answers: by name of ANSWERS, those that there are.  shares: the largest first.  slipping: machines in which a motor
    falls out of step at the design's own speed.  failed: machines that cannot be built or do not stand.
    """

    draws: int
    seed: int
    answers: dict[str, Answer]
    shares: tuple[Share, ...]
    slipping: int
    failed: int
    uncertain: int

    @property
    def sentences(self) -> list[str]:
        """How far it spreads, what decides that, and which number to measure first, and how."""
        return spread_sentences(self)

    @property
    def judged(self) -> Array:
        """Judged ringing of each machine, (draws,) um, nan where there is none."""
        found = self.answers.get("judged_um")
        return found.values if found is not None else np.full(self.draws, np.nan)


@dataclass(frozen=True)
class Pair:
    """Two designs machine by machine: in how many the one rings less than the other, and in how many the same.

    of: machines of which both are known.  difference: median of (other - one) / other.
    """

    less: int
    same: int
    of: int
    difference: float


def spread(
    scenario: Scenario, count: int = DRAWS, seed: int = SEED, told: Told | None = None, long: bool = False
) -> Spread:
    """How far one design's answers spread because its numbers are uncertain. See `spreads`."""
    return spreads([scenario], count, seed, told=told, long=long)[0]


def spreads(
    scenarios: Sequence[Scenario],
    count: int = DRAWS,
    seed: int = SEED,
    executor: Executor | None = None,
    told: Told | None = None,
    long: bool = False,
    command: str = "spread",
) -> list[Spread]:
    """Each design as the same machines, all at the first one's shares of their speed.

    executor: where runs are done, see `batch.judge`.  told: called with runs done and runs in all, now and then.
    long: whether a job of more than ten minutes is meant.  command: the one that is asked for, for a message.
    Raises InputError for a design that cannot be run as written.
    """
    ready = [prepare(s) for s in scenarios]
    numbers = [uncertain_numbers(one.machine) for one in ready]
    draws = sobol_draws(numbers, count, seed)
    paces = paces_of(ready[0])
    if paces is not None and not long:
        ready[0].burden_of(len(ready) * count * len(paces.factors)).refuse(command)
    steps = len(ready) * (len(paces.factors) if paces else 1)
    out = []
    for k, (one, mine) in enumerate(zip(ready, numbers, strict=True)):
        machines = _machines(one, draws, mine, paces)
        trials: list[Trials | None] = [None] * count
        if paces is not None:
            runs = len(paces.factors)

            def tell(done: int, before: int = k * runs) -> None:
                if told is not None:
                    told(before + done, steps)

            trials = _trials(machines, paces, executor, tell)
        out.append(_gathered(one, mine, draws, machines, trials, paces))
    return out


@dataclass(frozen=True)
class _Machine:
    """What is kept of a machine: enough to run the motion of its design, and the tool's tones in X and Y, Hz."""

    rig: Rig
    tones: tuple[float | None, float | None]


def _machines(
    ready: Prepared, draws: Draws, numbers: Sequence[Uncertain], paces: Paces | None
) -> list[_Machine | None]:
    """Every machine of a design; None where it cannot be built, or does not stand."""
    out: list[_Machine | None] = []
    middle, alone = middle_of(ready.plan, ready.machine), paces is not None
    for index in range(draws.count):
        out.append(_machine(ready, draws, numbers, index, middle))
        if alone and paces is not None and (first := out[-1]) is not None:
            # One run alone first: its kernel is loaded or compiled by one thread, not by several at once; and before there
            # are machines, or what stays of it lies between them, and the memory they took cannot be given back.
            judge([first.rig], paces.factors[:1], lanes=True)
            alone = False
    return out


def _machine(ready: Prepared, draws: Draws, numbers: Sequence[Uncertain], index: int, middle: Array) -> _Machine | None:
    try:
        machine = build_machine(ready.scenario, draws.machine(numbers, index))
        built = Prepared(ready.scenario, machine, build_model(machine), ready.plan, ready.motion)
        rig, tones = rig_of(built), tool_tones(built.system, bare_modes(built.system, middle))
        # Runs ask the model alone: the design's own machine stands in the place of what this one was built from.
        return _Machine(replace(rig, system=replace(rig.system, machine=ready.machine)), tones)
    except BeltspringError:
        return None


def _trials(
    machines: Sequence[_Machine | None],
    paces: Paces,
    executor: Executor | None,
    tell: Callable[[int], None],
) -> list[Trials | None]:
    """Every machine at every pace, pace by pace: its plan is made once for all of them."""
    rigs = [m.rig for m in machines if m is not None]
    columns: list[list[Sample]] = []
    for done, pace in enumerate(paces.factors):
        columns.append([t.samples[0] for t in judge(rigs, [pace], executor, lanes=True)])
        tell(done + 1)
    factors = np.array(paces.factors)
    rows = iter([Trials(factors, tuple(column[i] for column in columns)) for i in range(len(rigs))])
    return [None if m is None else next(rows) for m in machines]


def _gathered(
    ready: Prepared,
    numbers: Sequence[Uncertain],
    draws: Draws,
    machines: Sequence[_Machine | None],
    trials: Sequence[Trials | None],
    paces: Paces | None,
) -> Spread:
    found: dict[str, Array] = {name: np.full(draws.count, np.nan) for name in ANSWERS}
    slipping = 0
    for i, (one, ran) in enumerate(zip(machines, trials, strict=True)):
        if one is None:
            continue
        found["x_hz"][i], found["y_hz"][i] = (np.nan if hz is None else hz for hz in one.tones)
        if ran is None or paces is None:
            continue
        said: Judged | None = verdict(ran, ready, paces)
        if said is not None and said.judged_m is not None:
            found["judged_um"][i] = said.judged_m * 1e6
        own = int(np.argmin(np.abs(np.array(paces.factors) - 1.0)))
        tension = ran.samples[own].least_tension_n
        found["least_tension_n"][i] = tension if np.isfinite(tension) else np.nan
        slipping += int(ran.passages[own] > 0)
    answers = {name: _answer(values) for name, values in found.items() if np.isfinite(values).any()}
    shares = _shares(numbers, draws, found["judged_um"])
    failed = sum(m is None for m in machines)
    return Spread(draws.count, draws.seed, answers, shares, slipping, failed, len(numbers))


def _answer(values: Array) -> Answer:
    low, middle, high = (float(v) for v in np.nanpercentile(values, [LOW, 50.0, HIGH]))
    return Answer(low, middle, high, values)


def _shares(numbers: Sequence[Uncertain], draws: Draws, judged_um: Array) -> tuple[Share, ...]:
    """What decides the logarithm of the judged ringing, the largest share first; what chance alone may show is left out."""
    things: dict[tuple[str, ...], list[Uncertain]] = {}
    for number in numbers:
        things.setdefault(number.draw, []).append(number)
    if not things:
        return ()
    columns = draws.shares[:, [draws.columns.index(draw) for draw in things]]
    with np.errstate(divide="ignore", invalid="ignore"):
        log = np.where(judged_um > 0, np.log(judged_um), np.nan)
    found = []
    told = told_shares(first_order(columns, log), draws.count)
    for share, together in zip(told, things.values(), strict=True):
        first = together[0]
        if share > 0:
            keys = tuple(dict.fromkeys(key for n in together for key in n.keys))
            found.append(Share(first.key, keys, float(share), plain_name(first), how_to_measure(first)))
    return tuple(sorted(found, key=lambda s: -s.share))


def paired(one: Spread, other: Spread) -> Pair:
    """How one design's judged ringing stands to another's, machine by machine."""
    a, b = one.judged, other.judged
    known = np.isfinite(a) & np.isfinite(b)
    a, b = a[known], b[known]
    if not len(a):
        return Pair(0, 0, 0, 0.0)
    top = np.maximum(np.maximum(a, b), 1e-300)
    same = np.abs(a - b) <= SAME * top
    return Pair(
        int(((a < b) & ~same).sum()), int(same.sum()), len(a), float(np.median((b - a) / np.maximum(b, 1e-300)))
    )


#: Shares of paired machines, and of judged speeds, from which a verdict is sure or likely; and below which it is a tie.
SURE, LIKELY, SPEEDS, TIE = 19 / 20, 3 / 4, 2 / 3, 0.10


def sureness(pair: Pair, best_m: Array, other_m: Array) -> str | None:
    """How sure it is that one design rings less than another: "yes" | "likely" | "no" | "same"; None without machines.

    best_m, other_m: (k,) peaks of both as written at the judged speeds, nan where left out; none where corners are judged.
    """
    if not pair.of:
        return None
    if abs(pair.difference) < TIE:
        return "same"
    share = pair.less / pair.of
    both = np.isfinite(best_m) & np.isfinite(other_m) if best_m.shape == other_m.shape else np.zeros(0, bool)
    speeds = float(np.mean(best_m[both] < other_m[both])) if both.any() else 0.0
    if share >= SURE and speeds >= SPEEDS:
        return "yes"
    return "likely" if share >= LIKELY else "no"
