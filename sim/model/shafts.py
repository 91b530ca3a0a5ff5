"""A round rod with two bushings on it: stiffness at the bushings as they travel, with its slope. SI units.

The bushings share the rod, so they are not independent springs: K(s) = (F_b(s) + diag(1/k))^-1 with F_b the influence
matrix of the rod at the two bushings (point loads on a beam, simply supported or built in: Roark's Formulas for Stress
and Strain, table of beams, from memory), and dK/ds = -K (dF_b/ds) K.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
STEEL_PA = 206e9  # handbook value, from memory
Ends = str  # "supported" | "clamped" | "built-in"
#: How much stiffer than simply supported a rod is whose ends are clamped in printed parts (common practice, no source).
CLAMPED_GAIN = 2.0


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
        a1 = self.before_m + s - self.spacing_m / 2
        a2 = a1 + self.spacing_m
        f, df = np.zeros((2, 2)), np.zeros((2, 2))
        length, ei = self.span_m, self.bending_n_m2
        for i, a in enumerate((a1, a2)):
            b = length - a
            if self.ends == "built-in":
                f[i, i] = a**3 * b**3 / (3 * length**3 * ei)
                df[i, i] = a**2 * b**2 * (b - a) / (length**3 * ei)
            else:
                f[i, i] = a**2 * b**2 / (3 * length * ei)
                df[i, i] = 2 * a * b * (b - a) / (3 * length * ei)
        x, b = a1, length - a2
        if self.ends == "built-in":
            g = 3 * a2 * length - 3 * a2 * x - b * x
            dg = 3 * length - 2 * x - 3 * a2 - b
            scale = 1 / (6 * length**3 * ei)
            f[0, 1] = b**2 * x**2 * g * scale
            df[0, 1] = (2 * b**2 * x - 2 * b * x**2) * g * scale + b**2 * x**2 * dg * scale
        else:
            scale = 1 / (6 * length * ei)
            inner = length**2 - b**2 - x**2
            f[0, 1] = b * x * inner * scale
            df[0, 1] = ((b - x) * inner + b * x * (2 * b - 2 * x)) * scale
        f[1, 0], df[1, 0] = f[0, 1], df[0, 1]
        if self.ends == "clamped":
            f, df = f / CLAMPED_GAIN, df / CLAMPED_GAIN
        return f, df

    def stiffness(self, s: float) -> tuple[Array, Array]:
        """(K, dK/ds) at the bushings, each (2, 2), N/m and N/m2."""
        f, df = self.influence(s)
        k = np.asarray(np.linalg.inv(f + np.eye(2) / self.bushing_n_m))
        return k, np.asarray(-k @ df @ k)
