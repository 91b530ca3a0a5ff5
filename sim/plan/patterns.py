"""Test patterns: paths centred on the middle of the reach, each made of named legs."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from ..scenario.motion import MotionLimits, MoveSpec
from .segments import Point, SegmentList, Segments


@dataclass(frozen=True)
class Pattern:
    """A path and its legs. words: what it is, for the plan's description.  start: where the tool stands first, m."""

    words: str
    start: Point
    segments: Segments
    leg_names: list[str]


def _list(limits: MotionLimits, start: Point) -> SegmentList:
    return SegmentList(start, limits.speed_m_s, limits.acceleration_m_s2)


def step(limits: MotionLimits, move: MoveSpec, middle: Point) -> Pattern:
    """One straight move along x, y or both at 45 degrees, -size/2 to +size/2, and stop; repeats go back and forth."""
    half_x = 0.5 * move.size_m if "x" in move.axis else 0.0
    half_y = 0.5 * move.size_m if "y" in move.axis else 0.0
    start = (middle[0] - half_x, middle[1] - half_y, middle[2])
    path = _list(limits, start)
    for n in range(move.repeats):
        sign = 1.0 if n % 2 == 0 else -1.0
        path.name_leg(f"leg {n + 1}")
        path.line_to(middle[0] + sign * half_x, middle[1] + sign * half_y)
    return Pattern(f"step {1e3 * move.size_m:g} mm along {move.axis}", start, path.done(), path.names)


def square(limits: MotionLimits, move: MoveSpec, middle: Point) -> Pattern:
    """Four sides, counter-clockwise from the front left corner: right, to the rear, left, to the front."""
    half = 0.5 * move.size_m
    start = (middle[0] - half, middle[1] - half, middle[2])
    path = _list(limits, start)
    for _ in range(move.repeats):
        for x, y in ((half, -half), (half, half), (-half, half), (-half, -half)):
            path.name_leg(f"leg {len(path.names) + 1}")
            path.line_to(middle[0] + x, middle[1] + y)
    return Pattern(f"square {1e3 * move.size_m:g} mm", start, path.done(), path.names)


ZIGZAG_TEETH = 4


def zigzag(limits: MotionLimits, move: MoveSpec, middle: Point) -> Pattern:
    """Four teeth with corners of 90 degrees, front left to right, as wide as the size; repeats go back and forth."""
    half, pitch = 0.5 * move.size_m, move.size_m / (2 * ZIGZAG_TEETH)
    rise = 0.5 * pitch
    points = [(-half + n * pitch, rise if n % 2 else -rise) for n in range(2 * ZIGZAG_TEETH + 1)]
    start = (middle[0] + points[0][0], middle[1] + points[0][1], middle[2])
    path = _list(limits, start)
    for n in range(move.repeats):
        for x, y in points[1:] if n % 2 == 0 else points[-2::-1]:
            path.name_leg(f"leg {len(path.names) + 1}")
            path.line_to(middle[0] + x, middle[1] + y)
    return Pattern(f"zigzag {1e3 * move.size_m:g} mm", start, path.done(), path.names)


def circle(limits: MotionLimits, move: MoveSpec, middle: Point) -> Pattern:
    """A circle of diameter `size`, counter-clockwise from its rightmost point; repeats are further turns in one go."""
    start = (middle[0] + 0.5 * move.size_m, middle[1], middle[2])
    path = _list(limits, start)
    for n in range(move.repeats):
        path.name_leg(f"turn {n + 1}")
        path.arc(middle[0], middle[1], math.tau)
    return Pattern(f"circle {1e3 * move.size_m:g} mm", start, path.done(), path.names)


PATTERNS: dict[str, Callable[[MotionLimits, MoveSpec, Point], Pattern]] = {
    "step": step,
    "square": square,
    "zigzag": zigzag,
    "circle": circle,
}
