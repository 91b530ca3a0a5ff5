"""`order`: the list of what to buy with bars, masses and prices, and the sums."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ..check.item import Item
from ..machine.machine import Machine
from .cutting import Cutting, cut
from .names import known_names
from .prices import EXTRA_USUAL, SAW_M, Prices, load_prices, misspelt
from .shopping import items

#: Bars as shops usually sell them, m (common practice, no source); a price file's own lengths replace these.
USUAL_BARS_M = (1.0, 2.0, 3.0)
LONG_BAR_M = 6.0
CAUTIONS = (
    "Cutting and drilling aluminium: clamp the work, wear eye protection, deburr the edges, no gloves near rotating tools.",
    "Hardened rods and rails are cut with an abrasive disc, with eye and breathing protection; sparks burn.",
    "Wiring a bed that is fed from the mains is for a licensed or competent person after the local code.",
)


@dataclass(frozen=True)
class Line:
    """An item with its price: of all its pieces, None where the price file has none; bars are priced by the bar."""

    item: Item
    price: float | None
    in_bars: bool


@dataclass(frozen=True)
class Bars:
    """The bars of one kind: what they are called, how to cut them, their price (None without), and their offcut's mass."""

    name: str
    cutting: Cutting
    price: float | None


@dataclass(frozen=True)
class Order:
    """lines: every item.  bars: what is cut from bars.  total_kg: of all items whose mass is known.

    price: sum of what has a price, None without a price file.  unpriced: names that have none.  currency: "" without.
    """

    title: str
    lines: tuple[Line, ...]
    bars: tuple[Bars, ...]
    total_kg: float
    printed_kg: float
    price: float | None
    unpriced: tuple[str, ...]
    currency: str
    invented: bool
    notices: tuple[str, ...]
    cautions: tuple[str, ...]


def order(machine: Machine, prices: Prices | str | Path | None = None) -> Order:
    """The order list of a machine. prices: a price file is read. Raises InputError for a piece longer than any bar."""
    if isinstance(prices, str | Path):
        prices = load_prices(prices)
    wanted = items(machine)
    bars = _bars(wanted, prices)
    lines = (*(_line(item, prices) for item in wanted), *_extras(prices))
    names = list(dict.fromkeys(item.name for item in wanted))
    total = unpriced = None
    if prices is not None:
        known = [line.price for line in lines if line.price is not None] + [
            b.price for b in bars if b.price is not None
        ]
        total = sum(known)
        barred = {b.name: b.price for b in bars}
        unpriced = [
            n
            for n in names
            if (barred[n] is None if n in barred else any(x.price is None for x in lines if x.item.name == n))
        ]
    return Order(
        title=machine.title,
        lines=lines,
        bars=bars,
        total_kg=sum(item.mass_kg or 0.0 for item in wanted),
        printed_kg=sum(item.mass_kg or 0.0 for item in wanted if item.name == "printed"),
        price=total,
        unpriced=tuple(unpriced or ()),
        currency="" if prices is None else prices.currency,
        invented=prices is not None and prices.invented,
        notices=(*_not_there(prices), *(misspelt(prices, names, known_names()) if prices is not None else ())),
        cautions=CAUTIONS if machine.design.bed.heater == "mains" else CAUTIONS[:2],
    )


def _extras(prices: Prices | None) -> list[Line]:
    """What the price file adds to the list."""
    extra = {} if prices is None else prices.extra
    note = "from [extra]; not modelled"
    return [Line(Item("extra", n, n, count, note=note), price * count, False) for n, (price, count) in extra.items()]


def _not_there(prices: Prices | None) -> list[str]:
    """What the list does not have, in a sentence."""
    have = " ".join([] if prices is None else prices.extra).lower()
    left = [name for name in EXTRA_USUAL if name.rstrip("s") not in have]
    if not left:
        return []
    named = left[0] if len(left) == 1 else f"{', '.join(left[:-1])} and {left[-1]}"
    return [f"{named} {'is' if len(left) == 1 else 'are'} not on this list; a price file's [extra] adds them"]


def _bars(wanted: Sequence[Item], prices: Prices | None) -> tuple[Bars, ...]:
    pieces: dict[str, list[float]] = {}
    for item in wanted:
        if item.cut_from == "bar" and item.length_m is not None:
            pieces.setdefault(item.name, []).extend([item.length_m] * item.count)
    saw = SAW_M if prices is None else prices.saw_m
    out = []
    for name, lengths in pieces.items():
        sold = None if prices is None else prices.stock.get(name)
        if sold is not None:
            plan = cut(lengths, sold, saw)
            out.append(Bars(name, plan, plan.cost))
            continue
        usual = USUAL_BARS_M if max(lengths) <= USUAL_BARS_M[-1] else (*USUAL_BARS_M, LONG_BAR_M)
        plan = cut(lengths, usual, saw)
        per_m = None if prices is None else prices.per_m.get(name)
        out.append(Bars(name, plan, None if per_m is None else per_m * plan.bought_m))
    return tuple(out)


def _line(item: Item, prices: Prices | None) -> Line:
    if item.cut_from == "bar":
        return Line(item, None, True)
    if prices is None:
        return Line(item, None, False)
    if item.name in prices.each:
        return Line(item, prices.each[item.name] * item.count, False)
    if item.length_m is not None and item.name in prices.per_m:
        return Line(item, prices.per_m[item.name] * item.length_m * item.count, False)
    if item.mass_kg is not None and item.name in prices.per_kg:
        return Line(item, prices.per_kg[item.name] * item.mass_kg, False)
    return Line(item, None, False)
