"""From the tool's place to coordinates and motor angles, and the slopes of both. SI units.

Where every belt's spans are parallel to what they move, both are linear in the tool's place: one matrix each. A travel
that is not linear answers the same four questions, with slopes that depend on the place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import MachineError
from .routing import Run

Array = NDArray[np.float64]


@dataclass(frozen=True)
class LinearTravel:
    """Travel in proportion to the tool's way from `middle` (3,), m.

    per_m: (n, 3), coordinates per metre of rigid tool travel.  motors_per_m: (m, 3), rad per metre.
    """

    middle: Array
    per_m: Array
    motors_per_m: Array

    def coordinates(self, tool: Array) -> Array:
        """Coordinates (n,) with the tool at rest at `tool` (3,), m, and no spring strained."""
        return np.asarray(self.per_m @ (np.asarray(tool, float) - self.middle))

    def slopes(self, tool: Array) -> Array:
        """(n, 3): change of the coordinates per metre of tool travel at `tool` (3,), m."""
        return self.per_m

    def angles(self, tool: Array) -> Array:
        """Motor angles (..., m), rad from the reference pose, that put the rigid tool at `tool` (..., 3), m."""
        return np.asarray((np.asarray(tool, float) - self.middle) @ self.motors_per_m.T)

    def angle_slopes(self, tool: Array) -> Array:
        """(m, 3): rad per metre of tool travel at `tool` (3,), m."""
        return self.motors_per_m


def rigid_travel(layout: str, slides: Array, rows: Array, angles: Sequence[int], runs: Sequence[Run]) -> Array:
    """(total, 3): all coordinates per metre of tool travel with no belt strained. This is where mixing comes from.

    slides: (total, 3), what the bodies' slides travel, all else zero.  rows: (runs, total), stretch of each run.
    angles: coordinate numbers of the motors. They solve `rows . (slides + angles) = 0`; raises MachineError if they cannot,
    or if locked motors leave the tool free.
    """
    by_angle, by_slide = rows[:, angles], rows @ slides[:, :2]
    if np.linalg.matrix_rank(by_slide, tol=1e-9) < 2:
        raise MachineError(
            f"layout {layout}: with the motors held, the belts leave the carriage free to move;"
            " each of X and Y must be fixed by a belt"
        )
    # Scale the angle columns to belt travel before judging rank: radii are millimetres.
    scale = np.abs(by_angle).max(axis=0)
    if np.any(scale < 1e-9) or np.linalg.matrix_rank(by_angle / np.where(scale > 0, scale, 1), tol=1e-9) < len(angles):
        raise MachineError(f"layout {layout}: a motor can turn without moving any belt")
    solution, *_ = np.linalg.lstsq(by_angle, -by_slide, rcond=None)
    left = np.abs(by_angle @ solution + by_slide)
    residual = float(left.max())
    if residual > 1e-9:
        worst = runs[int(left.max(axis=1).argmax())]
        raise MachineError(
            f"layout {layout}: moving the carriage would stretch belt {worst.belt} ({worst.name} run) by"
            f" {residual * 1e3:.4g} mm per mm whatever the motors do; its spans must be parallel to the travel"
        )
    travel = slides.copy()
    travel[list(angles), :2] = solution
    return travel
