"""Arms that carry a tool from sliding carriages: where they reach, and where their carriages stand. SI units."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from .machine import Point

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Arm:
    """A pair of parallel arms between two bodies, as one bar in its middle: a spring along its length.

    ends: (body, point at the reference pose, m), the carriage's first.  mass_kg, stiffness_n_m: of the pair.
    apart_m: distance of its two arms.
    """

    name: str
    ends: tuple[tuple[str, Point], tuple[str, Point]]
    mass_kg: float
    stiffness_n_m: float
    damping_ratio: float
    apart_m: float

    @property
    def along(self) -> Array:
        """From its first end to its second at the reference pose, (3,) m."""
        return np.asarray(np.subtract(self.ends[1][1], self.ends[0][1]), dtype=float)

    @property
    def length_m(self) -> float:
        """Between its joints, m."""
        return float(np.linalg.norm(self.along))

    @cached_property
    def aside(self) -> Array:
        """Level direction across it, (3,), along which its two arms lie apart."""
        level = np.cross([0.0, 0.0, 1.0], self.along)
        return np.asarray(level / np.linalg.norm(level))

    @cached_property
    def single(self) -> tuple[Arm, Arm]:
        """Its two arms, each with half of what the pair has."""
        out = []
        for side in (-0.5, 0.5):
            (a_body, a), (b_body, b) = self.ends
            by = side * self.apart_m * self.aside
            ends = ((a_body, _point(a + by)), (b_body, _point(b + by)))
            half = replace(self, ends=ends, mass_kg=self.mass_kg / 2, stiffness_n_m=self.stiffness_n_m / 2, apart_m=0.0)
            out.append(half)
        return out[0], out[1]


def _point(v: Array) -> Point:
    x, y, z = (float(c) for c in v)
    return x, y, z


def slide_on_arm(w: Array, length_m: float, axis: int) -> Array:
    """How far a carriage has slid along an axis (0 X, 1 Y, 2 Z), m, with its arm's far end at w (..., 3) from where its
    near end was: the upper of the two places where the arm has its length. Beyond the arm's reach, where it lies level.
    """
    along: Array = w[..., axis]
    return np.asarray(along + np.sqrt(np.maximum(length_m**2 - (w * w).sum(axis=-1) + along**2, 0.0)))
