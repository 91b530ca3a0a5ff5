"""Why an axis' ringing has no frequency, damping or fading to tell: one sentence an axis."""

from __future__ import annotations

from ..analyse import Analysis, Ringing
from ..analyse.reading import duration
from ..analyse.ringing import SILENT_M, no_damping
from ..machine.machine import Machine
from ..plan.build import MotionPlan

#: Two times closer than this are one.
SAME_S = 0.01


def untold(analysis: Analysis, plan: MotionPlan, machine: Machine, broke_down: bool = False) -> dict[str, str]:
    """By axis why nothing is told of it; empty where it is, and after a chirp. broke_down: the motion grew without bound."""
    out: dict[str, str] = {}
    for axis, found in ({} if analysis.responses else analysis.ringing).items():
        if broke_down:
            out[axis] = "the run broke down, and what a machine does beyond its bounds is no ringing"
        elif found is None:
            out[axis] = "it never stands still after a corner, so that no ringing of it can be told"
        elif found.frequency_hz is None:
            out[axis] = found.why or ("there is nothing to see" if found.peak_m < SILENT_M else "too few rows")
        else:
            why = [no_damping(found)] if found.damping_ratio is None else []
            why += [_not_faded(found, plan, machine)] if found.fades_to_5_percent_s is None else []
            if why:
                out[axis] = "; ".join(why)
    return out


def _not_faded(found: Ringing, plan: MotionPlan, machine: Machine) -> str:
    leg = next((leg for leg in plan.legs if leg.name == found.leg), None)
    to_the_end = leg is not None and leg.end_s + found.watched_s > plan.duration_s - SAME_S
    when = "when the run ends (move.settle_ms)" if to_the_end else "when it has to move again"
    words = f"it has not faded {when}, after {duration(found.watched_s)}"
    if machine.arms and leg is not None and leg is not plan.legs[-1]:
        # No axis stands still by itself: what holds the tool in X is shaken by the way it goes in Y.
        words += "; after the corner all carriages run on, whose motors' detent and guides' friction shake it"
    return words
