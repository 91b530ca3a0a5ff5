"""A round rod with two bushings on it: stiffness at the bushings as they travel, with its slope. SI units.

The bushings share the rod, so they are not independent springs: K(s) = (F_b(s) + diag(1/k))^-1 with F_b the influence
matrix of the rod at the two bushings, and dK/ds = -K (dF_b/ds) K.

Everything that asks how a rod's ends are held gets it here. A rod on supports with a rotational spring k at each end:

    F = F_ss - phi (C + 1/k)^-1 phi',   C = L / 6EI [[2, 1], [1, 2]],   phi = a b / 6EIL [L + b, L + a]

F_ss of the beam on supports, phi its end slopes under unit loads at a (b = L - a), positive as a load between the
supports bends them, C the same slopes under unit end moments (Roark's Formulas for Stress and Strain, table of beams,
from memory; slope deflection). With r = EI / kL the sum and the difference of both ends part, and

    F_ij = F_ss_ij - m_i m_j (even + odd n_i n_j / L^2) / EI L,   m = a b, n = b - a,
    even = 1 / (4 + 8 r), odd = 1 / (12 + 72 r):  r = 0 is built in, r infinite supported.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
STEEL_PA = 206e9  # handbook value, from memory
Ends = str  # "supported" | "clamped" | "built-in"
#: r = EI / kL of the rotational springs at a rod's ends. Clamped in printed or aluminium blocks: k = 4EI/L, so that a load
#: in the middle finds twice the stiffness on supports (the ratio is common practice without a source).
END_SOFTNESS: dict[Ends, float] = {"supported": math.inf, "clamped": 0.25, "built-in": 0.0}

#: Where polynomials are read, as shares of half a rod, and what makes (7,) values there the factors of their powers.
NODES = np.cos(np.pi * (np.arange(7) + 0.5) / 7)
TO_POWERS = np.linalg.inv(np.vander(NODES, increasing=True)).T


def end_shares(ends: Ends) -> tuple[float, float]:
    """(even, odd): what end springs take off the flexibility of a rod on supports; see the module's head."""
    r = END_SOFTNESS[ends]
    return 1 / (4 + 8 * r), 1 / (12 + 72 * r)


def middle_flexibility(ends: Ends) -> float:
    """How far a load in the middle bends a rod, as a share of one on supports: 1, 1/2 clamped, 1/4 built in."""
    return 1 - 3 * end_shares(ends)[0]


def spread_flexibility(ends: Ends) -> float:
    """How far a weight spread evenly bends its middle, as a share of a rod on supports: 1, 7/15 clamped, 1/5 built in.

    Its end slopes W L^2 / 24EI meet even moments of W L even / 3, and these lift the middle by M L^2 / 8EI.
    """
    return 1 - 16 / 5 * end_shares(ends)[0]


def middle_shape(ends: Ends) -> tuple[float, float]:
    """Integrals over the length, per length, of how a rod bends under a load in its middle (1 there), and of its square.

    On supports 5/8 and 17/35 (Blevins' effective mass), built in 1/2 and 13/35, clamped 7/12 and 31/70. Even end moments
    take off the parabola 4x(1 - x): its integral is 2/3, its square's 8/15, its product's with the shape on supports 61/120.
    """
    off = 3 * end_shares(ends)[0]
    mean = (5 / 8 - off * 2 / 3) / (1 - off)
    square = (17 / 35 - 2 * off * 61 / 120 + off**2 * 8 / 15) / (1 - off) ** 2
    return mean, square


@dataclass(frozen=True)
class Shaft:
    """One rod and its two bushings.

    span_m: between supports.  before_m: from the first support to the middle of the bushings at s = 0.
    spacing_m: distance of the bushings.  bushing_n_m: radial stiffness of each.  ends: how the rod is held.
    """

    diameter_m: float
    span_m: float
    before_m: float
    spacing_m: float
    bushing_n_m: float
    ends: Ends = "clamped"
    modulus_pa: float = STEEL_PA

    @property
    def bending_n_m2(self) -> float:
        """E I of the rod, I = pi d^4 / 64."""
        return self.modulus_pa * math.pi * self.diameter_m**4 / 64

    def influence(self, s: float) -> tuple[Array, Array]:
        """(F_b, dF_b/ds), each (2, 2), m/N and 1/N, with the bushings displaced by s."""
        # In plain numbers: arrays of two take four times as long, and a run asks for it at every place it looks at.
        parts = self._influence(float(s))
        return np.array([[f for f, _ in row] for row in parts]), np.array([[df for _, df in row] for row in parts])

    def influence_powers(self) -> Array:
        """F_b as polynomials of s, (2, 2, 7): the factor of s^0, s^1, ... in each entry.

        No entry has more than the sixth power, and seven of its values tell such a polynomial.
        """
        half = self.span_m / 2
        values = np.array([[f for f, _ in row] for row in self._influence(half * NODES)])
        return np.asarray(values @ TO_POWERS / half ** np.arange(len(NODES)))

    def _influence(self, s: Any) -> list[list[Any]]:
        """(F_b, dF_b/ds) entry by entry, of one s or of many."""
        length, ei = self.span_m, self.bending_n_m2
        a = [s + (self.before_m + self.spacing_m * side) for side in (-0.5, 0.5)]
        m, n = [x * (length - x) for x in a], [length - 2 * x for x in a]
        even, odd = end_shares(self.ends)
        x, y = a[0], length - a[1]  # from either end to the nearer bushing
        inner = length**2 - y * y - x * x
        between = y * x * inner / (6 * length * ei), ((y - x) * inner + 2 * y * x * (y - x)) / (6 * length * ei)

        def entry(i: int, j: int) -> tuple[Any, Any]:
            own = m[i] * m[i] / (3 * length * ei), 2 * m[i] * n[i] / (3 * length * ei)
            free, free_slope = own if i == j else between
            both, turns = m[i] * m[j] / (ei * length), even + odd * (n[i] * n[j]) / length**2
            slope = (n[i] * m[j] + m[i] * n[j]) / (ei * length)
            return free - both * turns, free_slope - (slope * turns - 2 * odd * both * (n[i] + n[j]) / length**2)

        return [[entry(i, j) for j in (0, 1)] for i in (0, 1)]

    def stiffness(self, s: float) -> tuple[Array, Array]:
        """(K, dK/ds) at the bushings, each (2, 2), N/m and N/m2."""
        f, df = self.influence(s)
        k = self._held(f)
        return k, np.asarray(-k @ df @ k)

    def stiffness_alone(self, s: float) -> Array:
        """K of `stiffness`, (2, 2) N/m."""
        return self._held(self.influence(s)[0])

    def _held(self, f: Array) -> Array:
        return np.asarray(np.linalg.inv(f + np.eye(2) / self.bushing_n_m))
