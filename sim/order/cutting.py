"""Cutting pieces from bars that are sold in a few lengths: which bars to buy, and what to cut from each. Exact.

The cutting-stock problem (Gilmore and Gomory, Operations Research 9, 1961) is small here, a machine has few different
pieces, so every way to fill a bar is written out and an integer programme picks among them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from ..errors import InputError

MOST_WAYS = 200_000


@dataclass(frozen=True)
class Bar:
    """One bar and what is cut from it. length_m: as sold.  pieces_m: cut lengths, longest first.  offcut_m: what is left."""

    length_m: float
    pieces_m: tuple[float, ...]
    offcut_m: float


@dataclass(frozen=True)
class Cutting:
    """bars: one entry a bar.  cost: in the price's own unit, or metres bought where there are no prices.  saw_m: width."""

    bars: tuple[Bar, ...]
    cost: float
    saw_m: float

    @property
    def bought_m(self) -> float:
        """Length of all bars, m."""
        return sum(bar.length_m for bar in self.bars)

    @property
    def used_m(self) -> float:
        """Length of all pieces, m."""
        return sum(sum(bar.pieces_m) for bar in self.bars)


def cut(pieces_m: Sequence[float], stock_m: Sequence[float] | Mapping[float, float], saw_m: float = 0.003) -> Cutting:
    """The cheapest bars for all pieces, and among those the fewest.

    pieces_m: one entry a piece, m.  stock_m: lengths sold, or lengths with the price of a bar; without prices the least
    length is bought.  saw_m: width of a cut.  Raises InputError for a piece that no bar holds.
    """
    if not pieces_m:
        return Cutting((), 0.0, saw_m)
    prices = dict(stock_m) if isinstance(stock_m, Mapping) else {length: length for length in stock_m}
    longest = max(prices)
    if max(pieces_m) > longest + 1e-9:
        raise InputError(
            f"a piece of {max(pieces_m) * 1e3:g} mm is longer than the longest bar sold, {longest * 1e3:g} mm; "
            "give a longer one under [stock] in the price file, or join two"
        )
    # Tenths of a millimetre as whole numbers: sums are then exact.
    wanted = Counter(_ticks(p) for p in pieces_m)
    lengths = sorted(wanted, reverse=True)
    demand = [wanted[n] for n in lengths]
    saw = _ticks(saw_m)
    possible = (
        (bar, way)
        for bar in sorted(prices)
        for way in _ways(_ticks(bar) + saw, [n + saw for n in lengths], demand)
        if any(way)
    )
    ways = list(islice(possible, MOST_WAYS + 1))
    if len(ways) > MOST_WAYS:
        raise InputError(
            f"{len(pieces_m)} pieces of {len(lengths)} lengths are too many to cut at once; split the list"
        )
    counts = _fewest(ways, demand, np.array([prices[bar] for bar, _ in ways]))
    bars = []
    left = list(demand)
    for (bar, way), count in sorted(zip(ways, counts, strict=True), key=lambda w: (-w[0][0], w[0][1])):
        for _ in range(count):
            # A way may hold more of a piece than is still wanted: what is not wanted stays in the offcut.
            cut_here = [min(n, k) for n, k in zip(way, left, strict=True)]
            left = [k - n for k, n in zip(left, cut_here, strict=True)]
            cut_ticks = [n for n, k in zip(lengths, cut_here, strict=True) for _ in range(k)]
            rest = max(0, _ticks(bar) - sum(cut_ticks) - saw * len(cut_ticks))
            bars.append(Bar(bar, tuple(n * 1e-4 for n in cut_ticks), rest * 1e-4))
    cost = sum(prices[bar.length_m] for bar in bars)
    return Cutting(tuple(bars), cost, saw_m)


def _ticks(length_m: float) -> int:
    return round(length_m * 1e4)


def _ways(room: int, lengths: list[int], demand: list[int]) -> Iterator[tuple[int, ...]]:
    """Every way to fill a bar that has no room for one more wanted piece."""

    def fill(k: int, left: int, so_far: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
        if k == len(lengths):
            full = all(n == d or left < length for n, d, length in zip(so_far, demand, lengths, strict=True))
            if full:
                yield so_far
            return
        for n in range(min(demand[k], left // lengths[k]), -1, -1):
            yield from fill(k + 1, left - n * lengths[k], (*so_far, n))

    yield from fill(0, room, ())


def _fewest(ways: list[tuple[float, tuple[int, ...]]], demand: list[int], price: np.ndarray) -> list[int]:
    """How often each way is used: least price first, then fewest bars."""
    pieces = np.array([way for _, way in ways], dtype=float).T
    enough = LinearConstraint(pieces, lb=np.array(demand, dtype=float))
    whole = {"integrality": np.ones(len(ways)), "bounds": Bounds(0, np.inf), "options": {"mip_rel_gap": 0.0}}
    first = milp(price, constraints=[enough], **whole)
    if not first.success:
        raise InputError(f"no cutting plan was found: {first.message}")
    dear = LinearConstraint(price[None, :], ub=first.fun + 1e-6 * max(1.0, abs(first.fun)))
    second = milp(np.ones(len(ways)), constraints=[enough, dear], **whole)
    best = second if second.success else first
    return [round(x) for x in best.x]
