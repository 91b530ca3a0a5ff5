"""Test patterns: paths centred on the middle of the reach, each made of named legs."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from ..errors import ScenarioError
from ..scenario.motion import MotionLimits, MoveSpec, PatternChoices
from .axes import AxisLimits
from .plan import LegLabel, Level
from .segments import Point, SegmentList, Segments


@dataclass(frozen=True)
class Task:
    """What a pattern is made from. middle: of the reach, m.  room_up_m: how far Z may rise from there.

    axes: limits of single axes.
    """

    limits: MotionLimits
    move: MoveSpec
    choices: PatternChoices
    middle: Point
    room_up_m: float
    axes: AxisLimits = field(default_factory=AxisLimits)

    def path(self, start: Point) -> SegmentList:
        """An empty path from a point, under the limits."""
        return SegmentList(start, self.limits.speed_m_s, self.limits.acceleration_m_s2)

    def point(self, x_m: float, y_m: float) -> Point:
        """A point given from the middle."""
        return self.middle[0] + x_m, self.middle[1] + y_m, self.middle[2]


@dataclass(frozen=True)
class Pattern:
    """A path and its legs. words: what it is, for the plan's description.  start: where the tool stands first, m."""

    words: str
    start: Point
    segments: Segments
    labels: list[LegLabel]


# More would fill the memory; a program of any length streams.
MOST_SEGMENTS = 500_000


def make_pattern(task: Task) -> Pattern:
    """The pattern a move names. Raises ScenarioError for a name that does not exist, or more repeats than fit."""
    name = task.move.pattern
    if name not in PATTERNS:
        raise ScenarioError([f"[move] pattern = {name!r}: must be one of {', '.join(PATTERNS)}."])
    once = PATTERNS[name](replace(task, move=replace(task.move, repeats=1)))
    if task.move.repeats == 1:
        return once
    if len(once.segments) * task.move.repeats > MOST_SEGMENTS:
        raise ScenarioError(
            [
                f"[move] repeats = {task.move.repeats}: the pattern {name} would have more than {MOST_SEGMENTS} segments; "
                f"give repeats = {MOST_SEGMENTS // len(once.segments)} or less."
            ]
        )
    return PATTERNS[name](task)


def _pattern(words: str, start: Point, path: SegmentList) -> Pattern:
    return Pattern(words, start, path.done(), path.labels)


def _mm(metres: float) -> str:
    return f"{1e3 * metres:g} mm"


def step(task: Task) -> Pattern:
    """One straight move along x, y or both at 45 degrees, from -size/2 to +size/2, and stop; repeats go back and forth."""
    half = 0.5 * task.move.size_m
    half_x, half_y = half if "x" in task.move.axis else 0.0, half if "y" in task.move.axis else 0.0
    start = task.point(-half_x, -half_y)
    path = task.path(start)
    for n in range(task.move.repeats):
        sign = 1.0 if n % 2 == 0 else -1.0
        path.name_leg(f"leg {n + 1}")
        path.line_to(*task.point(sign * half_x, sign * half_y))
    return _pattern(f"step {_mm(task.move.size_m)} along {task.move.axis}", start, path)


def _square(task: Task, path: SegmentList, prefix: str, level: Level | None = None) -> None:
    """Once round: right, to the rear, left, to the front, at the height the path is at."""
    half = 0.5 * task.move.size_m
    for n, (x, y) in enumerate(((half, -half), (half, half), (-half, half), (-half, -half))):
        path.name_leg(f"{prefix}leg {n + 1}" if prefix else f"leg {len(path.labels) + 1}", level)
        path.line_to(task.middle[0] + x, task.middle[1] + y)


def square(task: Task) -> Pattern:
    """Four sides, counter-clockwise from the front left corner: right, to the rear, left, to the front."""
    half = 0.5 * task.move.size_m
    start = task.point(-half, -half)
    path = task.path(start)
    for _ in range(task.move.repeats):
        _square(task, path, "")
    return _pattern(f"square {_mm(task.move.size_m)}", start, path)


ZIGZAG_TEETH = 4


def zigzag(task: Task) -> Pattern:
    """Four teeth with corners of 90 degrees, from left to right, as wide as the size; repeats go back and forth."""
    half, pitch = 0.5 * task.move.size_m, task.move.size_m / (2 * ZIGZAG_TEETH)
    rise = 0.5 * pitch
    points = [(-half + n * pitch, rise if n % 2 else -rise) for n in range(2 * ZIGZAG_TEETH + 1)]
    start = task.point(*points[0])
    path = task.path(start)
    for n in range(task.move.repeats):
        for x, y in points[1:] if n % 2 == 0 else points[-2::-1]:
            path.name_leg(f"leg {len(path.labels) + 1}")
            path.line_to(*task.point(x, y))
    return _pattern(f"zigzag {_mm(task.move.size_m)}", start, path)


def circle(task: Task) -> Pattern:
    """A circle of diameter `size`, counter-clockwise from its rightmost point; repeats are further turns in one go."""
    start = task.point(0.5 * task.move.size_m, 0.0)
    path = task.path(start)
    for n in range(task.move.repeats):
        path.name_leg(f"turn {n + 1}")
        path.arc(task.middle[0], task.middle[1], math.tau)
    return _pattern(f"circle {_mm(task.move.size_m)}", start, path)


def star(task: Task) -> Pattern:
    """Twelve rays from the middle, 30 degrees apart, each bent half way out: by 15, 30 ... 180 degrees to the left.

    The tool goes out along a ray, takes the corner, goes on as far again, and straight back to the middle without
    depositing. Every corner has a straight leg behind it in which its ringing can be seen.
    """
    reach = 0.25 * task.move.size_m
    start = task.point(0.0, 0.0)
    path = task.path(start)
    for _ in range(task.move.repeats):
        for n in range(12):
            bend, heading = 15 * (n + 1), math.radians(30 * n)
            x, y = reach * math.cos(heading), reach * math.sin(heading)
            path.depositing = True
            path.name_leg(f"to the {bend} degree corner")
            path.line_to(*task.point(x, y))
            path.name_leg(f"after the {bend} degree corner")
            if bend == 180:
                path.line_to(*start)
                continue
            turned = heading + math.radians(bend)
            path.line_to(*task.point(x + reach * math.cos(turned), y + reach * math.sin(turned)))
            path.depositing = False
            path.name_leg(f"back from the {bend} degree corner")
            path.line_to(*start)
    return _pattern(f"star of corners, {_mm(task.move.size_m)}", start, path)


def _ladder(task: Task, what: Literal["acceleration", "speed"], unit: str, limit: float) -> Pattern:
    """The same square on rising levels; on each, one limit is that level's share of the whole."""
    half, levels = 0.5 * task.move.size_m, task.choices.levels
    start = task.point(-half, -half)
    path = task.path(start)
    rise = min(task.choices.level_rise_m, task.room_up_m / max(levels - 1, 1))
    for level in range(1, levels + 1):
        share = level / levels
        if what == "acceleration":
            path.acceleration_m_s2 = share * limit
        else:
            path.speed_m_s = share * limit
        path.depositing = True
        for _ in range(task.move.repeats):
            prefix = f"level {level} ({1e3 * share * limit:g} {unit}), "
            _square(task, path, prefix, Level(level, what, share * limit))
        if level < levels and rise > 0.0:
            path.depositing = False
            path.name_leg(f"up to level {level + 1}")
            path.line_to(start[0], start[1], start[2] + level * rise)
    words = f"{what} ladder of {levels} squares of {_mm(task.move.size_m)}"
    return _pattern(words, start, path)


def acceleration_ladder(task: Task) -> Pattern:
    """The same square at rising acceleration, a level each, up to the acceleration limit."""
    return _ladder(task, "acceleration", "mm/s2", task.limits.acceleration_m_s2)


def speed_ladder(task: Task) -> Pattern:
    """The same square at rising speed, a level each, up to the speed limit."""
    return _ladder(task, "speed", "mm/s", task.limits.speed_m_s)


def raster(task: Task) -> Pattern:
    """A square filled with rows along X, to and fro, from the front to the rear; repeats start again from the front."""
    half = 0.5 * task.move.size_m
    rows = max(round(task.move.size_m / task.choices.row_spacing_m), 1)
    start = task.point(-half, -half)
    path = task.path(start)
    for n in range(task.move.repeats):
        if n:
            path.depositing = False
            path.name_leg("back to the start")
            path.line_to(*start)
            path.depositing = True
        for row in range(rows + 1):
            side = half if row % 2 == 0 else -half
            y = -half + task.move.size_m * row / rows
            if row:
                path.name_leg(f"on to row {row + 1}")
                path.line_to(*task.point(-side, y))
            path.name_leg(f"row {row + 1}")
            path.line_to(*task.point(side, y))
    return _pattern(f"raster {_mm(task.move.size_m)}, rows {_mm(task.move.size_m / rows)} apart", start, path)


def chirp(task: Task) -> Pattern:
    """Cycles along one axis (or both at 45 degrees) whose frequency rises, each as large as the limits allow.

    The frequency rises by equal ratios in equal times. Each cycle has the largest acceleration that size, speed,
    acceleration and jerk allow at its frequency; the swing changes evenly through a cycle, so that acceleration never
    steps. The first and the last cycle grow from and fade to nothing.
    """
    choices, size = task.choices, task.move.size_m
    x, y = ("x" in task.move.axis) * 1.0, ("y" in task.move.axis) * 1.0
    direction = (x / math.hypot(x, y), y / math.hypot(x, y), 0.0)
    limits = task.axes.along(direction, task.limits)

    def acceleration(frequency_hz: float) -> float:
        w = math.tau * frequency_hz
        bounds = [0.5 * size * w * w, limits.speed_m_s * w, limits.acceleration_m_s2]
        if limits.jerk_m_s3 > 0.0:
            bounds.append(limits.jerk_m_s3 / w)
        return min(bounds)

    frequencies, t = [], 0.0
    while t < choices.sweep_s:
        frequencies.append(choices.from_hz * (choices.to_hz / choices.from_hz) ** (t / choices.sweep_s))
        t += 1.0 / frequencies[-1]
    # The sweep ends with one cycle at the last frequency.
    frequencies.append(choices.to_hz)
    edges = [0.0]
    for before, after in itertools.pairwise(frequencies):
        edges.append(min(acceleration(before), acceleration(after)))
    edges.append(0.0)
    peaks = np.array(edges)
    widest = max(
        float((0.5 * (peaks[:-1] + np.diff(peaks) * u) / (math.tau * np.array(frequencies)) ** 2).max())
        * (1.0 - math.cos(math.tau * u))
        for u in (n / 200 for n in range(201))
    )
    start = task.point(-widest * direction[0], -widest * direction[1])
    path = task.path(start)
    for n in range(task.move.repeats):
        path.name_leg(f"sweep {n + 1}", sweep_hz=(choices.from_hz, choices.to_hz))
        for frequency_hz, first, last in zip(frequencies, edges[:-1], edges[1:], strict=True):
            square_w = (math.tau * frequency_hz) ** 2
            path.wave(direction, frequency_hz, first / square_w, last / square_w)
    words = f"chirp {choices.from_hz:g} to {choices.to_hz:g} Hz along {task.move.axis}, at most {_mm(size)} wide"
    return _pattern(words, start, path)


PATTERNS: dict[str, Callable[[Task], Pattern]] = {
    "step": step,
    "square": square,
    "zigzag": zigzag,
    "circle": circle,
    "star": star,
    "acceleration-ladder": acceleration_ladder,
    "speed-ladder": speed_ladder,
    "raster": raster,
    "chirp": chirp,
}
