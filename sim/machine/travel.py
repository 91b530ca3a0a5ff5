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
from .arm import slide_on_arm
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


@dataclass(frozen=True)
class ArmTravel:
    """Travel of a tool on arms: each arm's carriage slides until the arm has its length, and a motor turns with its slide.

    middle: (3,) m.  along: (k, 3), arms from their carriages at the reference pose, m.  length_m: (k,).  axes: slide of
    each carriage.  from_tool: (n, 3), from_slides: (n, k), coordinates per metre of either.  motors_per_slide: (m, k), rad/m.
    """

    middle: Array
    along: Array
    length_m: Array
    axes: tuple[int, ...]
    from_tool: Array
    from_slides: Array
    motors_per_slide: Array

    def slid(self, tool: Array) -> Array:
        """How far each carriage has slid from its reference, (..., k) m, with the tool at `tool` (..., 3), m."""
        away = np.asarray(tool, float) - self.middle
        each = zip(self.along, self.length_m, self.axes, strict=True)
        return np.stack([slide_on_arm(along + away, length, axis) for along, length, axis in each], axis=-1)

    def slide_slopes(self, tool: Array) -> Array:
        """(..., k, 3): slides per metre of tool travel at `tool` (..., 3), m: the arm's direction over its share along the
        slide, since what its two ends do along it must be the same."""
        away, slid = np.asarray(tool, float) - self.middle, self.slid(tool)
        arms = self.along + away[..., None, :]
        for k, axis in enumerate(self.axes):
            arms[..., k, axis] -= slid[..., k]
        lengthwise = np.stack([arms[..., k, axis] for k, axis in enumerate(self.axes)], axis=-1)
        return np.asarray(arms / lengthwise[..., None])

    def coordinates(self, tool: Array) -> Array:
        """Coordinates (n,) with the tool at rest at `tool` (3,), m, and no spring strained."""
        return np.asarray(self.from_tool @ (np.asarray(tool, float) - self.middle) + self.from_slides @ self.slid(tool))

    def slopes(self, tool: Array) -> Array:
        """(n, 3): change of the coordinates per metre of tool travel at `tool` (3,), m."""
        return np.asarray(self.from_tool + self.from_slides @ self.slide_slopes(tool))

    def angles(self, tool: Array) -> Array:
        """Motor angles (..., m), rad from the reference pose, that put the rigid tool at `tool` (..., 3), m."""
        return np.asarray(self.slid(tool) @ self.motors_per_slide.T)

    def angle_slopes(self, tool: Array) -> Array:
        """(..., m, 3): rad per metre of tool travel at `tool` (..., 3), m."""
        return np.asarray(self.motors_per_slide @ self.slide_slopes(tool))

    def tool(self, slid: Array) -> Array:
        """Where the rigid tool stands, (3,) m, with the carriages `slid` (3,) m: the lower point where three spheres meet.

        Raises MachineError where they do not. (D. Manolakis, trilateration, IEEE TAES, 1996, from memory; here derived.)
        """
        centres = -self.along
        for k, axis in enumerate(self.axes):
            centres[k, axis] += slid[k]
        x = centres[1] - centres[0]
        d = float(np.linalg.norm(x))
        x = x / d
        across = centres[2] - centres[0]
        i = float(across @ x)
        y = across - i * x
        j = float(np.linalg.norm(y))
        y = y / j
        r = self.length_m
        u = (r[0] ** 2 - r[1] ** 2 + d**2) / (2 * d)
        v = (r[0] ** 2 - r[2] ** 2 + i**2 + j**2 - 2 * i * u) / (2 * j)
        left = r[0] ** 2 - u**2 - v**2
        if left < 0:
            raise MachineError("the arms do not meet with the carriages there")
        out = np.cross(x, y) * np.sqrt(left)
        return np.asarray(self.middle + centres[0] + u * x + v * y + (out if out[2] < 0 else -out))


Travel = LinearTravel | ArmTravel


def rigid_travel(
    layout: str, slides: Array, rows: Array, angles: Sequence[int], runs: Sequence[Run], moved: int = 2
) -> Array:
    """(total, k): all coordinates per metre of each slide with no belt strained. This is where mixing comes from.

    slides: (total, k), what the bodies' slides travel, all else zero.  rows: (runs, total), stretch of each run.
    moved: how many of the slides, the first ones, the belts must fix.
    angles: coordinate numbers of the motors. They solve `rows . (slides + angles) = 0`; raises MachineError if they cannot,
    or if locked motors leave the tool free.
    """
    by_angle, by_slide = rows[:, angles], rows @ slides[:, :moved]
    if np.linalg.matrix_rank(by_slide, tol=1e-9) < moved:
        raise MachineError(
            f"layout {layout}: with the motors held, the belts leave the carriage free to move;"
            f" {'each of X and Y' if moved == 2 else 'every carriage'} must be fixed by a belt"
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
    travel[list(angles), :moved] = solution
    return travel
