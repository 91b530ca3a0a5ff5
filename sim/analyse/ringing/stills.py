"""Stand-stills: where an axis has been told to stand still after a leg, and where the tool comes to rest there. SI units.

Everything that rings is measured about one place of rest: the mean of the tool's place over the second half of the
stand-still, weighted by a Hann window. Friction may hold the tool off the place where it was sent, a fit may fail, and
a swing that goes on moves a plain mean by where it happens to end; the window lets a swing of frequency f through no
more than about (2 / (f T))^3, T the length of the stand-still, and the recording rate not at all.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from ...plan.plan import Leg, Plan
from ...simulate import keep
from ...trace import StretchExtremes, Trace, rest_weights, span_of

Array = NDArray[np.float64]

NAMES = ("x", "y", "z")
#: What is looked at where nothing is said: what leaves ripples on a wall.
AXES = ("x", "y")
SHORTEST_S = keep.SHORTEST_S  # a shorter stand-still is a pause in a curve, not a ring-down
LONGEST_S = keep.LONGEST_S  # a stand-still of minutes rings no longer than one of seconds
#: Stand-stills of an axis looked at closely, those with the largest peak first.
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
        return seen_until(self.start_s, self.end_s)

    def peak_m(self, rest_m: float) -> float:
        """Largest distance from a place of rest, over every step, m."""
        return max(self.high_m - rest_m, rest_m - self.low_m, 0.0)


class Lasting(Protocol):
    """A stretch, of a plan or of a trace."""

    @property
    def t0(self) -> float: ...
    @property
    def t1(self) -> float: ...
    @property
    def resting(self) -> tuple[bool, bool, bool]: ...


S = TypeVar("S", bound=Lasting)


@dataclass(frozen=True)
class Spot:
    """A stand-still as a plan alone tells it. first, last: numbers of the stretches that make it."""

    axis: int
    leg: Leg | None
    start_s: float
    end_s: float
    first: int
    last: int

    @property
    def late_s(self) -> tuple[float, float]:
        """From when to when its second half lasts, where it is looked at for the place of rest, s."""
        until = seen_until(self.start_s, self.end_s)
        return 0.5 * (self.start_s + until), until


@dataclass(frozen=True)
class _Numbered:
    number: int
    t0: float
    t1: float
    resting: tuple[bool, bool, bool]


def spots(stretches: Sequence[Lasting], axis: int, plan: Plan) -> list[Spot]:
    """Stand-stills of an axis in all stretches of a plan, in order of time: those long enough, or all where none is."""
    named = [_Numbered(i, w.t0, w.t1, w.resting) for i, w in enumerate(stretches)]
    found = [
        Spot(axis, leg_before(plan, group[0].t0), group[0].t0, group[-1].t1, group[0].number, group[-1].number)
        for group in still_groups(named, axis, plan)
    ]
    return [s for s in found if s.end_s - s.start_s >= SHORTEST_S] or found


def seen_until(start_s: float, end_s: float) -> float:
    """Until when a stand-still is looked at, s."""
    return min(end_s, start_s + LONGEST_S)


def leg_before(plan: Plan, start_s: float) -> Leg | None:
    """The leg that ends as a stand-still begins."""
    before = bisect_right(plan.legs, start_s + 1e-6, key=lambda leg: leg.end_s) - 1
    return plan.legs[before] if before >= 0 else None


def still_of(trace: Trace, plan: Plan, axis: int, group: list[StretchExtremes]) -> Still:
    """The stand-still that a run of stretches makes."""
    low, high = span_of(group, trace.extreme_names.index(f"tool_{NAMES[axis]}"))
    start = group[0].t0
    return Still(axis, leg_before(plan, start), start, group[-1].t1, low, high)


def stand_stills(trace: Trace, plan: Plan, axis: int) -> list[Still]:
    """Stand-stills of an axis, the largest swing first: those that are long enough, or all where none is. None of a run that
    broke down."""
    if trace.broke_down:
        return []
    found = [still_of(trace, plan, axis, group) for group in still_groups(trace.stretches, axis, plan)]
    return ranked(found)


def ranked(stills: list[Still]) -> list[Still]:
    """The largest swing first: those that are long enough, or all where none is."""
    enough = [s for s in stills if s.end_s - s.start_s >= SHORTEST_S]
    return sorted(enough or stills, key=lambda s: -s.swing_m)


def still_groups(stretches: Sequence[S], axis: int, plan: Plan) -> list[list[S]]:
    """Runs of touching stretches in which the axis stands still after a leg has ended; of Z those in which all three do, for
    on arms whatever moves shakes it."""
    groups: list[list[S]] = []
    for stretch in stretches:
        if not (stretch.resting[axis] if axis < 2 else all(stretch.resting)):
            continue
        if groups and abs(groups[-1][-1].t1 - stretch.t0) < 1e-9:
            groups[-1].append(stretch)
        else:
            groups.append([stretch])
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
    return settled(y[late:], rest_weights(t[late:], half, end), still)


def settled(y: Array, weight: Array | None, still: Still) -> float:
    """The place of rest, m, from the tool's places (n,), m, in the second half of a stand-still and their `rest_weights`."""
    if weight is None:
        return float(y[-1]) if len(y) else 0.5 * (still.low_m + still.high_m)
    return float(y[0] + weight @ (y - y[0]) / weight.sum())


def closest(trace: Trace, stills: list[Still]) -> list[tuple[Still, float]]:
    """Of stand-stills, largest swing first, those with the largest peaks, each with its place of rest, m; largest first.

    No peak exceeds the swing, so that further ones are looked at only as long as one of them might be among those.
    """
    found: list[tuple[float, Still, float]] = []
    for still in stills:
        if len(found) == MOST_STILLS and still.swing_m <= found[-1][0]:
            break
        rest = rest_of(trace, still)
        found.append((still.peak_m(rest), still, rest))
        found.sort(key=lambda one: -one[0])
        del found[MOST_STILLS:]
    return [(still, rest) for _, still, rest in found]


def largest_peak(trace: Trace, plan: Plan) -> float | None:
    """The larger peak of X and Y after a leg, m, as `find_ringdowns` finds it; None where neither ever stands still."""
    peaks = [s.peak_m(rest) for axis in range(2) for s, rest in closest(trace, stand_stills(trace, plan, axis))]
    return max(peaks, default=None)
