"""Corners between lines rounded by a tangent arc that stays within a tolerance of the corner.

For a change of heading theta, the arc whose middle is delta from the corner has radius
R = delta cos(theta/2) / (1 - cos(theta/2)) and starts R tan(theta/2) before the corner (plane geometry). An arc takes
at most half of each line, so that both ends of a line can be rounded. A corner that the corner speed step lets the tool
take as fast without an arc stays sharp.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from .segments import BLEND, LINE, Segments

Array = NDArray[np.float64]

# Turns outside this range stay sharp: there is nothing to round, or no room for an arc.
LEAST_TURN_RAD, MOST_TURN_RAD = 1e-3, math.radians(175.0)


class Rounder:
    """Rounds corners in a stream of segments; the last segment waits for what follows.

    tolerance_m: how far an arc may stay off its corner.  corner_step_m_s: the corner speed step.
    curve_share: share of the acceleration limit that may turn the tool on an arc.
    """

    def __init__(self, tolerance_m: float, corner_step_m_s: float, curve_share: float) -> None:
        self.tolerance_m, self.corner_step_m_s, self.curve_share = tolerance_m, corner_step_m_s, curve_share
        self._waiting = Segments.empty()
        self._taken_m = 0.0

    def feed(self, new: Segments, final: bool = False) -> Segments:
        """Segments that are finished once `new` is known; with `final`, all of them."""
        s = Segments.join([self._waiting, new])
        n = len(s)
        if n == 0:
            return s
        turn, setback = self._setbacks(s)
        arcs = _arcs(s, np.flatnonzero(setback > 0.0), turn, setback)
        done = n if final else n - 1
        self._waiting = Segments.empty() if final else s[n - 1 :]
        taken = np.append(self._taken_m, setback)[:done]
        given = np.append(setback, 0.0)[:done]
        if final:
            self._taken_m = 0.0
        elif n > 1:  # a lone segment goes on waiting, and what was taken of it stays taken
            self._taken_m = float(setback[-1])
        out = s[np.arange(done)]
        line = out.kind == LINE
        out.geo[line, 0:3] += out.geo[line, 3:6] * taken[line, None]
        out.length_m[line] -= (taken + given)[line]
        order = np.argsort(np.append(np.arange(done), np.flatnonzero(setback > 0.0) + 0.5), kind="stable")
        both = Segments.join([out, arcs])[order]
        # Where two arcs meet in the middle of a line, nothing is left of it.
        return both[(both.kind != LINE) | (both.length_m > 1e-12)]

    def _setbacks(self, s: Segments) -> tuple[Array, Array]:
        """(turn, setback) at each corner, (n - 1,): change of heading, rad, and how far before it an arc starts, m."""
        half_jump = 0.5 * np.linalg.norm(s.tangent_in[1:] - s.tangent_out[:-1], axis=1)
        turn = 2.0 * np.arcsin(np.minimum(half_jump, 1.0))
        able = (s.kind[1:] == LINE) & (s.kind[:-1] == LINE) & (turn > LEAST_TURN_RAD) & (turn < MOST_TURN_RAD)
        safe = np.where(able, turn, 1.0)
        cos, tan = np.cos(0.5 * safe), np.tan(0.5 * safe)
        room = 0.5 * np.minimum(s.length_m[1:], s.length_m[:-1])
        setback = np.minimum(self.tolerance_m * cos / (1.0 - cos) * tan, room)
        limit = np.minimum(s.acceleration_m_s2[1:], s.acceleration_m_s2[:-1])
        arc_square = self.curve_share * limit * setback / tan
        corner_square = (self.corner_step_m_s / np.maximum(2.0 * half_jump, 1e-12)) ** 2
        cap_square = np.minimum(s.speed_m_s[1:], s.speed_m_s[:-1]) ** 2
        wanted = able & (corner_square < np.minimum(arc_square, cap_square))
        return turn, np.where(wanted, setback, 0.0)


def _arcs(s: Segments, at: NDArray[np.intp], turn: Array, setback: Array) -> Segments:
    """The arcs that round the corners behind segments `at`."""
    out = s[at]
    if not len(at):
        return out
    t_in, t_out = s.tangent_out[at], s.tangent_in[at + 1]
    theta, back = turn[at][:, None], setback[at][:, None]
    radius = back / np.tan(0.5 * theta)
    inward = (t_out - np.cos(theta) * t_in) / np.sin(theta)
    start = s.geo[at, 0:3] + t_in * (s.length_m[at][:, None] - back)
    out.kind[:] = BLEND
    out.geo[:, 0:3], out.geo[:, 3:6], out.geo[:, 6:9] = start + inward * radius, -inward * radius, t_in * radius
    out.geo[:, 9:12], out.geo[:, 12] = 0.0, 1.0 / radius[:, 0]
    out.length_m, out.curvature = (radius * theta)[:, 0], 1.0 / radius[:, 0]
    out.tangent_in, out.tangent_out = t_in, t_out
    out.speed_m_s = np.minimum(s.speed_m_s[at], s.speed_m_s[at + 1])
    out.acceleration_m_s2 = np.minimum(s.acceleration_m_s2[at], s.acceleration_m_s2[at + 1])
    return out
