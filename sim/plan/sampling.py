"""Position and velocity at given times.

Shaping is a sum over impulses, commanded(t) = sum_k w_k asked(t - t_k). Axes with the same impulses form a group, so
that a point is worked out once for all of them.

`sample_steps` is the loop the simulator waits for, compiled. A step is served by the piece of time its middle lies in,
at both of its ends too: that gives the limits from the right and from the left at a breakpoint, whatever rounding
does. `points` is for records and pictures: numpy only, nothing to compile.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ..compiled import compiled, formula, usual
from .segments import ARC, BLEND, HOLD, LINE, WAVE, Segments

Array = NDArray[np.float64]


@formula
def _piece_at(start_s: Array, t: float) -> int:
    """The last piece that has begun at t; the first one for times before it."""
    low, high = 0, len(start_s)
    while low < high:
        half = (low + high) // 2
        if start_s[half] <= t:
            low = half + 1
        else:
            high = half
    return low - 1 if low > 1 else 0


@usual("d1 d1 d1 q1 d2 b1 d2 d2 d2 q1 q2 d3 d3")
@compiled
def sample_steps(
    middle: Array, half: Array, start_s: Array, segment: NDArray[np.int64], motion: Array, kind: NDArray[np.int8],
    geo: Array, delay: Array, weight: Array, impulses: NDArray[np.int64], axes: NDArray[np.int64], position: Array,
    velocity: Array,
) -> None:  # fmt: skip
    """Add to position and velocity, each (n, 3, 3): step, (start, middle, end), axis; they come in as zeros.

    middle, half: (n,) middle of each step, in order of time, and half its length, s.  delay, weight: (groups, most
    impulses); impulses: (groups,) how many count; axes: (groups, 3), the axes of each group, then -1.
    """
    last = len(start_s) - 1
    for group in range(len(impulses)):
        count = 0
        while count < 3 and axes[group, count] >= 0:
            count += 1
        for k in range(impulses[group] if count > 0 else 0):
            late, w = delay[group, k], weight[group, k]
            piece = -1
            for n in range(len(middle)):
                when = middle[n] - late
                if piece < 0:
                    piece = _piece_at(start_s, when)
                while piece < last and start_s[piece + 1] <= when:
                    piece += 1
                row = segment[piece]
                what = kind[row]
                if what == HOLD:
                    for a in range(count):
                        d = axes[group, a]
                        for p in range(3):
                            position[n, p, d] += w * geo[row, d]
                    continue
                straight = what == LINE
                m0, m1, m2, m3 = motion[piece, 0], motion[piece, 1], 0.5 * motion[piece, 2], motion[piece, 3] / 6.0
                tau = when - start_s[piece] - half[n]
                for p in range(3):
                    if what == WAVE:
                        straight = True
                        swell = (geo[row, 8] - geo[row, 6]) * geo[row, 7] / math.tau
                        swing, turned = geo[row, 6] + swell * tau, 1.0 - math.cos(geo[row, 7] * tau)
                        s = swing * turned
                        v = swell * turned + swing * geo[row, 7] * math.sin(geo[row, 7] * tau)
                    else:
                        s = m0 + tau * (m1 + tau * (m2 + tau * m3))
                        v = m1 + tau * (2.0 * m2 + 3.0 * tau * m3)
                    if straight:
                        for a in range(count):
                            d = axes[group, a]
                            position[n, p, d] += w * (geo[row, d] + geo[row, 3 + d] * s)
                            velocity[n, p, d] += w * (geo[row, 3 + d] * v)
                    else:
                        c, q = math.cos(geo[row, 12] * s), math.sin(geo[row, 12] * s)
                        turning = geo[row, 12] * v
                        for a in range(count):
                            d = axes[group, a]
                            e1, e2, rise = geo[row, 3 + d], geo[row, 6 + d], geo[row, 9 + d]
                            position[n, p, d] += w * (geo[row, d] + e1 * c + e2 * q + rise * s)
                            velocity[n, p, d] += w * ((e2 * c - e1 * q) * turning + rise * v)
                    tau += half[n]


def points(
    t: Array, start_s: Array, segment: NDArray[np.int64], motion: Array, segments: Segments, *, sharp: bool
) -> Array:
    """Unshaped position at any times, (n, 3) m; `sharp`: on the path before its corners were rounded."""
    # What there are of pieces is few beside the times asked for.
    kinds, places = segments.kind[segment], segments.geo[segment]
    piece = np.maximum(start_s.searchsorted(t, side="right") - 1, 0)
    tau, m = t - start_s[piece], motion[piece]
    s = m[:, 0] + tau * (m[:, 1] + tau * (0.5 * m[:, 2] + tau * (m[:, 3] / 6.0)))
    if (kinds == WAVE).any():
        wave = kinds[piece] == WAVE
        geo = places[piece[wave]]
        cycle = geo[:, 7] * tau[wave] / math.tau
        swing = geo[:, 6] + (geo[:, 8] - geo[:, 6]) * cycle
        s[wave] = swing * (1.0 - np.cos(math.tau * cycle))
    if (kinds == HOLD).any():
        s[kinds[piece] == HOLD] = 0.0
    along = places[:, :6][piece]
    out = along[:, 0:3] + along[:, 3:6] * s[:, None]
    if ((kinds == ARC) | (kinds == BLEND)).any():
        kind = kinds[piece]
        round_ = (kind == ARC) | (kind == BLEND)
        g, run = places[piece[round_]], s[round_, None]
        angle = g[:, 12:13] * run
        out[round_] = g[:, 0:3] + g[:, 3:6] * np.cos(angle) + g[:, 6:9] * np.sin(angle) + g[:, 9:12] * run
        blend = kind == BLEND
        if sharp and blend.any():
            at = piece[blend]
            out[blend] = _on_the_corner(places[at], segments.length_m[segment[at]], s[blend])
    return out


def _on_the_corner(geo: Array, length: Array, s: Array) -> Array:
    """Points on the two lines that a blend arc rounds off, as far along them as s is along the arc; (n, 3)."""
    turn = (geo[:, 12] * length)[:, None]
    reach = np.tan(0.5 * turn)
    share = (2.0 * s / length - 1.0)[:, None]
    corner = geo[:, 0:3] + geo[:, 3:6] + geo[:, 6:9] * reach
    # Tangents here are radius vectors turned a quarter: of length radius; radius * tan(turn / 2) is the arc's setback.
    before = geo[:, 6:9]
    after = geo[:, 6:9] * np.cos(turn) - geo[:, 3:6] * np.sin(turn)
    return corner + np.where(share < 0.0, before, after) * reach * share
