"""Jerk-limited ramps: changes of speed that begin and end without acceleration, and the fastest move between two.

Biagiotti & Melchiorri, Trajectory Planning for Automatic Machines and Robots, Springer 2008, section 3.4 (from memory,
re-derived). A ramp from v0 to v1 under acceleration a and jerk j takes

    T = |v1 - v0| / a + a / j   if |v1 - v0| >= a^2 / j,   else   2 sqrt(|v1 - v0| / j)

and covers (v0 + v1) T / 2, because it is symmetric. The fastest move over a distance is a ramp to the highest speed
from which the second ramp still fits, a cruise if that speed is the limit, and the second ramp.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..compiled import formula

Array = NDArray[np.float64]


@formula
def ramp_time(v0: float, v1: float, a: float, j: float) -> Any:
    """Duration of a ramp, s."""
    change = abs(v1 - v0)
    if change * j >= a * a:
        return change / a + a / j
    return 2.0 * math.sqrt(change / j)


@formula
def ramp_distance(v0: float, v1: float, a: float, j: float) -> Any:
    """Way covered by a ramp, m."""
    return 0.5 * (v0 + v1) * ramp_time(v0, v1, a, j)


@formula
def ramp_reach(v0: float, distance: float, a: float, j: float) -> Any:
    """Highest speed that a ramp from v0 reaches within a distance, m/s; as well the highest that can slow down to v0."""
    # With the full acceleration: (v^2 - v0^2) / 2a + (v + v0) a / 2j = D.
    half = 0.5 * a * a / j
    v = -half + math.sqrt(max(half * half + v0 * v0 - 2.0 * half * v0 + 2.0 * a * distance, 0.0))
    if (v - v0) * j >= a * a:
        return v
    # Without: (2 v0 + w^2) w = D sqrt(j) for w = sqrt(v - v0). Newton's method from above, where the cubic is convex.
    c = distance * math.sqrt(j)
    w = c ** (1.0 / 3.0)
    if 2.0 * v0 * w > c:
        w = c / (2.0 * v0)
    for _ in range(60):
        f = w * (w * w + 2.0 * v0) - c
        if f <= 1e-15 * c:
            break
        w -= f / (3.0 * w * w + 2.0 * v0)
    return v0 + w * w


@formula
def _ramp_slope(v0: float, v1: float, a: float, j: float) -> Any:
    """How a ramp's way grows with its higher speed v1, s."""
    change = v1 - v0
    if change * j >= a * a:
        return v1 / a + 0.5 * a / j
    if change <= 0.0:
        return math.inf
    return math.sqrt(change / j) + 0.5 * (v0 + v1) / math.sqrt(j * change)


@formula
def top_speed(v0: float, v1: float, distance: float, limit: float, a: float, j: float) -> Any:
    """Highest speed of the fastest move over a distance between speeds v0 and v1 that one ramp can join, m/s."""
    low, high = max(v0, v1), limit
    v, way = high, ramp_distance(v0, high, a, j) + ramp_distance(high, v1, a, j)
    if way <= distance:
        return high
    # Newton's method, kept between bounds; it has to end at or below the root, or the move would overshoot.
    for _ in range(100):
        off = way - distance
        if way <= distance:
            low = v
            if off >= -1e-14 * distance:
                break
        else:
            high = v
        near = off <= 1e-13 * distance
        new = v - (2.0 if near and off > 0.0 else 1.0) * off / (_ramp_slope(v0, v, a, j) + _ramp_slope(v1, v, a, j))
        if not low < new < high:
            new = 0.5 * (low + high)
            if not low < new < high:
                break
        v, way = new, ramp_distance(v0, new, a, j) + ramp_distance(new, v1, a, j)
    return low


@formula
def phases(v0: float, top: float, v1: float, distance: float, a: float, j: float, out: Array) -> int:
    """The stretches of even jerk of a move v0 -> top -> v1 over a distance. Fills out (7, 3): duration, a, jerk.

    Returns how many there are. The cruise takes up what rounding leaves of the distance.
    """
    n = 0
    cruise = distance - ramp_distance(v0, top, a, j) - ramp_distance(top, v1, a, j)
    for part in range(3):
        if part == 1:
            if top > 0.0 and cruise > 1e-10 * top:
                out[n, 0], out[n, 1], out[n, 2] = cruise / top, 0.0, 0.0
                n += 1
            continue
        change = abs(top - (v0 if part == 0 else v1))
        sign = 1.0 if part == 0 else -1.0
        # A change of speed that takes less than a nanosecond is none.
        if change < 1e-18 * j:
            continue
        if change * j >= a * a:
            edge, flat, peak = a / j, change / a - a / j, a
        else:
            edge, flat = math.sqrt(change / j), 0.0
            peak = j * edge
        out[n, 0], out[n, 1], out[n, 2] = edge, 0.0, sign * j
        n += 1
        if flat > 1e-10:
            out[n, 0], out[n, 1], out[n, 2] = flat, sign * peak, 0.0
            n += 1
        out[n, 0], out[n, 1], out[n, 2] = edge, sign * peak, -sign * j
        n += 1
    return n


@formula
def time_to(way: float, v: float, a: float, j: float, longest: float) -> Any:
    """When a stretch of even jerk has covered a way, s, within `longest`; the speed stays at or above 0 throughout."""
    low, high = 0.0, longest
    t = min(way / v, longest) if v > 0.0 else longest
    for _ in range(100):
        off = t * (v + t * (0.5 * a + t * j / 6.0)) - way
        if off > 0.0:
            high = t
        else:
            low = t
        slope = v + t * (a + 0.5 * t * j)
        new = t - off / slope if slope > 0.0 else 0.5 * (low + high)
        if new <= low or new >= high:
            new = 0.5 * (low + high)
        if abs(new - t) <= 1e-16 + 1e-15 * t:
            return new
        t = new
    return t


def single_move_time(
    distance_m: float, speed_m_s: float, acceleration_m_s2: float, jerk_m_s3: float
) -> tuple[float, float]:
    """(shortest time from rest to rest, s; highest speed reached, m/s) under all three limits."""
    top = top_speed(0.0, 0.0, distance_m, speed_m_s, acceleration_m_s2, jerk_m_s3)
    ramps = 2.0 * ramp_time(0.0, top, acceleration_m_s2, jerk_m_s3)
    way = 2.0 * ramp_distance(0.0, top, acceleration_m_s2, jerk_m_s3)
    return ramps + (distance_m - way) / top, top
