"""Straight lines that come in many pieces, made one again.

A program writes its points to so many digits, so a long line cut into pieces wanders by half the last one. Pieces are
joined while every point between lies within that grain of the line from the first point to the last: the directions
that allow it form a cone, which each new point narrows (opening-window line simplification, after Reumann & Witkam
1974, from memory).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from .compiled import compiled, for_size
from .segments import LINE, Segments

Array = NDArray[np.float64]


@compiled
def find_runs(
    joinable: NDArray[np.bool_], geo: Array, length: Array, grain: float, cone: Array, head: NDArray[np.bool_],
    way: Array, whole: Array,
) -> None:  # fmt: skip
    """Which segments begin a run, and each run's direction and length.

    joinable: (n,), whether a segment may continue the one before it.  grain: m, how far points may lie off.
    cone: (4,) axis and half angle (rad) that the first segment's run allows, half angle 0 if it is new; carried on.
    Out: head (n,); way (n, 3) and whole (n,), at heads.
    """
    at = 0
    for i in range(len(joinable)):
        ux, uy, uz, run = geo[i, 3], geo[i, 4], geo[i, 5], length[i]
        if joinable[i]:
            px = whole[at] * way[at, 0] + ux * run + 0.0
            py = whole[at] * way[at, 1] + uy * run
            pz = whole[at] * way[at, 2] + uz * run
            far = math.sqrt(px * px + py * py + pz * pz)
            if far > whole[at]:
                cx, cy, cz = px / far, py / far, pz / far
                off = math.sqrt((cx - cone[0]) ** 2 + (cy - cone[1]) ** 2 + (cz - cone[2]) ** 2)
                along = ux * cone[0] + uy * cone[1] + uz * cone[2]
                if off <= cone[3] and along > 0.0:
                    own = grain / far
                    if off + own <= cone[3]:
                        cone[0], cone[1], cone[2], cone[3] = cx, cy, cz, own
                    elif off + cone[3] > own:
                        half = 0.5 * (cone[3] + own - off)
                        share = (cone[3] - half) / off
                        ax, ay, az = (
                            cone[0] + share * (cx - cone[0]),
                            cone[1] + share * (cy - cone[1]),
                            cone[2] + share * (cz - cone[2]),
                        )
                        norm = math.sqrt(ax * ax + ay * ay + az * az)
                        cone[0], cone[1], cone[2], cone[3] = ax / norm, ay / norm, az / norm, half
                    head[i] = False
                    way[at, 0], way[at, 1], way[at, 2], whole[at] = cx, cy, cz, far
                    continue
        at = i
        head[i] = True
        way[i, 0], way[i, 1], way[i, 2], whole[i] = ux, uy, uz, run
        if i > 0 or cone[3] == 0.0:
            cone[0], cone[1], cone[2] = ux, uy, uz
            cone[3] = min(grain / run, 0.5) if run > 0.0 else 0.0


class Straightener:
    """Joins pieces of straight lines in a stream of segments; the last run waits for what follows."""

    def __init__(self) -> None:
        self._waiting = Segments.empty()
        self._cone = np.zeros(4)

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
        head, way, whole = np.zeros(n, np.bool_), np.zeros((n, 3)), np.zeros(n)
        if not len(self._waiting):
            self._cone[3] = 0.0
        for_size(find_runs, n)(joinable, s.geo, s.length_m, grain_m, self._cone, head, way, whole)
        longer = head & (whole != s.length_m)
        s.geo[longer, 3:6] = s.tangent_in[longer] = s.tangent_out[longer] = way[longer]
        s.length_m[longer] = whole[longer]
        out = s[head]
        if final:
            self._waiting = Segments.empty()
            return out
        self._waiting = out[len(out) - 1 :]
        return out[: len(out) - 1]
