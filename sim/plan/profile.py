"""Speed along the path against time, from the speeds at the segment ends: pieces on which s(t) is a cubic."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..compiled import compiled, for_size
from .lookahead import fastest_square
from .segments import HOLD, LINE, WAVE, Segments

Array = NDArray[np.float64]


@dataclass
class Pieces:
    """m pieces of time, without gaps.

    start_s: (m,) when each begins.  end_s: when the last one ends.  segment: (m,) row in the segments.
    motion: (m, 4): s, speed, acceleration, jerk along the path at its start (WAVE: unused).
    """

    start_s: Array
    end_s: float
    segment: NDArray[np.int64]
    motion: Array

    def __len__(self) -> int:
        return len(self.start_s)


@compiled
def trapezoid_pieces(
    kind: NDArray[np.int8],
    length: Array,
    cap: Array,
    limit: Array,
    curvature: Array,
    hold_s: Array,
    node: Array,
    t: float,
    start_s: Array,
    segment: NDArray[np.int64],
    motion: Array,
) -> tuple[int, float]:
    """Accelerate, cruise, slow down on each segment. Fills start_s, segment, motion; returns how many, and the end."""
    m = 0
    for i in range(len(kind)):
        if kind[i] == HOLD or kind[i] == WAVE:
            start_s[m], segment[m] = t, i
            m += 1
            t += hold_s[i]
            continue
        x0, x1, s, a = node[i], node[i + 1], length[i], limit[i]
        k = curvature[i]
        # Fastest point within: reached from both ends, x = (x0 + x1)/2 + a s, with `a` what the curve leaves there.
        top = min(fastest_square(0.5 * (x0 + x1), 0.5 * s, a, k), cap[i])
        top = max(top, x0, x1)
        along = math.sqrt(max(a * a - (k * top) ** 2, 0.0)) if k > 0.0 else a
        v0, v1, v = math.sqrt(x0), math.sqrt(x1), math.sqrt(top)
        # Rounding leaves differences of some 1e-16; a ramp of less than a tenth of a nanosecond is none.
        up = (v - v0) / along if v - v0 > 1e-10 * along else 0.0
        down = (v - v1) / along if v - v1 > 1e-10 * along else 0.0
        s_up = 0.5 * (v0 + v) * up if up > 0.0 else 0.0
        s_down = 0.5 * (v1 + v) * down if down > 0.0 else 0.0
        cruise = (s - s_up - s_down) / v if v > 0.0 else 0.0
        if up > 0.0:
            start_s[m], segment[m] = t, i
            motion[m, 0], motion[m, 1], motion[m, 2], motion[m, 3] = 0.0, v0, along, 0.0
            m += 1
            t += up
        if cruise > 1e-10:
            start_s[m], segment[m] = t, i
            motion[m, 0], motion[m, 1], motion[m, 2], motion[m, 3] = s_up, v, 0.0, 0.0
            m += 1
            t += cruise
        if down > 0.0:
            start_s[m], segment[m] = t, i
            motion[m, 0], motion[m, 1], motion[m, 2], motion[m, 3] = s - s_down, v, -along, 0.0
            m += 1
            t += down
    return m, t


@compiled
def find_jumps(
    kind: NDArray[np.int8], geo: Array, start_s: Array, end_s: float, segment: NDArray[np.int64], motion: Array,
    before: Array, jump: NDArray[np.bool_], moves: NDArray[np.bool_],
) -> None:  # fmt: skip
    """Where velocity or acceleration jump, and which axes move.

    before: (6,) velocity and acceleration just before the first piece; replaced by those at the end of the last.
    jump: (m, 3), whether they jump at the start of each piece, by axis.  moves: (m, 3), whether the axis moves in it.
    """
    now = np.zeros(6)
    for m in range(len(start_s)):
        i = segment[m]
        stop = start_s[m + 1] if m + 1 < len(start_s) else end_s
        for end in range(2):
            tau = (stop - start_s[m]) if end else 0.0
            for d in range(6):
                now[d] = 0.0
            if kind[i] == WAVE:
                w, swell = geo[i, 7], (geo[i, 8] - geo[i, 6]) * geo[i, 7] / math.tau
                swing, c, q = geo[i, 6] + swell * tau, math.cos(w * tau), math.sin(w * tau)
                v, a = swell * (1.0 - c) + swing * w * q, 2.0 * swell * w * q + swing * w * w * c
                for d in range(3):
                    now[d], now[3 + d] = geo[i, 3 + d] * v, geo[i, 3 + d] * a
            elif kind[i] != HOLD:
                s = motion[m, 0] + tau * (motion[m, 1] + tau * (0.5 * motion[m, 2] + tau * motion[m, 3] / 6.0))
                v = motion[m, 1] + tau * (motion[m, 2] + 0.5 * tau * motion[m, 3])
                a = motion[m, 2] + tau * motion[m, 3]
                if kind[i] == LINE:
                    for d in range(3):
                        now[d] = geo[i, 3 + d] * v
                        now[3 + d] = geo[i, 3 + d] * a
                else:
                    per_m = geo[i, 12]
                    c, q = math.cos(per_m * s) * per_m, math.sin(per_m * s) * per_m
                    for d in range(3):
                        along = geo[i, 6 + d] * c - geo[i, 3 + d] * q + geo[i, 9 + d]
                        across = -(geo[i, 3 + d] * c + geo[i, 6 + d] * q) * per_m
                        now[d] = along * v
                        now[3 + d] = along * a + across * v * v
            if end == 0:
                turns = kind[i] == WAVE
                for d in range(3):
                    # 1e-9 m/s or 1e-4 m/s2 within a step of 0.3 ms is a position error below a picometre.
                    jump[m, d] = abs(now[d] - before[d]) > 1e-9 or abs(now[3 + d] - before[3 + d]) > 1e-4
                    turns = turns or jump[m, d]
                    if kind[i] == HOLD:
                        moves[m, d] = False
                    elif kind[i] in (LINE, WAVE):
                        moves[m, d] = abs(geo[i, 3 + d]) > 1e-12
                    else:
                        moves[m, d] = abs(geo[i, 3 + d]) + abs(geo[i, 6 + d]) + abs(geo[i, 9 + d]) > 1e-15
                # Where one axis jumps, or a new cycle of a wave begins, all that move follow another curve from here on,
                # and no step may cross over.
                for d in range(3):
                    if turns and (moves[m, d] or abs(before[d]) > 1e-9):
                        jump[m, d] = True
            else:
                for d in range(6):
                    before[d] = now[d]


def trapezoid(segments: Segments, cap: Array, node: Array, start_s: float) -> Pieces:
    """Pieces of constant acceleration for segments whose end speeds (squared, (n + 1,)) are known."""
    n = 3 * len(segments)
    start, index, motion = np.zeros(n), np.zeros(n, np.int64), np.zeros((n, 4))
    loop = for_size(trapezoid_pieces, len(segments))
    m, end = loop(
        segments.kind, segments.length_m, cap, segments.acceleration_m_s2, segments.curvature, segments.hold_s,
        node, start_s, start, index, motion,
    )  # fmt: skip
    return Pieces(start[:m], end, index[:m], motion[:m])


def jumps(segments: Segments, pieces: Pieces, before: Array) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """(jump, moves), each (m, 3) bool; see `find_jumps`. `before` (6,) is carried on."""
    jump, moves = np.zeros((len(pieces), 3), np.bool_), np.zeros((len(pieces), 3), np.bool_)
    loop = for_size(find_jumps, len(pieces))
    loop(segments.kind, segments.geo, pieces.start_s, pieces.end_s, pieces.segment, pieces.motion, before, jump, moves)
    return jump, moves


def trapezoid_time(distance_m: float, speed_m_s: float, acceleration_m_s2: float) -> float:
    """Shortest time from rest to rest over a distance, s (textbook; three times at once: D/v + v/a or 2 sqrt(D/a))."""
    if distance_m >= speed_m_s**2 / acceleration_m_s2:
        return distance_m / speed_m_s + speed_m_s / acceleration_m_s2
    return 2.0 * math.sqrt(distance_m / acceleration_m_s2)
