"""Ringing level by level, of a ladder: the same square at rising acceleration or speed."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

from ...plan.plan import Level, Plan
from ...trace import Trace
from .ringdown import ringdown
from .stills import AXES, Still, ranked, rest_of, still_groups, still_of

SURE_S = 0.1  # a stand-still this long shows where the tool comes to rest
MOST_FITS = 3  # stand-stills of a level looked at for each axis, largest first


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
    ends = [leg.end_s for leg in plan.legs]
    peak_m: dict[int, dict[str, float]] = {number: {} for number in levels}
    frequency_hz: dict[int, dict[str, float | None]] = {number: {} for number in levels}
    for axis, name in enumerate(AXES):
        stills: dict[int, list[Still]] = {}
        for whole in still_groups(trace.stretches, axis, plan):
            before = bisect_right(ends, whole[0].t0 + 1e-6) - 1
            level = plan.legs[before].level if before >= 0 else None
            if level is None:
                continue
            # Once the next level's square begins, what shakes this axis is no longer this level's doing.
            later = [leg.start_s for leg in plan.legs[before:] if leg.level is not None and leg.level != level]
            group = [w for w in whole if w.t0 < min(later, default=plan.duration_s) - 1e-6]
            if not group:
                continue
            stills.setdefault(level.number, []).append(still_of(trace, plan, axis, group))
        for number, found in stills.items():
            downs = [ringdown(trace, s, rest_of(trace, s)) for s in ranked(found)[:MOST_FITS]]
            # Before the step up to the next level a stand-still may be too short to tell where the tool comes to rest.
            sure = [d for d in downs if d.end_s - d.start_s >= SURE_S] or downs
            top = max(sure, key=lambda down: down.peak_m)
            peak_m[number][name], frequency_hz[number][name] = top.peak_m, top.frequency_hz
    return tuple(LevelRinging(levels[n], peak_m[n], frequency_hz[n]) for n in sorted(levels) if peak_m[n])
