"""Machines that a design may turn out to be: its uncertain numbers drawn within their bands, alike for all designs.

A number is log-normal in two pieces: its median is the value told, its band two sigma of the logarithm on either side, cut
at three. One whose value is zero is half-normal, its high at two sigma. What is uncertain about a part is the same for
every design that has the part (paired draws), so that designs can be compared machine by machine.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri
from scipy.stats import qmc

from ..parts.design import Drawn, Uncertain

Array = NDArray[np.float64]

#: Nothing lies further from the value than so many sigma, of which a band has two on either side.
MOST_SIGMA = 3.0
DRAWS, SEED = 128, 1


@dataclass(frozen=True)
class Draws:
    """Shares of one, (draws, columns): of each column its own uncertain thing. columns: `Uncertain.draw` of each."""

    shares: Array
    columns: tuple[tuple[str, ...], ...]
    seed: int

    @property
    def count(self) -> int:
        """How many machines."""
        return len(self.shares)

    def of(self, number: Uncertain) -> Array:
        """Shares of one of a number, (draws,)."""
        return np.asarray(self.shares[:, self.columns.index(number.draw)])

    def machine(self, numbers: Sequence[Uncertain], index: int) -> Drawn:
        """One of the machines that a design with these numbers may turn out to be."""
        drawn = Drawn()
        for number in numbers:
            drawn.put(number, float(values(number, self.of(number)[index])))
        return drawn


def sobol_draws(designs: Sequence[Sequence[Uncertain]], count: int = DRAWS, seed: int = SEED) -> Draws:
    """Draws for designs that are compared, scrambled Sobol points. designs: the uncertain numbers of each.

    count: a power of two keeps them even. The widest bands come first: few points are evenest, and least alike, in the
    first columns (128 points: any two of ten are correlated by less than 0.1, of forty some by 0.4, of sixty by 0.8).
    """
    widths: dict[tuple[str, ...], float] = {}
    for number in (n for numbers in designs for n in numbers):
        widths[number.draw] = max(widths.get(number.draw, 0.0), _width(number))
    columns = tuple(sorted(widths, key=lambda draw: (-widths[draw], draw)))
    if not columns:
        return Draws(np.zeros((count, 0)), columns, seed)
    points = qmc.Sobol(len(columns), seed=seed)  # scrambled, as scipy does unless told otherwise
    return Draws(np.asarray(points.random(count)), columns, seed)


def _width(number: Uncertain) -> float:
    """Width of a band by its logarithm; of a value that is zero, as if its high were twice it."""
    return float(np.log(2.0 if number.value == 0.0 else number.high / number.low))


def values(number: Uncertain, share: Array | float) -> Array:
    """Values of a number, in its unit, below which these shares (0 to 1, any shape) of all machines lie."""
    low_tail, inner = float(ndtr(-MOST_SIGMA)), np.asarray(share, dtype=float)
    # Half of a normal distribution: its shares are the upper ones of a whole one.
    level = 0.5 + inner * (0.5 - low_tail) if number.value == 0.0 else low_tail + inner * (1 - 2 * low_tail)
    return np.asarray(np.vectorize(number.at, otypes=[float])(ndtri(level)), dtype=float)
