"""The wall that a move prints after a corner: how far it stands out along its length, and what a person sees of it. SI units.

The next leg is the wall; its height over the path asked for is the tool's deviation at right angles to it. What is laid
at one place is laid there in every layer, so that one curve is the whole wall.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..plan.plan import Leg, Plan
from ..practice import INVISIBLE_M
from ..trace import Trace

Array = NDArray[np.float64]

#: So much of a wall is looked at, and its curve's points stand this far apart, m.
LENGTH_M, STEP_M = 0.010, 2e-5
#: Ridges lower than this share of the highest are no ripples.
LEAST_RIDGE = 0.05


@dataclass(frozen=True)
class Wall:
    """along_m, height_m: (n,), from the corner on; height is positive to the left of the way.  speed_m_s: between ramps.

    peak_m: the largest height either way.  spacing_m, ridges_m: from one ridge to the next of the first two past the ramp,
    and where those stand; None, () where there are no two.  calm_from_m: beyond it nothing is seen (INVISIBLE_M); None
    where the wall ends before.  time_s: (n,), when the tool passed.
    """

    along_m: Array
    height_m: Array
    time_s: Array
    speed_m_s: float
    peak_m: float
    spacing_m: float | None
    ridges_m: tuple[float, ...]
    calm_from_m: float | None


def wall_after(trace: Trace, plan: Plan, number: int) -> Wall | None:
    """The wall after leg `number` (from 0): along the next leg. None where there is none, or nothing of it was recorded."""
    from scipy.interpolate import CubicSpline  # slow to load, and most runs ask for no wall

    if number + 1 >= len(plan.legs):
        return None
    leg = plan.legs[number + 1]
    rows = (trace.t_s >= leg.start_s) & (trace.t_s <= leg.end_s)
    way = np.subtract(leg.end, leg.start)[:2]
    length = float(np.hypot(*way))
    if rows.sum() < 8 or length < 10 * STEP_M or leg.curved:
        return None
    way = way / length
    off = trace.tool[rows, :2] - np.asarray(leg.start)[:2]
    gone = np.maximum.accumulate(off @ way)
    height = off @ np.array([-way[1], way[0]])
    along: Array = np.arange(0.0, min(LENGTH_M, length) + 0.5 * STEP_M, STEP_M).astype(np.float64)
    keep = np.concatenate([[True], np.diff(gone) > 0])
    if keep.sum() < 4:
        return None
    t = np.interp(along, gone[keep], trace.t_s[rows][keep])
    # Between rows the tool goes on smoothly, and its slope is what light shows.
    h = CubicSpline(trace.t_s[rows], height)(t)
    ridges = _ridges(along, h, _ramp_m(leg, way))
    loud = np.flatnonzero(np.abs(h) > INVISIBLE_M)
    calm = 0.0 if not len(loud) else float(along[loud[-1]])
    return Wall(
        along, np.asarray(h, np.float64), np.asarray(t, np.float64), leg.cruise_speed_m_s, float(np.abs(h).max()),
        float(ridges[1] - ridges[0]) if len(ridges) > 1 else None, tuple(ridges[:2]),
        calm if calm < along[-1] - 10 * STEP_M else None,
    )  # fmt: skip


def _ramp_m(leg: Leg, way: Array) -> float:
    """How far the leg's first ramp takes it, m: at even acceleration half of what its speed would."""
    return 0.5 * leg.cruise_speed_m_s * max(0.0, leg.cruise_from_s - leg.start_s)


def _ridges(along: Array, h: Array, beyond_m: float) -> list[float]:
    """Where the wall stands out most between its neighbours, past the ramp, m."""
    tops = np.flatnonzero((h[1:-1] > h[:-2]) & (h[1:-1] >= h[2:])) + 1
    least = LEAST_RIDGE * float(np.abs(h).max())
    return [float(along[k]) for k in tops if along[k] >= beyond_m and h[k] > least]
