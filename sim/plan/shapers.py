"""Input shapers: a few impulses that a motion is convolved with, so that one frequency is left at rest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Impulses:
    """A shaper of one axis: commanded(t) = sum of weight * asked(t - time). times_s: rising from 0.  weights: sum 1."""

    times_s: tuple[float, ...] = (0.0,)
    weights: tuple[float, ...] = (1.0,)

    @property
    def tail_s(self) -> float:
        """How long after the asked motion the commanded one goes on, s."""
        return self.times_s[-1]

    @property
    def delay_s(self) -> float:
        """How far the commanded motion lags behind the asked one at constant speed, s."""
        return float(sum(t * w for t, w in zip(self.times_s, self.weights, strict=True)))


@dataclass(frozen=True)
class Shaping:
    """The shapers of all three axes, laid out for the sampling loops: axes with equal impulses form one group.

    delay_s, weight: (groups, most impulses).  impulses: (groups,).  axes: (groups, 3), 1 for axes in the group.
    """

    by_axis: tuple[Impulses, Impulses, Impulses]
    delay_s: Array
    weight: Array
    impulses: NDArray[np.int64]
    axes: Array

    @staticmethod
    def of(x: Impulses, y: Impulses, z: Impulses) -> Shaping:
        """Group the axes' shapers."""
        by_axis = (x, y, z)
        different = list(dict.fromkeys(by_axis))
        most = max(len(s.times_s) for s in different)
        delay, weight = np.zeros((len(different), most)), np.zeros((len(different), most))
        for row, shaper in enumerate(different):
            delay[row, : len(shaper.times_s)] = shaper.times_s
            weight[row, : len(shaper.weights)] = shaper.weights
        counts = np.array([len(s.times_s) for s in different], dtype=np.int64)
        axes = np.array([[1.0 if s == by_axis[d] else 0.0 for d in range(3)] for s in different])
        return Shaping(by_axis, delay, weight, counts, axes)

    @property
    def tail_s(self) -> tuple[float, float, float]:
        """How long after the asked motion the commanded one goes on, by axis, s."""
        x, y, z = self.by_axis
        return x.tail_s, y.tail_s, z.tail_s


UNSHAPED = Shaping.of(Impulses(), Impulses(), Impulses())
