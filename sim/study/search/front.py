"""Which designs none other beats, and how good a set of them is. All objectives are the smaller the better."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def beats(one: Array, other: Array) -> bool:
    """Whether one is nowhere worse and somewhere better."""
    return bool(np.all(one <= other) and np.any(one < other))


def ranks(values: Array, amiss: Array) -> NDArray[np.int64]:
    """The layer of each design, 0 for those that none other beats. values: (n, k).  amiss: (n,) by how much rules are broken.

    One that keeps the rules beats one that does not; of two that do not, the one that breaks them less (constrained
    domination of Deb et al., IEEE Transactions on Evolutionary Computation 6(2), 2002, 182-197, from memory).
    """
    count = len(values)
    layer = np.full(count, -1, np.int64)
    kept = np.flatnonzero(amiss <= 0)
    mine, depth = values[kept], 0
    less = np.ones((len(kept), len(kept)), bool)
    more = np.zeros((len(kept), len(kept)), bool)
    for column in mine.T:
        less &= column[:, None] <= column[None, :]
        more |= column[:, None] < column[None, :]
    better = (less & more).astype(np.int64)  # one row a design: which ones it beats
    beaten_by, left = better.sum(axis=0), np.ones(len(kept), bool)
    while left.any():
        free = left & (beaten_by == 0)
        layer[kept[free]] = depth
        beaten_by -= better[free].sum(axis=0)
        left, depth = left & ~free, depth + 1
    broken = np.flatnonzero(amiss > 0)
    for step, much in enumerate(np.unique(amiss[broken])):
        layer[broken[amiss[broken] == much]] = depth + step
    return layer


def crowding(values: Array) -> Array:
    """How much room each design of one layer has round it, (n,); inf at the ends of each objective."""
    count, kinds = values.shape
    room = np.zeros(count)
    for k in range(kinds):
        order = np.argsort(values[:, k], kind="stable")
        column = values[order, k]
        span = column[-1] - column[0]
        room[order[0]] = room[order[-1]] = np.inf
        if count > 2 and span > 0:
            room[order[1:-1]] += (column[2:] - column[:-2]) / span
    return room


def unbeaten(values: Array) -> list[int]:
    """Numbers of the designs that none other beats, by the first objective, then the others; of equal ones the first."""
    _, first = np.unique(values, axis=0, return_index=True)
    free = ranks(values[np.sort(first)], np.zeros(len(first))) == 0
    found = np.sort(first)[free]
    return [int(i) for i in sorted(found, key=lambda i: tuple(values[i]))]


def hypervolume(values: Array, reference: Sequence[float]) -> float:
    """The measure of what the designs beat below a reference, by slices of the last objective. values: (n, k)."""
    corner = np.array(reference, float)
    inside = values[(values < corner).all(axis=1)]
    if not len(inside):
        return 0.0
    if values.shape[1] == 1:
        return float(corner[0] - inside[:, 0].min())
    inside = inside[np.argsort(inside[:, -1], kind="stable")]
    heights = [float(h) for h in (*inside[:, -1], corner[-1])]
    total = 0.0
    for i in range(len(inside)):
        if heights[i + 1] > heights[i]:
            total += hypervolume(inside[: i + 1, :-1], list(corner[:-1])) * (heights[i + 1] - heights[i])
    return total
