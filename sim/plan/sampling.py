"""Position and velocity at given times: the loops the simulator waits for.

Shaping is a sum over impulses, commanded(t) = sum_k w_k asked(t - t_k). Axes with the same impulses form a group, so
that a point is worked out once for all of them. A step is served by the piece of time its middle lies in, at both of
its ends too: that gives the limits from the right and from the left at a breakpoint, whatever rounding does.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from .compiled import compiled, formula
from .segments import BLEND, HOLD, LINE, WAVE

Array = NDArray[np.float64]


@formula
def _point(kind: int, g: Array, motion: Array, tau: float) -> tuple[float, float, float, float, float, float]:
    """Position and velocity on a segment, tau after the start of a piece."""
    if kind == HOLD:
        return g[0], g[1], g[2], 0.0, 0.0, 0.0
    if kind == WAVE:
        s, v = g[6] * (1.0 - math.cos(g[7] * tau)), g[6] * g[7] * math.sin(g[7] * tau)
    else:
        s = motion[0] + tau * (motion[1] + tau * (0.5 * motion[2] + tau * (motion[3] / 6.0)))
        v = motion[1] + tau * (motion[2] + tau * (0.5 * motion[3]))
    if kind in (LINE, WAVE):
        return g[0] + g[3] * s, g[1] + g[4] * s, g[2] + g[5] * s, g[3] * v, g[4] * v, g[5] * v
    c, q = math.cos(g[12] * s), math.sin(g[12] * s)
    w = g[12] * v
    return (
        g[0] + g[3] * c + g[6] * q + g[9] * s,
        g[1] + g[4] * c + g[7] * q + g[10] * s,
        g[2] + g[5] * c + g[8] * q + g[11] * s,
        (g[6] * c - g[3] * q) * w + g[9] * v,
        (g[7] * c - g[4] * q) * w + g[10] * v,
        (g[8] * c - g[5] * q) * w + g[11] * v,
    )


@compiled
def sample_steps(
    t_from: Array, t_to: Array, start_s: Array, segment: NDArray[np.int64], motion: Array, kind: NDArray[np.int8],
    geo: Array, delay: Array, weight: Array, impulses: NDArray[np.int64], axes: Array, position: Array, velocity: Array,
) -> None:  # fmt: skip
    """Fill position and velocity, each (n, 3, 3): step, (start, middle, end), axis.

    delay, weight: (groups, most impulses); impulses: (groups,) how many count; axes: (groups, 3), 1 for axes in the
    group, else 0. Steps are in order of time; the first piece reaches back before everything asked for.
    """
    last = len(start_s) - 1
    position[:] = 0.0
    velocity[:] = 0.0
    for group in range(len(impulses)):
        ax, ay, az = axes[group, 0], axes[group, 1], axes[group, 2]
        for k in range(impulses[group]):
            late, w = delay[group, k], weight[group, k]
            wx, wy, wz = w * ax, w * ay, w * az
            piece = 0
            if len(t_from) > 0:
                first = 0.5 * (t_from[0] + t_to[0]) - late
                piece = max(int(np.searchsorted(start_s, first)) - 1, 0)
            for n in range(len(t_from)):
                middle = 0.5 * (t_from[n] + t_to[n])
                while piece < last and start_s[piece + 1] <= middle - late:
                    piece += 1
                row = segment[piece]
                g, zero = geo[row], start_s[piece] + late
                for p in range(3):
                    t = middle if p == 1 else (t_from[n] if p == 0 else t_to[n])
                    x, y, z, vx, vy, vz = _point(kind[row], g, motion[piece], t - zero)
                    position[n, p, 0] += wx * x
                    position[n, p, 1] += wy * y
                    position[n, p, 2] += wz * z
                    velocity[n, p, 0] += wx * vx
                    velocity[n, p, 1] += wy * vy
                    velocity[n, p, 2] += wz * vz


@compiled
def sample_points(
    t: Array, start_s: Array, segment: NDArray[np.int64], motion: Array, kind: NDArray[np.int8], geo: Array,
    length: Array, delay: Array, weight: Array, impulses: NDArray[np.int64], axes: Array, sharp: bool, out: Array,
) -> None:  # fmt: skip
    """Fill out (n, 3) with the position at any times; `sharp`: on the path before its corners were rounded."""
    out[:] = 0.0
    last = len(start_s) - 1
    for group in range(len(impulses)):
        for k in range(impulses[group]):
            piece = 0
            for n in range(len(t)):
                when = t[n] - delay[group, k]
                if when < start_s[piece] or (piece < last and when >= start_s[piece + 1]):
                    piece = max(int(np.searchsorted(start_s, when, side="right")) - 1, 0)
                row = segment[piece]
                g, tau = geo[row], when - start_s[piece]
                x, y, z, _, _, _ = _point(kind[row], g, motion[piece], tau)
                if sharp and kind[row] == BLEND:
                    m = motion[piece]
                    s = m[0] + tau * (m[1] + tau * (0.5 * m[2] + tau * (m[3] / 6.0)))
                    x, y, z = _on_the_corner(g, length[row], s)
                w = weight[group, k]
                out[n, 0] += w * axes[group, 0] * x
                out[n, 1] += w * axes[group, 1] * y
                out[n, 2] += w * axes[group, 2] * z


@formula
def _on_the_corner(g: Array, length: float, s: float) -> tuple[float, float, float]:
    """The point on the two lines that a blend arc of this length rounds off, as far along them as s is along it."""
    turn = g[12] * length
    tangent = math.tan(0.5 * turn)
    share = 2.0 * s / length - 1.0
    x = g[0] + g[3] + g[6] * tangent
    y = g[1] + g[4] + g[7] * tangent
    z = g[2] + g[5] + g[8] * tangent
    # Unit tangents times the distance from the corner to the arc's ends, radius * tan(turn / 2).
    c, q = (1.0, 0.0) if share < 0.0 else (math.cos(turn), math.sin(turn))
    reach = tangent * share
    return (
        x + (g[6] * c - g[3] * q) * reach,
        y + (g[7] * c - g[4] * q) * reach,
        z + (g[8] * c - g[5] * q) * reach,
    )
