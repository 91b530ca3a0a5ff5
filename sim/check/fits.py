"""Shafts in ball bushings: limits of size, and the play they leave. SI units.

ISO 286-2, limit deviations of shafts h6 to h11 (published tables, two seen). Bores of linear ball bushings 0 / -9 um
(handbook value, from memory).
"""

from __future__ import annotations

import math

from ..errors import PartError

UM = 1e-6
#: Upper end of each nominal range (included), m -> lower deviation of the shaft by tolerance, um; the upper one is 0.
SHAFT_LOWER_UM: tuple[tuple[float, dict[str, float]], ...] = (
    (0.006, {"h6": -8, "h7": -12, "h8": -18, "h9": -30, "h10": -48, "h11": -75}),
    (0.010, {"h6": -9, "h7": -15, "h8": -22, "h9": -36, "h10": -58, "h11": -90}),
    (0.018, {"h6": -11, "h7": -18, "h8": -27, "h9": -43, "h10": -70, "h11": -110}),
)
SMALLEST_M = 0.003
BORE_UPPER_M, BORE_LOWER_M = 0.0, -9 * UM


def shaft_limits(diameter_m: float, tolerance: str) -> tuple[float, float]:
    """(lower, upper) limit deviation of a shaft, m. Raises PartError outside 3 to 18 mm or for another tolerance."""
    for top_m, row in SHAFT_LOWER_UM:
        if SMALLEST_M < diameter_m <= top_m + 1e-9:
            if tolerance not in row:
                raise PartError(f"shaft tolerance {tolerance!r}: must be one of {', '.join(row)}")
            return row[tolerance] * UM, 0.0
    raise PartError(f"shaft of {diameter_m * 1e3:g} mm: the table of limits holds 3 to 18 mm")


def largest_play(diameter_m: float, tolerance: str) -> tuple[float, float]:
    """Play in diameter of the thinnest shaft allowed, in the tightest and in the widest bushing, m; below 0 = none."""
    lower, _ = shaft_limits(diameter_m, tolerance)
    return BORE_LOWER_M - lower, BORE_UPPER_M - lower


def rocking(play_m: float, spacing_m: float) -> float:
    """Angle to each side by which play in diameter lets two bushings rock, rad: c / s."""
    return max(play_m, 0.0) / spacing_m


def finest_that_keeps(diameter_m: float, play_m: float) -> str | None:
    """The coarsest tolerance whose widest play stays within `play_m`; None if none of the table does."""
    kept = None
    for top_m, row in SHAFT_LOWER_UM:
        if SMALLEST_M < diameter_m <= top_m + 1e-9:
            kept = max((t for t in row if -row[t] * UM <= play_m + 1e-12), key=lambda t: int(t[1:]), default=None)
            break
    return kept


def rail_allowance(apart_m: float, preloaded: bool) -> float:
    """Difference in height that two parallel miniature rails, sizes 7 to 15, may have, m: 0.00015 of their distance
    preloaded, 0.00025 without. From a rail maker's catalogue, published."""
    return (0.00015 if preloaded else 0.00025) * apart_m


def finite(value: float) -> float | None:
    """None for what is infinite or undefined."""
    return value if math.isfinite(value) else None
