"""The path of the tool as a row of segments: straight lines, true arcs (helices too), holds and waves.

A segment says where the tool goes and within which limits, not when. Struct of arrays, so that a million of them stay
small and compiled loops can walk them. Along a segment the position is a function of the distance s from its start:

    LINE         p = g[0:3] + g[3:6] s                                  (g[3:6] a unit vector)
    ARC, BLEND   p = g[0:3] + g[3:6] cos(g[12] s) + g[6:9] sin(g[12] s) + g[9:12] s
                 (centre, radius vector at the start, radius vector a quarter turn on, rise per metre, angle per metre)
    HOLD         p = g[0:3], for `hold_s`
    WAVE         p = g[0:3] + g[3:6] g[6] (1 - cos(g[7] t)), for `hold_s`: starts and ends at rest, at its own pace

A BLEND is an arc that rounds the corner between two lines; the path asked for still goes through that corner.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Point = tuple[float, float, float]

LINE, ARC, BLEND, HOLD, WAVE = 0, 1, 2, 3, 4
GEO_WIDTH = 13


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

    def __getitem__(self, rows: slice | Array | NDArray[np.intp]) -> Segments:
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
            swing = self.geo[i, 0:3] + 2.0 * self.geo[i, 6] * self.geo[i, 3:6]
            low[i], high[i] = np.minimum(low[i], swing), np.maximum(high[i], swing)
        return low, high


class SegmentList:
    """Collects segments one at a time; for patterns, where there are few. `done()` gives the arrays."""

    def __init__(self, start: Point, speed_m_s: float, acceleration_m_s2: float) -> None:
        self.at = np.array(start, dtype=np.float64)
        self.speed_m_s, self.acceleration_m_s2 = speed_m_s, acceleration_m_s2
        self.leg = 0
        self.names: list[str] = []
        self.depositing = True
        self._rows: list[Segments] = []

    def name_leg(self, name: str) -> None:
        """What follows belongs to a new leg of this name."""
        self.names.append(name)
        self.leg = len(self.names) - 1

    def _row(self, kind: int) -> Segments:
        row = Segments.empty(1)
        row.kind[0], row.geo[0, 0:3] = kind, self.at
        row.speed_m_s[0], row.acceleration_m_s2[0] = self.speed_m_s, self.acceleration_m_s2
        row.depositing[0], row.leg[0] = self.depositing, self.leg
        self._rows.append(row)
        return row

    def line_to(self, x_m: float, y_m: float, z_m: float | None = None) -> None:
        """Straight to a point, m. A line of no length adds nothing."""
        end = np.array([x_m, y_m, self.at[2] if z_m is None else z_m])
        length = float(np.linalg.norm(end - self.at))
        if length == 0.0:
            return
        row = self._row(LINE)
        row.geo[0, 3:6] = row.tangent_in[0] = row.tangent_out[0] = (end - self.at) / length
        row.length_m[0] = length
        self.at = end

    def arc(self, centre_x_m: float, centre_y_m: float, turn_rad: float, rise_m: float = 0.0) -> None:
        """Round a centre in the XY plane by `turn_rad` (counter-clockwise positive), rising evenly by `rise_m`."""
        row = self._row(ARC)
        fill_arc(row, 0, self.at, (centre_x_m, centre_y_m), turn_rad, rise_m)
        self.at = row.ends()[0]

    def hold(self, seconds: float) -> None:
        """Stand still for a time."""
        self._row(HOLD).hold_s[0] = seconds

    def wave(self, direction: Point, swing_m: float, frequency_hz: float) -> None:
        """One whole cycle: out by 2 `swing_m` along a direction and back, s = swing (1 - cos 2 pi f t)."""
        row = self._row(WAVE)
        row.geo[0, 3:6], row.geo[0, 6], row.geo[0, 7] = direction, swing_m, math.tau * frequency_hz
        row.hold_s[0] = 1.0 / frequency_hz

    def done(self) -> Segments:
        """Everything collected so far."""
        return Segments.join(self._rows) if self._rows else Segments.empty()


def fill_arc(out: Segments, i: int, start: Array, centre: tuple[float, float], turn_rad: float, rise_m: float) -> None:
    """Write an arc or helix in the XY plane into row i: from `start` round `centre`, rising by `rise_m`."""
    ex, ey = float(start[0]) - centre[0], float(start[1]) - centre[1]
    radius, sense = math.hypot(ex, ey), math.copysign(1.0, turn_rad)
    length = math.hypot(radius * turn_rad, rise_m)
    per_m = abs(turn_rad) / length
    out.kind[i] = ARC
    out.geo[i, 0:3] = [centre[0], centre[1], start[2]]
    out.geo[i, 3:6] = [ex, ey, 0.0]
    out.geo[i, 6:9] = [-sense * ey, sense * ex, 0.0]
    out.geo[i, 9:13] = [0.0, 0.0, rise_m / length, per_m]
    out.length_m[i] = length
    out.curvature[i] = radius * per_m * per_m
    for angle, tangent in ((0.0, out.tangent_in), (abs(turn_rad), out.tangent_out)):
        c, s = math.cos(angle) * per_m, math.sin(angle) * per_m
        tangent[i] = [-ex * s - sense * ey * c, -ey * s + sense * ex * c, rise_m / length]
