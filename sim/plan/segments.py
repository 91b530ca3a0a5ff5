"""The path of the tool as a row of segments: straight lines, true arcs (helices too), holds and waves.

A segment says where the tool goes and within which limits, not when. Struct of arrays, so that a million of them stay
small and compiled loops can walk them. Along a segment the position is a function of the distance s from its start:

    LINE         p = g[0:3] + g[3:6] s                                  (g[3:6] a unit vector)
    ARC, BLEND   p = g[0:3] + g[3:6] cos(g[12] s) + g[6:9] sin(g[12] s) + g[9:12] s
                 (centre, radius vector at the start, radius vector a quarter turn on, rise per metre, angle per metre)
    HOLD         p = g[0:3], for `hold_s`
    WAVE         p = g[0:3] + g[3:6] (g[6] + (g[8] - g[6]) t / T) (1 - cos(g[7] t)), for `hold_s` = T, one whole cycle:
                 starts and ends at rest in the same place, with accelerations g[6] g[7]^2 and g[8] g[7]^2

A BLEND is an arc that rounds the corner between two lines; the path asked for still goes through that corner.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from ..compiled import formula
from .plan import LegLabel, Level

Array = NDArray[np.float64]
Point = tuple[float, float, float]

LINE, ARC, BLEND, HOLD, WAVE = 0, 1, 2, 3, 4
GEO_WIDTH = 13
# A line shorter than this is what the rounding of its ends left over, not a way with a direction: the velocity would
# have to turn into it and out of it again within no time, two jumps that together exceed the corner speed step.
NO_WAY_M = 1e-12


@dataclass
class Segments:
    """n segments, in order, without gaps.

    kind: (n,).  geo: (n, 13), see the head of this module.  length_m: (n,), 0 for HOLD and WAVE.
    tangent_in, tangent_out: (n, 3) unit vectors at both ends (0 for HOLD and WAVE).  curvature: (n,) 1/m.
    speed_m_s, acceleration_m_s2: (n,) limits along the path; the acceleration limit holds for the whole vector.
    hold_s: (n,), the duration of HOLD and WAVE.  depositing: (n,) bool.  line: (n,) line of the program, 0 = none.
    leg: (n,) index of the leg each belongs to.
    """

    kind: NDArray[np.int8]
    geo: Array
    length_m: Array
    tangent_in: Array
    tangent_out: Array
    curvature: Array
    speed_m_s: Array
    acceleration_m_s2: Array
    hold_s: Array
    depositing: NDArray[np.bool_]
    line: NDArray[np.int32]
    leg: NDArray[np.int32]

    def __len__(self) -> int:
        return len(self.kind)

    def __getitem__(self, rows: slice | NDArray[np.intp] | NDArray[np.bool_]) -> Segments:
        return Segments(*(getattr(self, f.name)[rows] for f in fields(self)))

    @staticmethod
    def join(parts: Sequence[Segments]) -> Segments:
        """All segments of `parts`, one after the other."""
        if len(parts) == 1:
            return parts[0]
        return Segments(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Segments)))

    @staticmethod
    def empty(n: int = 0) -> Segments:
        """n segments with every number zero, to be filled in."""
        return Segments(
            np.zeros(n, np.int8), np.zeros((n, GEO_WIDTH)), np.zeros(n), np.zeros((n, 3)), np.zeros((n, 3)),
            np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n, np.bool_), np.zeros(n, np.int32),
            np.zeros(n, np.int32),
        )  # fmt: skip

    def starts(self) -> Array:
        """First point of each segment, (n, 3) m."""
        out = self.geo[:, 0:3].copy()
        curved = (self.kind == ARC) | (self.kind == BLEND)
        out[curved] += self.geo[curved, 3:6]
        return out

    def ends(self) -> Array:
        """Last point of each segment, (n, 3) m."""
        out = self.geo[:, 0:3].copy()
        curved = (self.kind == ARC) | (self.kind == BLEND)
        g, s = self.geo, self.length_m[:, None]
        out += np.where(self.kind[:, None] == LINE, g[:, 3:6] * s, 0.0)
        if curved.any():
            angle = (g[:, 12] * self.length_m)[:, None]
            arcs = g[:, 0:3] + g[:, 3:6] * np.cos(angle) + g[:, 6:9] * np.sin(angle) + g[:, 9:12] * s
            out[curved] = arcs[curved]
        return out

    def extent(self) -> tuple[Array, Array]:
        """Smallest and largest coordinate of each segment, two (n, 3) arrays, m. Arcs by their true extremes."""
        first, last = self.starts(), self.ends()
        low, high = np.minimum(first, last), np.maximum(first, last)
        for i in np.flatnonzero((self.kind == ARC) | (self.kind == BLEND)):
            g = self.geo[i]
            turn = g[12] * self.length_m[i]
            for d in range(3):
                radius = math.hypot(g[3 + d], g[6 + d])
                if radius == 0.0:
                    continue
                # c + e1 cos(a) + e2 sin(a) is largest at atan2(e2, e1) and smallest half a turn on.  A rise that is
                # not square to the circle's plane does not occur.
                top = math.atan2(g[6 + d], g[3 + d])
                if (top % math.tau) <= turn:
                    high[i, d] = max(high[i, d], g[d] + radius)
                if ((top + math.pi) % math.tau) <= turn:
                    low[i, d] = min(low[i, d], g[d] - radius)
        for i in np.flatnonzero(self.kind == WAVE):
            swing = self.geo[i, 0:3] + 2.0 * max(self.geo[i, 6], self.geo[i, 8]) * self.geo[i, 3:6]
            low[i], high[i] = np.minimum(low[i], swing), np.maximum(high[i], swing)
        return low, high


def farthest(segments: Segments, middle: Point) -> float:
    """Largest distance in X and Y from `middle`, m, of lines, arcs and waves; arcs by the point away from the middle."""
    at = np.array(middle[:2])
    ends = np.vstack([segments.starts()[:, :2], segments.ends()[:, :2]])
    most = float(np.hypot(*(ends - at).T).max())
    for i in np.flatnonzero(segments.kind == ARC):
        g = segments.geo[i]
        away, radius = np.hypot(*(g[:2] - at)), math.hypot(g[3], g[4])
        there = g[:2] - at if away > 0.0 else g[3:5]
        # c + e1 cos(a) + e2 sin(a) points along `there` at atan2(e2 . there, e1 . there).
        turn = math.atan2(float(g[6:8] @ there), float(g[3:5] @ there))
        if turn % math.tau <= g[12] * segments.length_m[i]:
            most = max(most, float(away + radius))
    for i in np.flatnonzero(segments.kind == WAVE):
        swing = segments.geo[i, 0:3] + 2.0 * max(segments.geo[i, 6], segments.geo[i, 8]) * segments.geo[i, 3:6]
        most = max(most, float(np.hypot(*(swing[:2] - at))))
    return most


class SegmentList:
    """Collects segments one at a time; for patterns, where there are few. `done()` gives the arrays."""

    def __init__(self, start: Point, speed_m_s: float, acceleration_m_s2: float) -> None:
        self.at = start
        self.speed_m_s, self.acceleration_m_s2 = speed_m_s, acceleration_m_s2
        self.labels: list[LegLabel] = []
        self.depositing = True
        self._rows, self._count = Segments.empty(16), 0

    def name_leg(self, name: str, level: Level | None = None, sweep_hz: tuple[float, float] | None = None) -> None:
        """What follows belongs to a new leg of this name."""
        self.labels.append(LegLabel(name, level, sweep_hz))

    def _row(self, kind: int) -> int:
        i, rows = self._count, self._rows
        if i == len(rows):
            rows = self._rows = Segments.join([rows, Segments.empty(len(rows))])
        rows.kind[i], rows.geo[i, 0:3] = kind, self.at
        rows.speed_m_s[i], rows.acceleration_m_s2[i] = self.speed_m_s, self.acceleration_m_s2
        rows.depositing[i], rows.leg[i] = self.depositing, max(len(self.labels) - 1, 0)
        self._count += 1
        return i

    def line_to(self, x_m: float, y_m: float, z_m: float | None = None) -> None:
        """Straight to a point, m. A line of no length adds nothing."""
        end = (x_m, y_m, self.at[2] if z_m is None else z_m)
        length = math.dist(end, self.at)
        if length < NO_WAY_M:
            return
        i, rows = self._row(LINE), self._rows
        direction = [(b - a) / length for a, b in zip(self.at, end, strict=True)]
        rows.geo[i, 3:6] = rows.tangent_in[i] = rows.tangent_out[i] = direction
        rows.length_m[i] = length
        self.at = end

    def arc(self, centre_x_m: float, centre_y_m: float, turn_rad: float, rise_m: float = 0.0) -> None:
        """Round a centre in the XY plane by `turn_rad` (counter-clockwise positive), rising evenly by `rise_m`."""
        i, rows = self._row(ARC), self._rows
        x, y, z = self.at
        rows.length_m[i], rows.curvature[i] = put_arc(
            rows.geo[i], rows.tangent_in[i], rows.tangent_out[i], x, y, z, centre_x_m, centre_y_m, turn_rad, rise_m
        )
        ex, ey, c, s = x - centre_x_m, y - centre_y_m, math.cos(turn_rad), math.sin(turn_rad)
        self.at = (centre_x_m + ex * c - ey * s, centre_y_m + ex * s + ey * c, z + rise_m)

    def hold(self, seconds: float) -> None:
        """Stand still for a time."""
        i = self._row(HOLD)
        self._rows.hold_s[i] = seconds

    def wave(self, direction: Point, frequency_hz: float, swing_from_m: float, swing_to_m: float) -> None:
        """One whole cycle out along a direction and back, while its swing (half the way out) changes evenly."""
        i = self._row(WAVE)
        geo = self._rows.geo
        geo[i, 3:6], geo[i, 7] = direction, math.tau * frequency_hz
        geo[i, 6], geo[i, 8] = swing_from_m, swing_to_m
        self._rows.hold_s[i] = 1.0 / frequency_hz

    def done(self) -> Segments:
        """Everything collected so far."""
        return self._rows[: self._count]


@formula
def put_arc(
    geo: Array, tangent_in: Array, tangent_out: Array,
    x: float, y: float, z: float, centre_x: float, centre_y: float, turn: float, rise: float,
) -> tuple[float, float]:  # fmt: skip
    """Write an arc or helix in the XY plane into one segment's (13,), (3,), (3,); returns its length, m, and curvature, 1/m.

    From the point x, y, z round the centre by `turn` (rad, counter-clockwise positive), rising evenly by `rise`, m.
    """
    ex, ey = x - centre_x, y - centre_y
    sense = 1.0 if turn > 0.0 else -1.0
    whole = math.hypot(math.hypot(ex, ey) * turn, rise)
    per_m, climb = abs(turn) / whole, rise / whole
    geo[0], geo[1], geo[2] = centre_x, centre_y, z
    geo[3], geo[4], geo[5] = ex, ey, 0.0
    geo[6], geo[7], geo[8] = -sense * ey, sense * ex, 0.0
    geo[9], geo[10], geo[11], geo[12] = 0.0, 0.0, climb, per_m
    c, s = math.cos(turn), math.sin(abs(turn))
    tangent_in[0], tangent_in[1], tangent_in[2] = -sense * ey * per_m, sense * ex * per_m, climb
    tangent_out[0] = (-ex * s - sense * ey * c) * per_m
    tangent_out[1] = (-ey * s + sense * ex * c) * per_m
    tangent_out[2] = climb
    return whole, math.hypot(ex, ey) * per_m * per_m
