"""How far a number may be from where the search ended: walked, where slopes alone would say too little.

A number that is known badly may have a valley of its own: as good a long way off, or a cliff nearby. So each such number is
turned both ways, all others sought anew as slopes learned on the way tell them (the profile of the likelihood; any text on
nonlinear least squares, Bates and Watts 1988 for one, from memory), until what is left has grown by that of two sigma.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .descend import learned, step_within

Array = NDArray[np.float64]

SIGMAS = 2.0
#: Half the sum of squares grows by this much at two sigma.
GROWN = 0.5 * SIGMAS**2
#: The others are sought anew until no more than this is to be gained, at most so often; a number is moved so many times.
LITTLE, SOUGHT, MOVED = 0.1, 7, 8
#: Turns known better than this are as straight as they look: slopes change little within them. Of those known worse than
#: the other nothing was learned.
STRAIGHT, LOOSE = 0.1, 0.85
#: A place better by this much than the end is where the search should have ended.
BETTER = 0.5


@dataclass(frozen=True)
class Place:
    """Some turns (n,), what is left there (rows,), and half its sum of squares."""

    x: Array
    left: Array

    @property
    def cost(self) -> float:
        return 0.5 * float(self.left @ self.left)


@dataclass(frozen=True)
class Widths:
    """below, above: (n,), how many turns a number may be off at two sigma.  better: turns where less is left, if one was met."""

    below: Array
    above: Array
    better: Array | None = None


def widths_of(
    left_at: Callable[[Array], Array | None],
    end: Place,
    slopes: Array,
    bounds: tuple[Array, Array],
    some: NDArray[np.bool_],
    loose: float = LOOSE,
) -> Widths:
    """Walk every turn of `some`; those of others follow from the slopes (rows, n). loose: see LOOSE."""
    sigma = np.sqrt(np.diag(np.linalg.inv(slopes.T @ slopes)))
    below, above = SIGMAS * sigma, SIGMAS * sigma
    for i in np.flatnonzero(some & (sigma > STRAIGHT) & (sigma < loose)):
        for ends, way in ((below, -1.0), (above, 1.0)):
            far, better = _walked(left_at, end, slopes, bounds, int(i), way * SIGMAS * float(sigma[i]))
            if better is not None:
                return Widths(below, above, better)
            ends[i] = far
    return Widths(below, above)


def _walked(
    left_at: Callable[[Array], Array | None],
    end: Place,
    slopes: Array,
    bounds: tuple[Array, Array],
    i: int,
    first: float,
) -> tuple[float, Array | None]:
    """(turns to where two sigma are reached on one side, a better place if it was met)."""
    low, high = bounds
    to, j = float(np.clip(end.x[i] + first, low[i], high[i])), slopes
    near, grown_near, here = 0.0, 0.0, end
    for _ in range(MOVED):
        for there in (0.5 * (here.x[i] + to), to):
            found = _follow(left_at, here, j, bounds, i, float(there))
            if found is None:
                # No machine there: that far it may be.
                return abs(to - end.x[i]), None
            here, j = found
        grown, off = here.cost - end.cost, abs(to - end.x[i])
        if grown < -BETTER:
            return off, here.x
        if grown >= 0.75 * GROWN or to in (low[i], high[i]):
            # Between the last two places what has grown goes with the square of the way.
            a, b = np.sqrt(max(grown_near, 0.0)), np.sqrt(max(grown, 1e-9))
            return max(near + (off - near) * (np.sqrt(GROWN) - a) / max(b - a, 1e-9), near) if b > a else off, None
        near, grown_near = off, grown
        longer = float(np.clip(np.sqrt(GROWN / max(grown, 1e-9)), 1.1, 2.0))
        to = float(np.clip(end.x[i] + np.sign(first) * off * longer, low[i], high[i]))
    return near, None


def _follow(
    left_at: Callable[[Array], Array | None], here: Place, j: Array, bounds: tuple[Array, Array], i: int, to: float
) -> tuple[Place, Array] | None:
    """(the place where turn i stands at `to` and the others suit it best, slopes that were learned), from one beside it."""
    others = np.arange(j.shape[1]) != i
    reach = np.inf
    for _ in range(SOUGHT):
        step = np.zeros(j.shape[1])
        step[i] = to - here.x[i]
        mine = j[:, others]
        g = mine.T @ (here.left + j[:, i] * step[i])
        room = (bounds[0] - here.x)[others], (bounds[1] - here.x)[others]
        h = mine.T @ mine
        step[others] = step_within(h, g, room, reach)
        gain = -float(g @ step[others] + 0.5 * step[others] @ h @ step[others])
        if step[i] == 0.0 and gain < LITTLE:
            break
        there = left_at(here.x + step)
        if there is None:
            return None
        j = learned(j, step, there - here.left)
        new = Place(here.x + step, there)
        if step[i] == 0.0 and new.cost > here.cost:
            # Learned again, and not so far.
            reach = 0.5 * float(np.linalg.norm(step))
            continue
        here = new
    return here, j
