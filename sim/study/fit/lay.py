"""A record laid over what a model feels, its start and clock sought for that alone: held-out ones, and the model as told."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from .bench import Felt
from .descend import descend
from .problem import START_S, laid_over
from .samples import Samples
from .sensor import CLOCK_SIGMA

Array = NDArray[np.float64]

#: A held-out record's start (ms) and clock (sigmas) are sought within these, in so many rounds.
AROUND = (np.array([-20.0, -5.0]), np.array([20.0, 5.0]))
ROUNDS = 12


def laid_best(one: Samples, model: Felt) -> tuple[float, float]:
    """(start s, clock) that lay a record best over what a model feels."""

    def left(x: Array) -> Array:
        start, clock = one.start_s + x[0] * START_S, 1 + x[1] * CLOCK_SIGMA
        return np.append(laid_over(one, model, start, clock)[1].ravel(), x[1])

    # The first guess was made with another model: a ring too far is looked for beside it.
    near = float(np.clip((one.clock - 1) / CLOCK_SIGMA, -4.9, 4.9))
    tried = [
        np.array([s, np.clip(near + c, -4.9, 4.9)])
        for s in np.arange(-15.0, 15.1, 1.5)
        for c in (-1.0, -0.5, 0, 0.5, 1)
    ]
    costs = [float((left(x) ** 2).sum()) for x in tried]
    best, least = tried[0], np.inf
    for first in (np.array([0.0, near]), tried[int(np.argmin(costs))]):
        x = descend(left, lambda x: _slopes(left, x), first, AROUND, ROUNDS, 1e-4)[0]
        cost = float((left(x) ** 2).sum())
        if cost < least:
            best, least = x, cost
    return one.start_s + float(best[0]) * START_S, 1 + float(best[1]) * CLOCK_SIGMA


def _slopes(left: Callable[[Array], Array], x: Array) -> Array:
    """(rows, turns) by central differences."""
    steps = 1e-3 * np.eye(len(x))
    return np.stack([(left(x + d) - left(x - d)) / 2e-3 for d in steps], axis=1)
