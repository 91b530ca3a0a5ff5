"""Look-ahead: how fast the tool may pass from each segment to the next.

Speeds are handled as squares, x = v^2, because under constant acceleration x grows evenly with distance:
x1 = x0 + 2 a s. On a curve (curvature k) part of the acceleration limit A turns the tool: a^2 + (k x)^2 <= A^2. The
part left for speeding up is judged at the faster end, which makes the step implicit and keeps every point within A:

    x1 = x0 + 2 s sqrt(A^2 - (k x1)^2)   =>   x1 (1+q) = x0 + sqrt(x0^2 - (1+q)(x0^2 - (2 s A)^2)),   q = (2 s k)^2

(derived). Long arcs are cut into short ones first (`cut_arcs`), so that this costs less than 1 % of time.
A forward pass (can it be reached?) and a backward pass (can it be left in time?) then give the fastest speeds.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ..compiled import compiled, for_size, formula
from .segments import ARC, HOLD, WAVE, Segments

Array = NDArray[np.float64]

# On a curve the speed is capped a little below sqrt(A/k): at that very speed nothing would be left for changing it.
CURVE_CAP = 0.998
# An arc is cut where turning takes more than this share of the acceleration limit, into pieces of at most this angle.
CUT_ABOVE_SHARE = 0.1
CUT_RAD = math.radians(1.5)
# No piece is passed in less than this, about a step of the loop: an arc that is over so soon has no speed to change.
LEAST_PIECE_S = 1e-4
# Heading changes below this are rounding of the coordinates, not corners.
STRAIGHT_RAD = 1e-7


@formula
def fastest_square(x0: float, length: float, limit: float, curvature: float) -> float:
    """Largest speed squared after `length` m from speed squared x0, under an acceleration limit on the whole vector."""
    gain = 2.0 * length * limit
    if curvature == 0.0:
        return x0 + gain
    q = 1.0 + (2.0 * length * curvature) ** 2
    root = x0 * x0 - q * (x0 * x0 - gain * gain)
    return (x0 + math.sqrt(max(root, 0.0))) / q


@compiled
def passes(length: Array, cap: Array, limit: Array, curvature: Array, node: Array) -> None:
    """Lower `node` (speed squared at each of the n + 1 segment ends) to what can be reached and left in time.

    length, cap (speed squared within), limit (acceleration), curvature: (n,). In: node caps. Out: final speeds squared.
    """
    n = len(length)
    for i in range(n - 1, -1, -1):
        x = min(fastest_square(node[i + 1], length[i], limit[i], curvature[i]), cap[i])
        if node[i] > x:
            node[i] = x
    for i in range(n):
        x = min(fastest_square(node[i], length[i], limit[i], curvature[i]), cap[i])
        if node[i + 1] > x:
            node[i + 1] = x


def speed_caps(segments: Segments) -> Array:
    """Largest speed squared on each segment, (n,): its own limit, and on curves what its acceleration limit allows."""
    cap = segments.speed_m_s**2
    curved = segments.curvature > 0.0
    cap[curved] = np.minimum(cap[curved], CURVE_CAP * segments.acceleration_m_s2[curved] / segments.curvature[curved])
    return cap


def corner_caps(segments: Segments, cap: Array, corner_step_m_s: float) -> Array:
    """Largest speed squared at each of the n + 1 segment ends, (n + 1,), before look-ahead; 0 at both outer ends.

    At a corner the velocity vector may jump by at most the corner speed step: v |t_in - t_out| <= step, so
    v = step / (2 sin(theta / 2)) for a change of heading theta.
    """
    node = np.zeros(len(segments) + 1)
    if len(segments) < 2:
        return node
    jump = np.linalg.norm(segments.tangent_in[1:] - segments.tangent_out[:-1], axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        corner = np.where(jump <= STRAIGHT_RAD, np.inf, (corner_step_m_s / np.maximum(jump, STRAIGHT_RAD)) ** 2)
    node[1:-1] = np.minimum(np.minimum(cap[1:], cap[:-1]), corner)
    stops = (segments.kind == HOLD) | (segments.kind == WAVE)
    node[:-1][stops] = 0.0
    node[1:][stops] = 0.0
    return node


def run_passes(segments: Segments, cap: Array, node: Array) -> None:
    """`passes` over segments, compiled where it is worth it; lowers `node` in place."""
    loop = for_size(passes, len(segments))
    loop(segments.length_m, cap, segments.acceleration_m_s2, segments.curvature, node)


def arc_pieces(segments: Segments) -> NDArray[np.intp]:
    """Into how many pieces `cut_arcs` cuts each segment, (n,); 1 = not at all."""
    square = speed_caps(segments)
    share = segments.speed_m_s**2 * segments.curvature / np.maximum(segments.acceleration_m_s2, 1e-300)
    turn = segments.geo[:, 12] * segments.length_m
    wanted = (segments.kind == ARC) & (share > CUT_ABOVE_SHARE) & (turn > CUT_RAD)
    lasts_s = segments.length_m / np.sqrt(np.maximum(square, 1e-300))
    pieces = np.minimum(np.ceil(turn / CUT_RAD), np.ceil(lasts_s / LEAST_PIECE_S))
    return np.where(wanted, np.maximum(pieces, 1.0), 1.0).astype(np.intp)


def cut_arcs(segments: Segments) -> Segments:
    """The same path with every arc that is fast for its radius cut into arcs of at most `CUT_RAD`.

    Where a piece would be over within `LEAST_PIECE_S` the pieces are larger.
    """
    pieces = arc_pieces(segments)
    wanted = pieces > 1
    if not wanted.any():
        return segments
    turn = segments.geo[:, 12] * segments.length_m
    source = np.repeat(np.arange(len(segments)), pieces)
    nth = np.arange(len(source)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    out = segments[source]
    share_of = nth / pieces[source]
    out.length_m = out.length_m / pieces[source]
    cut = wanted[source]
    angle, run = (turn[source] * share_of)[cut, None], (segments.length_m[source] * share_of)[cut, None]
    e1, e2 = out.geo[cut, 3:6], out.geo[cut, 6:9]
    out.geo[cut, 3:6] = e1 * np.cos(angle) + e2 * np.sin(angle)
    out.geo[cut, 6:9] = e2 * np.cos(angle) - e1 * np.sin(angle)
    out.geo[cut, 0:3] += out.geo[cut, 9:12] * run
    per_m, step = out.geo[cut, 12:13], (turn / pieces)[source][cut, None]
    e1, e2, rise = out.geo[cut, 3:6], out.geo[cut, 6:9], out.geo[cut, 9:12]
    out.tangent_in[cut] = e2 * per_m + rise
    out.tangent_out[cut] = (e2 * np.cos(step) - e1 * np.sin(step)) * per_m + rise
    return out
