"""Ringing level by level, of a ladder: the same square at rising acceleration or speed."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

from ..plan.plan import Level, Plan
from ..trace import Trace, WindowExtremes
from .ringing import AXES, SHORTEST_S, Breaks, ringdown, still_groups


@dataclass(frozen=True)
class LevelRinging:
    """What rings on one level: by axis "x", "y", the largest peak after a leg, m, and its frequency where it has one.

    An axis that does not stand still on the level is left out.
    """

    level: Level
    peak_m: dict[str, float]
    frequency_hz: dict[str, float | None]

    @property
    def loudest_m(self) -> float:
        """The larger peak of both axes, m."""
        return max(self.peak_m.values(), default=0.0)


def level_ringing(trace: Trace, plan: Plan) -> tuple[LevelRinging, ...]:
    """Each level of a ladder that was reached, from the first; empty for other moves."""
    levels = {leg.level.number: leg.level for leg in plan.legs if leg.level is not None}
    if not levels:
        return ()
    breaks = Breaks(plan, trace.windows)
    ends = [leg.end_s for leg in plan.legs]
    peak_m: dict[int, dict[str, float]] = {number: {} for number in levels}
    frequency_hz: dict[int, dict[str, float | None]] = {number: {} for number in levels}
    for axis, name in enumerate(AXES):
        column = trace.extreme_names.index(f"tool_{name}")
        best: dict[int, tuple[bool, float, list[WindowExtremes], int]] = {}
        for whole in still_groups(trace.windows, axis, plan):
            before = bisect_right(ends, whole[0].t0 + 1e-6) - 1
            level = plan.legs[before].level if before >= 0 else None
            if level is None:
                continue
            # Once the next level's square begins, what shakes this axis is no longer this level's doing.
            later = [leg.start_s for leg in plan.legs[before:] if leg.level is not None and leg.level != level]
            group = [w for w in whole if w.t0 < min(later, default=plan.duration_s) - 1e-6]
            if not group:
                continue
            low, high = min(float(w.low[column]) for w in group), max(float(w.high[column]) for w in group)
            found = (group[-1].t1 - group[0].t0 >= SHORTEST_S, high - low, group, before)
            if level.number not in best or found[:2] > best[level.number][:2]:
                best[level.number] = found
        for number, (_, _, group, before) in best.items():
            low, high = min(float(w.low[column]) for w in group), max(float(w.high[column]) for w in group)
            seen = ringdown(trace, axis, plan.legs[before], (group[0].t0, group[-1].t1), (low, high), breaks)
            peak_m[number][name] = seen.peak_m
            frequency_hz[number][name] = seen.fit.modes[0].frequency_hz if seen.fit is not None else None
    return tuple(LevelRinging(levels[n], peak_m[n], frequency_hz[n]) for n in sorted(levels) if peak_m[n])
