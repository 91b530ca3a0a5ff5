"""A path drawn by hand on the bed: the motors follow it live, and it becomes a motion program that is run.

The program is written in the plainest form there is (straight moves at one speed), into a folder that goes with the
window; saved as a scenario it is copied beside it.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...files.drawn import drawn_folder
from .bench import Bench

Array = NDArray[np.float64]

NEAREST_M = 0.8e-3  # points of a drawn path lie no nearer than this
SMOOTH_M = 0.25e-3  # points this near to the line between their neighbours are left out
ROUNDED_MM = 0.2  # corners of a hand are no corners: the program may cut them by so much
LEAST_M = 0.004
MOST_POINTS = 4000


class OwnPath:
    """What has been drawn so far. points: (n, 2) m.  times_s, angles: (n,), (n, motors) rad, as the motors followed."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.points: list[Array] = []
        self.times_s: list[float] = []
        self.angles: list[Array] = []
        self.drawing = False
        self._clock_s = 0.0

    def clear(self) -> None:
        """Nothing is drawn."""
        self.points, self.times_s, self.angles = [], [], []
        self.drawing, self._clock_s = False, 0.0

    def begin(self, place: Array) -> None:
        """The pen goes down at a place (2,), m."""
        self.clear()
        self.drawing = True
        self.go(place)

    def go(self, place: Array) -> None:
        """The pen moves to a place; the motors follow, as far as the reach goes."""
        if not self.drawing or len(self.points) >= MOST_POINTS:
            return
        self.bench.draw_at(np.asarray(place, float))
        at = np.asarray(self.bench.tool[:2], float)
        if not self.points or float(np.hypot(*(at - self.points[-1]))) >= NEAREST_M:
            self.points.append(at)
            self.times_s.append(self._clock_s)
            self.angles.append(self.bench.angle.copy())

    def end(self) -> None:
        """The pen comes up."""
        self.drawing = False

    def advance(self, dt: float) -> bool:
        """Let time pass while it is drawn."""
        if self.drawing:
            self._clock_s += dt
        return self.drawing

    @property
    def length_m(self) -> float:
        """How long it is, m."""
        return float(np.hypot(*np.diff(np.array(self.points), axis=0).T).sum()) if len(self.points) > 1 else 0.0

    @property
    def ready(self) -> bool:
        """Whether there is enough to run."""
        return not self.drawing and self.length_m >= LEAST_M

    def program(self, speed_mm_s: float) -> str:
        """As a motion program in millimetres: straight moves at one speed."""
        lines = ["; drawn by hand", "G90"]
        for k, (x, y) in enumerate(1e3 * simplified(np.array(self.points), SMOOTH_M)):
            feed = f" F{60 * speed_mm_s:.0f}" if k == 0 else ""
            lines.append(f"G1 X{x:.2f} Y{y:.2f}{feed}")
        return "\n".join(lines) + "\n"

    def changes(self, speed_mm_s: float, number: int, rounded: bool) -> dict[str, Any]:
        """The settings that run it. number: of the path, so that each has a file of its own.  rounded: whether its corners
        may be cut. Raises OSError where the program cannot be written."""
        path = drawn_folder() / f"drawn-{number}.gcode"
        path.write_text(self.program(speed_mm_s), encoding="utf-8")
        return {"move.gcode": str(path), **({"motion.corner_tolerance_mm": ROUNDED_MM} if rounded else {})}


def simplified(points: Array, within: float) -> Array:
    """A polyline (n, 2) with as few points as stay within a distance of it (Douglas & Peucker 1973; from memory)."""
    if len(points) < 3:
        return points
    keep = np.zeros(len(points), bool)
    keep[[0, -1]] = True
    spans = [(0, len(points) - 1)]
    while spans:
        a, b = spans.pop()
        if b - a < 2:
            continue
        inner, way = points[a + 1 : b] - points[a], points[b] - points[a]
        length = float(np.hypot(*way))
        if length > 0:
            off = np.abs(inner[:, 0] * way[1] - inner[:, 1] * way[0]) / length
        else:
            off = np.hypot(*inner.T)
        k = int(np.argmax(off))
        if off[k] > within:
            keep[a + 1 + k] = True
            spans += [(a, a + 1 + k), (a + 1 + k, b)]
    return np.asarray(points[keep])
