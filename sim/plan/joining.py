"""Straight lines that come in many pieces, made one again.

A program writes its points to so many digits, so a long line cut into pieces wanders by half the last one, and its
pieces meet at small angles that nobody meant. Pieces are joined while every point between lies within the grain of the
line from the first point to the last: the directions that allow it form a cone, which each new point narrows
(opening-window line simplification, from memory; any textbook of cartography).

A curve of short chords must not be joined so: that would sharpen its corners. With n chords to a run, the corners left
are about 8 grain / run, those that rounding makes about grain / chord; so joining pays from n = 8 on. Shorter runs are
joined only where they are exactly straight, or so long that 8 grain / run is no angle.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ..compiled import compiled, for_size
from .segments import LINE, Segments

Array = NDArray[np.float64]

LEAST_PIECES = 8
NO_ANGLE_RAD = 1e-3
EXACT_RAD = 1e-7


@compiled
def find_runs(
    joinable: NDArray[np.bool_], geo: Array, length: Array, grain: float, final: bool, cone: Array,
    head: NDArray[np.bool_], way: Array, whole: Array,
) -> int:  # fmt: skip
    """Which segments begin a run, and each run's direction and length.

    joinable: (n,), whether a segment may continue the one before it.  grain: m, how far points may lie off.
    cone: (6,) axis, half angle (rad), pieces, 1 if exactly straight: of the run that the first segment stands for
    already, pieces 0 if it is new; carried on.  Out: head (n,); way (n, 3) and whole (n,), at heads.
    Returns where the last run begins that may still grow; n with `final`.
    """
    n = len(joinable)
    at = 0
    while at < n:
        ux, uy, uz, far = geo[at, 3], geo[at, 4], geo[at, 5], length[at]
        head[at] = True
        way[at, 0], way[at, 1], way[at, 2], whole[at] = ux, uy, uz, far
        if at > 0 or cone[4] == 0.0:
            cone[0], cone[1], cone[2], cone[4], cone[5] = ux, uy, uz, 1.0, 1.0
            cone[3] = min(grain / far, 0.5) if far > 0.0 else 0.0
        cx, cy, cz = ux, uy, uz
        i = at + 1
        while i < n and joinable[i]:
            px, py, pz = (
                far * cx + geo[i, 3] * length[i],
                far * cy + geo[i, 4] * length[i],
                far * cz + geo[i, 5] * length[i],
            )
            new = math.sqrt(px * px + py * py + pz * pz)
            if new <= far:
                break
            nx, ny, nz = px / new, py / new, pz / new
            off = math.sqrt((nx - cone[0]) ** 2 + (ny - cone[1]) ** 2 + (nz - cone[2]) ** 2)
            if off > cone[3] or geo[i, 3] * cone[0] + geo[i, 4] * cone[1] + geo[i, 5] * cone[2] <= 0.0:
                break
            if abs(geo[i, 3] - ux) + abs(geo[i, 4] - uy) + abs(geo[i, 5] - uz) > EXACT_RAD:
                cone[5] = 0.0
            own = grain / new
            if off + own <= cone[3]:
                cone[0], cone[1], cone[2], cone[3] = nx, ny, nz, own
            elif off + cone[3] > own:
                half = 0.5 * (cone[3] + own - off)
                share = (cone[3] - half) / off
                ax, ay, az = (
                    cone[0] + share * (nx - cone[0]),
                    cone[1] + share * (ny - cone[1]),
                    cone[2] + share * (nz - cone[2]),
                )
                norm = math.sqrt(ax * ax + ay * ay + az * az)
                cone[0], cone[1], cone[2], cone[3] = ax / norm, ay / norm, az / norm, half
            cone[4] += 1.0
            cx, cy, cz, far = nx, ny, nz, new
            i += 1
        accepted = cone[4] >= LEAST_PIECES or cone[5] == 1.0 or 8.0 * grain <= NO_ANGLE_RAD * far
        if accepted:
            way[at, 0], way[at, 1], way[at, 2], whole[at] = cx, cy, cz, far
            for k in range(at + 1, i):
                head[k] = False
        if i == n and not final:
            if not accepted:
                cone[4] = 0.0
            return at
        at = i if accepted else at + 1
        cone[4] = 0.0
    return n


class Straightener:
    """Joins pieces of straight lines in a stream of segments; the last run waits for what follows."""

    def __init__(self) -> None:
        self._waiting = Segments.empty()
        self._cone = np.zeros(6)

    def feed(self, new: Segments, grain_m: float, final: bool = False) -> Segments:
        """Segments that are finished once `new` is known; with `final`, all of them."""
        s = Segments.join([self._waiting, new])
        n = len(s)
        if n == 0:
            return s
        joinable = np.zeros(n, np.bool_)
        joinable[1:] = (s.kind[1:] == LINE) & (s.kind[:-1] == LINE) & (s.leg[1:] == s.leg[:-1])
        joinable[1:] &= (s.speed_m_s[1:] == s.speed_m_s[:-1]) & (s.depositing[1:] == s.depositing[:-1])
        joinable[1:] &= s.acceleration_m_s2[1:] == s.acceleration_m_s2[:-1]
        head, way, whole = np.ones(n, np.bool_), np.zeros((n, 3)), np.zeros(n)
        done = for_size(find_runs, n)(joinable, s.geo, s.length_m, grain_m, final, self._cone, head, way, whole)
        # A run that may still grow waits as one segment if it is accepted already, else in its pieces.
        longer = head & (whole > s.length_m)
        s.geo[longer, 3:6] = s.tangent_in[longer] = s.tangent_out[longer] = way[longer]
        s.length_m[longer] = whole[longer]
        self._waiting = s[done:][head[done:]] if self._cone[4] > 0.0 else s[done:]
        return s[:done][head[:done]]
