"""What a design costs against what it may cost: how much it is over, what is dear, and which cheaper part would do.

Cheaper parts are tried one at a time, priced by their own order list, asked of `check`, and the best savings judged by
their ringing at the speeds of the design as written, as `improve` judges its changes.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ..chain.judged import Judged, paces_of
from ..errors import BeltspringError, InputError
from ..machine.machine import Machine
from ..order.order import Order
from ..order.prices import Prices
from ..parts.catalogue import catalogue
from ..parts.kinds import KINDS
from ..scenario.index import Path, all_keys, dotted
from ..scenario.schema import Scenario
from .designs import Candidate, as_written, candidate, checked, dearer, judging, priced

MOST_DEAR, MOST_JUDGED = 5, 6
#: A part that saves less than this share of the price is not worth a line.
LEAST_SHARE = 0.01
#: Kinds whose other parts are tried: what they are for stays the same.
TRIED = ("belts", "motors", "guides", "frames", "joints", "panels", "feet", "plates", "arms")


@dataclass(frozen=True)
class Dear:
    """One name of the list with what all of it costs."""

    name: str
    words: str
    price: float


@dataclass(frozen=True)
class Cheaper:
    """A part that costs less. key, part: the setting.  saves: in the prices' currency.

    new_stops: rules of `check` that then stop it.  more_share: of the judged ringing as written; None where it was not judged.
    """

    key: str
    part: str
    saves: float
    new_stops: tuple[str, ...]
    more_share: float | None


@dataclass(frozen=True)
class Spent:
    """A budget and what is spent of it. over: beyond the budget, below 0 what is left.  dearest: largest first.

    cheaper: the largest saving first, those that `check` would stop last; () where nothing is over.
    """

    money: float
    price: float
    over: float
    currency: str
    unpriced: tuple[str, ...]
    dearest: tuple[Dear, ...]
    cheaper: tuple[Cheaper, ...]


def spent(scenario: Scenario, machine: Machine, made: Order, prices: Prices | None) -> Spent | None:
    """The answer to [budget]; None where the scenario has none. Raises InputError where there are no prices to hold it to."""
    money = scenario.file.budget.money
    if money is None:
        return None
    if prices is None or made.price is None:
        raise InputError(
            "[budget] money: what the machine costs is not known without prices; add --prices FILE"
            " (`--prices new` writes the form, `--prices example` takes invented ones)"
        )
    over = made.price - money
    found = tuple(_cheaper(scenario, prices, made.price)) if over > 0 else ()
    return Spent(money, made.price, over, made.currency, made.unpriced, dearest(made), found)


def dearest(made: Order) -> tuple[Dear, ...]:
    """The names that cost most, all their lines together."""
    sums: dict[str, float] = {}
    words: dict[str, str] = {}
    for line in made.lines:
        if line.price is not None:
            sums[line.item.name] = sums.get(line.item.name, 0.0) + line.price
            words.setdefault(line.item.name, "all that is printed" if line.item.name == "printed" else line.item.words)
    for bars in made.bars:
        if bars.price is not None:
            sums[bars.name] = sums.get(bars.name, 0.0) + bars.price
            words[bars.name] = "bars"
    order_ = sorted(sums, key=lambda name: -sums[name])
    return tuple(Dear(name, words[name], sums[name]) for name in order_[:MOST_DEAR] if sums[name] > 0)


def _cheaper(scenario: Scenario, prices: Prices, price: float) -> Iterator[Cheaper]:
    """The parts that save most, judged."""
    first = as_written(scenario)
    assert first.ready is not None
    base = priced(first.ready.machine, prices)
    saving: list[tuple[float, str, str, Candidate]] = []
    for key, part in _other_parts(scenario, first.ready.machine):
        one = candidate(scenario, {key: part}, f"{key} = {part}")
        if one.ready is None or not one.stands:
            continue
        less = dearer(priced(one.ready.machine, prices), base)
        if less is not None and -less > LEAST_SHARE * price:
            saving.append((-less, key, part, one))
    saving.sort(key=lambda entry: -entry[0])
    best: dict[str, tuple[float, str, str, Candidate]] = {}
    for entry in saving:
        best.setdefault(entry[1], entry)  # the cheapest of each key, then what else saves
    wanted = [*best.values(), *(e for e in saving if e not in best.values())][:MOST_JUDGED]
    before = set(checked(first).stops)
    paces = paces_of(first.ready)
    verdicts: dict[int, Judged | None] = {}
    for block in judging([first, *(entry[3] for entry in wanted)], paces):
        verdicts |= dict(block)
    now = verdicts.get(0)
    found = []
    for number, (less, key, part, one) in enumerate(wanted, start=1):
        its = verdicts.get(number)
        more = None
        if now is not None and its is not None and now.judged_m and its.judged_m is not None:
            more = its.judged_m / now.judged_m - 1
        try:
            stops = tuple(rule for rule in checked(one).stops if rule not in before)
        except BeltspringError as error:
            stops = (str(error).partition("\n")[0],)
        found.append(Cheaper(key, part, less, stops, more))
    yield from sorted(found, key=lambda c: (bool(c.new_stops), -c.saves))


def _other_parts(scenario: Scenario, machine: Machine) -> Iterator[tuple[str, str]]:
    """(dotted key, part) of every other part that a key in use may name; what is switched off stays so."""
    used = {o.key: o.value for o in machine.design.origins}
    for path, key in all_keys():
        now = used.get(dotted(path))
        if key.names not in TRIED or now is None or now == KINDS[key.names].off or _follows(path, scenario):
            continue
        for name in catalogue().parts[key.names]:
            if name != now:
                yield dotted(path), name


def _follows(path: Path, scenario: Scenario) -> bool:
    """Whether a key only repeats another unless it is written, as the frame's part for its columns."""
    return path[-1] in ("base", "columns", "top", "arms") and path not in scenario.origins
