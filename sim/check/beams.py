"""Beams and rods by handbook formula, one load case each. SI units.

Roark's Formulas for Stress and Strain, table of beams (shear, moment, slope and deflection), and Blevins, Formulas for
Natural Frequency and Mode Shape; both from memory.
"""

from __future__ import annotations

import math

from ..model.shafts import Ends, middle_flexibility, middle_shape, spread_flexibility

STEEL_PA = 206e9  # handbook value, from memory
STEEL_KG_M3 = 7850.0  # handbook value, from memory


def round_inertia(diameter_m: float) -> float:
    """Second moment of area of a round rod, m4: pi d^4 / 64."""
    return math.pi * diameter_m**4 / 64


def middle_sag(force_n: float, length_m: float, ei_n_m2: float, ends: Ends = "supported") -> float:
    """Deflection in the middle under a point load there, m: F l^3 / 48 EI supported, / 96 clamped, / 192 built in."""
    return middle_flexibility(ends) * force_n * length_m**3 / (48 * ei_n_m2)


def spread_sag(weight_n: float, length_m: float, ei_n_m2: float, ends: Ends = "supported") -> float:
    """Deflection in the middle under a weight spread evenly, m: 5 W l^3 / 384 EI supported, 7/3 clamped, 1 built in."""
    return spread_flexibility(ends) * 5 * weight_n * length_m**3 / (384 * ei_n_m2)


def carried_frequency(
    mass_kg: float, rod_kg: float, length_m: float, ei_n_m2: float, ends: Ends = "supported"
) -> float:
    """Natural frequency of a mass in the middle of a beam with mass of its own, Hz. ei_n_m2, rod_kg: of all rods together.

    The beam's own share is that of its static shape (Rayleigh): 17/35 supported, 31/70 clamped, 13/35 built in.
    """
    stiffness = 1.0 / middle_sag(1.0, length_m, ei_n_m2, ends)
    return math.sqrt(stiffness / (mass_kg + middle_shape(ends)[1] * rod_kg)) / (2 * math.pi)


def string_frequency(length_m: float, tension_n: float, mass_kg_m: float) -> float:
    """Lowest lateral frequency of a belt span as a string, Hz: (1 / 2 l) sqrt(T / mu).

    Belt makers give it as T = 4 m W S^2 f^2, and warn that a belt's own bending stiffness makes short spans sound higher.
    """
    return math.sqrt(tension_n / mass_kg_m) / (2 * length_m)
