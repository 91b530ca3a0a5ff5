"""Stand-stills: where an axis has been told to stand still after a leg, and where the tool comes to rest there. SI units.

Everything that rings is measured about one place of rest: the mean of the tool's place over the second half of the
stand-still, weighted by a Hann window. Friction may hold the tool off the place where it was sent, a fit may fail, and
a swing that goes on moves a plain mean by where it happens to end; the window lets a swing of frequency f through no
more than about (2 / (f T))^3, T the length of the stand-still, and the recording rate not at all.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...plan.plan import Leg, Plan
from ...simulate import keep
from ...trace import Trace, WindowExtremes, span_of

Array = NDArray[np.float64]

AXES = ("x", "y", "z")
#: What is looked at where nothing is said: what leaves ripples on a wall.
LEVEL = ("x", "y")
SHORTEST_S = keep.SHORTEST_S  # a shorter stand-still is a pause in a curve, not a ring-down
LONGEST_S = keep.LONGEST_S  # a stand-still of minutes rings no longer than one of seconds
#: Stand-stills of an axis looked at closely, those with the largest swing first.
MOST_STILLS = 6


@dataclass(frozen=True)
class Still:
    """A stand-still of an axis (0 X, 1 Y, 2 Z): the leg before it, from when to when, s, and extremes of the tool, m."""

    axis: int
    leg: Leg | None
    start_s: float
    end_s: float
    low_m: float
    high_m: float

    @property
    def swing_m(self) -> float:
        """From one side to the other, over every step."""
        return self.high_m - self.low_m

    @property
    def seen_until_s(self) -> float:
        """Until when it is looked at, s."""
        return min(self.end_s, self.start_s + LONGEST_S)

    def peak_m(self, rest_m: float) -> float:
        """Largest distance from a place of rest, over every step, m."""
        return max(self.high_m - rest_m, rest_m - self.low_m, 0.0)


def still_of(trace: Trace, plan: Plan, axis: int, group: list[WindowExtremes]) -> Still:
    """The stand-still that a run of windows makes."""
    low, high = span_of(group, trace.extreme_names.index(f"tool_{AXES[axis]}"))
    start = group[0].t0
    before = bisect_right(plan.legs, start + 1e-6, key=lambda leg: leg.end_s) - 1
    return Still(axis, plan.legs[before] if before >= 0 else None, start, group[-1].t1, low, high)


def stand_stills(trace: Trace, plan: Plan, axis: int) -> list[Still]:
    """Stand-stills of an axis, the largest swing first: those that are long enough, or all where none is."""
    found = [still_of(trace, plan, axis, group) for group in still_groups(trace.windows, axis, plan)]
    return ranked(found)


def ranked(stills: list[Still]) -> list[Still]:
    """The largest swing first: those that are long enough, or all where none is."""
    enough = [s for s in stills if s.end_s - s.start_s >= SHORTEST_S]
    return sorted(enough or stills, key=lambda s: -s.swing_m)


def still_groups(windows: list[WindowExtremes], axis: int, plan: Plan) -> list[list[WindowExtremes]]:
    """Runs of touching windows in which the axis stands still after a leg has ended; of Z those in which all three do, for
    on arms whatever moves shakes it."""
    groups: list[list[WindowExtremes]] = []
    for window in windows:
        if not (window.resting[axis] if axis < 2 else all(window.resting)):
            continue
        if groups and abs(groups[-1][-1].t1 - window.t0) < 1e-9:
            groups[-1].append(window)
        else:
            groups.append([window])
    if groups and groups[0][0].t0 <= 1e-9:
        # The axis has not moved yet: only what comes after the first whole leg is ringing, before it is being shaken.
        delay = max(plan.shaper_delay_s[:2], default=0.0)
        first = plan.legs[0].end_s + delay if plan.legs else 0.0
        groups[0] = [w for w in groups[0] if w.t0 >= first - 1e-6]
    return [g for g in groups if g]


def record_of(trace: Trace, still: Still) -> tuple[Array, Array]:
    """Times, s, and places of the tool along its axis, m, recorded in a stand-still, (n,) each."""
    a, b = np.searchsorted(trace.t_s, (still.start_s - 1e-9, still.seen_until_s + 1e-9))
    return trace.t_s[a:b], trace.tool[a:b, still.axis]


def rest_of(trace: Trace, still: Still) -> float:
    """Where the tool comes to rest on the axis, m: Hann-weighted mean of the second half of the stand-still.

    Of a stand-still with too few rows for that, the last row; of one with none, half-way between its extremes.
    """
    t, y = record_of(trace, still)
    start, end = still.start_s, still.seen_until_s
    half = 0.5 * (start + end)
    late = np.searchsorted(t, half)
    t, y = t[late:], y[late:]
    if len(t) < 3:
        return float(y[-1]) if len(y) else 0.5 * (still.low_m + still.high_m)
    # Rows of a thinned trace are not evenly spread: each stands for the time about it.
    weight = np.sin(np.pi * (t - half) / (end - half)) ** 2 * np.gradient(t)
    return float(y[0] + weight @ (y - y[0]) / weight.sum())


def closest(trace: Trace, stills: list[Still]) -> list[tuple[Still, float]]:
    """Of stand-stills, largest swing first, those worth a close look, each with its place of rest, m.

    No peak exceeds the swing, so that further ones are looked at only as long as one of them might be the worst. Of a
    thinned trace only as many as it keeps in full.
    """
    out: list[tuple[Still, float]] = []
    worst = 0.0
    for i, still in enumerate(stills):
        if i >= MOST_STILLS and (still.swing_m <= worst or (trace.thinned and i >= keep.MOST_RINGDOWNS)):
            break
        rest = rest_of(trace, still)
        peak = still.peak_m(rest)
        if i < MOST_STILLS or peak > worst:
            out.append((still, rest))
        worst = max(worst, peak)
    return out


def largest_peak(trace: Trace, plan: Plan) -> float | None:
    """The larger peak of X and Y after a leg, m, as `find_ringdowns` finds it; None where neither ever stands still."""
    peaks = [s.peak_m(rest) for axis in range(2) for s, rest in closest(trace, stand_stills(trace, plan, axis))]
    return max(peaks, default=None)
