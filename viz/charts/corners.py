"""Where a move stops an axis: corners by name, each with the stretch of time in which its ringing is looked at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from beltspring.sim import Report, corner_name

BEFORE_S = 0.020  # a corner's stretch begins this long before the stop
FADES = 1.5  # and lasts this many of the longest fading after it
UNTOLD_S = 0.120  # where no fading is told


@dataclass(frozen=True)
class Corner:
    """name: "corner 2", "end", "line 12".  leg: the plan's name of the leg before it, as the analysis tells it.

    stop_s: when the shaped command of that leg has ended.  begin_s, end_s: of its stretch.  place_m: (2,), where.
    """

    name: str
    leg: str
    stop_s: float
    begin_s: float
    end_s: float
    place_m: tuple[float, float]


def corners_of(result: Report, end_s: float) -> list[Corner]:
    """Every corner of a run, in order. end_s: of its record."""
    plan, ringing = result.plan, result.analysis.ringing
    delay = max(plan.shaper_delay_s[:2], default=0.0)
    fades = [r.fades_to_5_percent_s for r in ringing.values() if r is not None and r.fades_to_5_percent_s is not None]
    lasts = FADES * max(fades, default=UNTOLD_S / FADES)
    out = []
    for leg in plan.legs:
        stop = float(leg.end_s) + delay
        if stop > end_s:
            break
        name = corner_name(leg.name, plan.legs[-1].name)
        begin, end = max(0.0, stop - BEFORE_S), min(end_s, stop + lasts)
        out.append(Corner(name, leg.name, stop, begin, end, (float(leg.end[0]), float(leg.end[1]))))
    return out


def corner_at(corners: Sequence[Corner], time_s: float) -> int | None:
    """Number of the corner whose stretch a time lies in, or the last one before it; None where there is none."""
    found = [k for k, corner in enumerate(corners) if corner.begin_s <= time_s + 1e-9]
    return found[-1] if found else (0 if corners else None)


def worst_corner(result: Report, corners: Sequence[Corner]) -> int | None:
    """Number of the corner after which the axis that rings most rings most; None where nothing rings."""
    axis = result.analysis.ringing_axis
    ringing = result.analysis.ringing.get(axis) if axis else None
    if ringing is None:
        return None
    return next((k for k, corner in enumerate(corners) if corner.leg == ringing.leg), None)
