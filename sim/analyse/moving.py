"""Buzz: how far the tool shakes while its axis moves, away from every jump of the plan. SI units.

What follows a jump of the commanded acceleration is ringing, and is measured where it counts, at rest. What is left of
the deviation while an axis moves steadily has another source: the motors' detent, which meets a mode where the speed of
a motor is right, or friction. Over windows of two periods of the axis' mode a straight line is taken off tool minus
command (lag changes slowly), and half the range is what shakes. Windows in which the plan's acceleration or speed
jumps, or changes as fast as the mode follows, are left out, and those within the fade time of the ringing after that.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..plan.plan import Plan, PlanStretch
from ..trace import Trace
from .ringing.decay import HIGHEST_HZ, MOST_PER_ROW
from .ringing.tones import SWINGS, crest, search

Array = NDArray[np.float64]

#: Step of the one-sided differences that tell the plan's acceleration, s.
STEP_S = 2e-5
#: A change of the commanded acceleration is a jump from this share of its largest on; one of speed from this on, m/s.
JUMP_SHARE, JUMP_M_S = 1e-3, 1e-5
#: One that takes a quarter of a period shakes a mode as well; it counts from this share on.
STEEP_SHARE = 0.1
PERIODS = 2.0


@dataclass(frozen=True)
class Moving:
    """What shakes while an axis moves. peak_m: the largest half range of all windows, typical_m: their median.

    frequency_hz: where most of the shaking about that window is, None where that is at an end of what is looked at (half
    the mode's to 350 Hz).  at_s: middle of that window.  windows: how many there were.
    """

    axis: str
    peak_m: float
    typical_m: float
    frequency_hz: float | None
    at_s: float
    windows: int


def moving(trace: Trace, plan: Plan, axis: str, mode_hz: float, fade_s: float) -> Moving | None:
    """Buzz of an axis; None where no window is left.

    mode_hz: of the mode that swings the tool most along the axis.  fade_s: how long what a jump stirs up rings.
    """
    start, half_range = half_ranges(trace, axis, PERIODS / mode_hz)
    if not len(start):
        return None
    length = PERIODS / mode_hz
    left = np.ones(len(start), np.bool_)
    for jump in disturbances(plan, trace.stretches[-1].t1, 0.25 / mode_hz):
        left[np.searchsorted(start, jump - length - 1e-9) : np.searchsorted(start, jump + fade_s)] = False
    for stretch in trace.stretches:
        if stretch.resting["xy".index(axis)]:
            left[np.searchsorted(start, stretch.t0 - length + 1e-9) : np.searchsorted(start, stretch.t1 - 1e-9)] = False
    if not left.any():
        return None
    start, half_range = start[left], half_range[left]
    top = int(np.argmax(half_range))
    at_s = float(start[top]) + 0.5 * length
    return Moving(
        axis,
        float(half_range[top]),
        float(np.median(half_range)),
        _heard_hz(trace, axis, mode_hz, at_s),
        at_s,
        len(start),
    )


def _heard_hz(trace: Trace, axis: str, mode_hz: float, at_s: float) -> float | None:
    """The frequency that shakes most in the six periods about a moment, Hz."""
    half = SWINGS / mode_hz
    rows = slice(*np.searchsorted(trace.t_s, (at_s - half, at_s + half)))
    t, off = trace.t_s[rows], deviation(trace, axis)[rows]
    if len(t) < 16:
        return None
    top_hz = min(HIGHEST_HZ, MOST_PER_ROW / float(np.median(np.diff(t))))
    if top_hz < mode_hz:
        return None
    hertz, heights = search(t - t[0], off, 0.5 * mode_hz, top_hz)
    top = int(np.argmax(heights))
    return crest(hertz, heights, top).frequency_hz if 0 < top < len(hertz) - 1 else None


def half_range_at(trace: Trace, axis: str, mode_hz: float, at_s: float) -> float | None:
    """Half the range in the window about a moment, m; None where the trace has no such window."""
    start, found = half_ranges(trace, axis, PERIODS / mode_hz)
    i = int(np.searchsorted(start, at_s - 0.5 * PERIODS / mode_hz - 1e-6))
    return float(found[i]) if i < len(found) else None


def deviation(trace: Trace, axis: str) -> Array:
    """Tool minus command along an axis, (n,) m."""
    column = "xy".index(axis)
    return np.asarray(trace.tool[:, column] - trace.commanded[:, column])


def half_ranges(trace: Trace, axis: str, length_s: float) -> tuple[Array, Array]:
    """Start of every window of that length, (k,) s, and half the range of tool minus command in it, (k,) m.

    A straight line is taken off in each by least squares. Windows with rows missing (a thinned trace) are left out.
    """
    t, off = trace.t_s, deviation(trace, axis)
    if len(t) < 3:
        return np.empty(0), np.empty(0)
    step = float(np.median(np.diff(t)))
    rows = round(length_s / step) + 1
    if rows < 4 or rows > len(t):
        return np.empty(0), np.empty(0)
    whole = t[rows - 1 :] - t[: len(t) - rows + 1] < (rows - 0.5) * step
    at = np.flatnonzero(whole)
    ramp = np.linspace(-1.0, 1.0, rows)
    ramp_norm = ramp / (ramp @ ramp)
    found = np.empty(len(at))
    seen = np.lib.stride_tricks.sliding_window_view(off, rows)
    for first in range(0, len(at), 4096):
        part = seen[at[first : first + 4096]]
        bare = part - np.outer(part @ ramp_norm, ramp)
        found[first : first + 4096] = 0.5 * (bare.max(axis=1) - bare.min(axis=1))
    return t[at], found


def disturbances(plan: Plan, until_s: float, quarter_s: float) -> list[float]:
    """Times until `until_s` at which the commanded motion jumps in acceleration or speed, or changes within quarter_s."""
    jumps: list[tuple[float, float, float]] = []  # time, jump of acceleration, of speed
    steep_at, steep = [], []
    most = 0.0
    before: tuple[Array, Array] | None = None
    for stretch in _stretches(plan, until_s):
        edges = np.concatenate([[stretch.t0], stretch.breakpoints, [stretch.t1]])
        right, left = _limits(stretch, edges[:-1], 1.0), _limits(stretch, edges[1:], -1.0)
        most = max(most, float(np.hypot(*right[1].T).max()), float(np.hypot(*left[1].T).max()))
        ends = before if before is not None else (np.zeros(2), np.zeros(2))
        ahead = [np.vstack([ends[k], left[k][:-1]]) for k in range(2)]
        for time, dv, da in zip(edges[:-1], right[0] - ahead[0], right[1] - ahead[1], strict=True):
            jumps.append((float(time), float(np.hypot(*da)), float(np.hypot(*dv))))
        before = left[0][-1], left[1][-1]
        times = np.arange(stretch.t0 + STEP_S, stretch.t1 - 4 * STEP_S, 0.5 * quarter_s)
        if len(times) > 2:
            a = _limits(stretch, times, 1.0)[1]
            steep_at.append(times[1:-1])
            steep.append(np.hypot(*(a[2:] - a[:-2]).T))
    out = [time for time, da, dv in jumps if da > JUMP_SHARE * most or dv > JUMP_M_S]
    for times, change in zip(steep_at, steep, strict=True):
        out += times[change > STEEP_SHARE * most].tolist()
    return sorted(out)


def _stretches(plan: Plan, until_s: float) -> Iterable[PlanStretch]:
    for stretch in plan.stretches():
        if stretch.t0 >= until_s - 1e-9:
            return
        yield stretch


def _limits(stretch: PlanStretch, t: Array, way: float) -> tuple[Array, Array]:
    """Commanded velocity and acceleration in X and Y at times, from the right (way 1) or left (-1), (k, 2) each.

    One-sided differences of third order, exact for what the plan is made of, up to cubics.
    """
    h = way * STEP_S
    p = stretch.commanded(np.concatenate([t + k * h for k in range(4)]))[:, :2].reshape(4, len(t), 2)
    velocity = (-11.0 * p[0] + 18.0 * p[1] - 9.0 * p[2] + 2.0 * p[3]) / (6.0 * h)
    acceleration = (2.0 * p[0] - 5.0 * p[1] + 4.0 * p[2] - p[3]) / h**2
    return velocity, acceleration
