"""Designs to choose among: settings over one scenario; each judged, checked, priced and weighed in one way.

    first = as_written(scenario)
    tried = [first, candidate(scenario, {"belts.part": "belt-2mm-9-glass"}, "9 mm belts")]
    for block in judging(tried, paces_of(first.ready)):         # a few at a time, so that what is done can be kept
        ...
    checked(tried[1]), priced(tried[1].machine, prices), weighed(tried[1].system)

A design that cannot be built is a candidate too, with the reason: nothing here raises for what a design is.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..chain.batch import BLOCK, Rig, judge, rig_of
from ..chain.chain import Outcome, Prepared, prepare, simulate_prepared
from ..chain.judged import Judged, Paces, judge_outcome, verdict
from ..check.check import Findings, check
from ..errors import BeltspringError, InputError, MachineError
from ..machine.machine import Machine
from ..model.facts import moving_mass
from ..model.modes import Mode, swings_most
from ..model.system import System
from ..order.order import Order, order
from ..order.prices import Prices
from ..scenario.load import with_changes
from ..scenario.schema import Scenario

Array = NDArray[np.float64]
AS_WRITTEN = "as written"


@dataclass(frozen=True, eq=False)
class Candidate:
    """A design to judge. settings: dotted keys over the scenario it began with, in file units.

    refused: why it cannot be built, then `scenario` or what was made of it is None; "" where it can.  remarks: what was
    changed beside what was asked for, such as overrides that a new part drops.
    """

    label: str
    settings: Mapping[str, Any]
    scenario: Scenario | None
    ready: Prepared | None = None
    rig: Rig | None = field(default=None, repr=False)
    refused: str = ""
    remarks: tuple[str, ...] = ()

    @property
    def stands(self) -> bool:
        """Whether it can be built and stands."""
        return self.rig is not None


def as_written(scenario: Scenario, label: str = AS_WRITTEN) -> Candidate:
    """The scenario itself. Raises InputError or RunError where it cannot be built: then there is nothing to begin with."""
    ready = prepare(scenario)
    return Candidate(label, {}, scenario, ready, rig_of(ready))


def candidate(base: Scenario, settings: Mapping[str, Any], label: str, source: str = "--set") -> Candidate:
    """The scenario with settings changed. source: how messages call them.

    Another layout may need a larger frame than the file's, or have no side for one of its sheets: it gets what it needs, and
    `remarks` says so.
    """
    asked, remarks = dict(settings), list[str]()
    for _ in range(MOST_REMEDIES):
        try:
            scenario = with_changes(base, asked, source)
            ready = prepare(scenario)
            told = tuple(n for n in ready.design.notices if n not in base.notices)
            return Candidate(label, asked, scenario, ready, rig_of(ready), "", (*remarks, *told))
        except MachineError as error:
            if "layout" not in settings or not error.remedy:
                return Candidate(label, asked, None, refused=one_line(error))
            remarks.append(f"{_listed(error.remedy)} here, since {one_line(error).partition('; ')[0]}")
            asked |= error.remedy
        except BeltspringError as error:
            return Candidate(label, asked, None, refused=one_line(error))
    return Candidate(label, asked, None, refused=remarks[-1])


#: So many times a design may be given what another layout needs.
MOST_REMEDIES = 8


def _listed(settings: Mapping[str, object]) -> str:
    return ", ".join(f"{key} = {value}" for key, value in settings.items())


def made(scenario: Scenario, label: str, settings: Mapping[str, Any], known: Sequence[str] = ()) -> Candidate:
    """A scenario as a candidate. known: notices that are no news."""
    remarks = tuple(n for n in scenario.notices if n not in known)
    try:
        ready = prepare(scenario)
        return Candidate(label, dict(settings), scenario, ready, rig_of(ready), "", remarks)
    except BeltspringError as error:
        return Candidate(label, dict(settings), scenario, None, None, one_line(error), remarks)


def one_line(error: Exception) -> str:
    """An error's first sentence, on one line."""
    return str(error).partition("\n")[0]


# Judged


def judging(
    tried: Sequence[Candidate], paces: Paces | None, executor: Executor | None = None
) -> Iterator[list[tuple[int, Judged | None]]]:
    """Judged ringing of every candidate that stands, (its number, verdict), a few at a time.

    paces: of the first, see `judged.paces_of`.  executor: see `batch.judge`. A candidate whose motion cannot be followed
    at some pace has no verdict. A move of which only a thinned trace is kept is simulated whole, once each.
    """
    there = [i for i, one in enumerate(tried) if one.stands]
    if paces is None:
        yield [(i, None) for i in there]
        return
    long = any(ready.thinned for i in there if (ready := tried[i].ready) is not None)
    size = 1 if long else BLOCK
    for first in range(0, len(there), size):
        mine = there[first : first + size]
        found = [judge_outcome(run_of(tried[mine[0]]))] if long else _block([tried[i] for i in mine], paces, executor)
        yield list(zip(mine, found, strict=True))


def _block(some: Sequence[Candidate], paces: Paces, executor: Executor | None) -> list[Judged | None]:
    rigs = [one.rig for one in some if one.rig is not None]
    ready = [one.ready for one in some if one.ready is not None]
    try:
        trials = judge(rigs, paces.factors, executor)
    except InputError:
        if len(some) == 1:
            return [None]
        return [_block([one], paces, executor)[0] for one in some]
    return [verdict(ran, one, paces) for ran, one in zip(trials, ready, strict=True)]


def run_of(one: Candidate) -> Outcome:
    """A candidate that stands, carried through the whole chain. Raises RunError."""
    assert one.ready is not None
    return simulate_prepared(one.ready, long=True)


# Checked


@dataclass(frozen=True)
class Checked:
    """What `check` says of a design. stops, warnings: names of rules, each once, a rule that stops not among the warnings."""

    stops: tuple[str, ...]
    warnings: tuple[str, ...]
    findings: Findings

    @property
    def words(self) -> str:
        """ "stop: belt-rub; warn: tension" or "" """
        told = [f"stop: {', '.join(self.stops)}"] if self.stops else []
        told += [f"warn: {', '.join(self.warnings)}"] if self.warnings else []
        return "; ".join(told)


def checked(one: Candidate, outcome: Outcome | None = None) -> Checked:
    """Every rule of `check`, asked of a candidate that stands. outcome: its own move, where it has been simulated."""
    assert one.scenario is not None
    return by_rule(check(one.scenario, run_of(one) if outcome is None else outcome))


def by_rule(findings: Findings) -> Checked:
    """Findings by the names of their rules."""
    named = {
        severity: dict.fromkeys(f.rule for f in findings.findings if f.severity == severity)
        for severity in ("stop", "warn")
    }
    return Checked(tuple(named["stop"]), tuple(r for r in named["warn"] if r not in named["stop"]), findings)


# Priced


@dataclass(frozen=True)
class Priced:
    """What a design's order costs. price: sum of what has a price, None where nothing could be listed.

    unpriced: names without a price.  currency: as the price file has it.  refused: why there is no list.
    """

    price: float | None
    unpriced: tuple[str, ...]
    currency: str
    order: Order | None
    refused: str = ""


def priced(machine: Machine, prices: Prices | None) -> Priced | None:
    """The price of a machine's order list; None without prices."""
    if prices is None:
        return None
    try:
        made = order(machine, prices)
    except InputError as error:
        return Priced(None, (), prices.currency, None, one_line(error))
    return Priced(made.price, made.unpriced, made.currency, made, "")


def dearer(one: Priced | None, base: Priced | None) -> float | None:
    """What one design costs beyond another; None where what differs between their lists has no price."""
    if one is None or base is None or one.price is None or base.price is None:
        return None
    return one.price - base.price if _without_price(one) == _without_price(base) else None


def _without_price(one: Priced) -> list[tuple[object, ...]]:
    lines = () if one.order is None else one.order.lines
    return sorted(
        (line.item.name, line.item.count, round(line.item.length_m or 0.0, 6), round(line.item.mass_kg or 0.0, 6))
        for line in lines
        if line.item.name in one.unpriced
    )


# Weighed


@dataclass(frozen=True)
class Weighed:
    """moving_kg: with the tool in X, Y.  mass_kg: of all bodies.  tones_hz: of the modes that swing the tool most in X and
    in Y, and of the lowest that the frame holds; None where there is none."""

    moving_kg: tuple[float, ...]
    mass_kg: float
    tones_hz: tuple[float | None, float | None, float | None]


def weighed(system: System, modes: Sequence[Mode]) -> Weighed:
    """What a design weighs, and what it rings at. modes: with words, in the middle of the move."""
    total = sum(body.mass_kg for body in system.machine.bodies)
    x, y = tool_tones(system, modes)
    return Weighed(moving_mass(system), total, (x, y, frame_hz(modes)))


def tool_tones(system: System, modes: Sequence[Mode]) -> tuple[float | None, float | None]:
    """Frequency of the mode that swings the tool most in X, and in Y, Hz; None where none does."""
    x, y = (swings_most(system, modes, axis) for axis in (0, 1))
    return x.frequency_hz if x else None, y.frequency_hz if y else None


#: A mode whose springs are the frame's by this share is the frame's.
FRAMES_SHARE = 0.5


def frame_hz(modes: Sequence[Mode]) -> float | None:
    """The lowest mode that the frame holds, Hz; None where it is rigid."""
    for mode in modes:
        if sum(h.share for h in mode.holds if h.what.startswith("the frame")) > FRAMES_SHARE:
            return mode.frequency_hz
    return None
