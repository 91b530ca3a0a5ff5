"""Why the tool is off the line at a place of a program's ripple map: the cause in words, and no advice. SI units.

What to change is told by whoever simulates the change.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from ..practice import INVISIBLE_M
from ..scenario.motion import MotionLimits, ShaperSpec
from ..trace import Slip
from .ringing import Ringing
from .ripples import Place

#: Of an error less of it than this lies in the machine, when the plan made it; and a tolerance this much of it explains it.
MACHINE_SHARE, TOLERANCE_SHARE = 0.5, 0.3


def place_cause(
    place: Place,
    limits: MotionLimits,
    shapers: Mapping[str, ShaperSpec],
    ringing: Mapping[str, Ringing | None],
    causes: Mapping[str, Sequence[str]],
    slips: Sequence[Slip] = (),
    slack: Sequence[str] = (),
) -> str:
    """What puts the tool off the line at a place.

    ringing, causes: of the run, by axis, and what is behind them.  slack: belts that hung slack at any time of the run.
    """
    if place.error_m < INVISIBLE_M:
        return "hardly to be seen"
    if place.machine_share < MACHINE_SHARE:
        if limits.corner_tolerance_m > TOLERANCE_SHARE * place.error_m:
            return f"the corner is cut on purpose: motion.corner_tolerance_mm = {1e3 * limits.corner_tolerance_m:.3g}"
        if shapers:
            return "the shapers round the corner: the command itself is off the line here"
    lost = [s.motor for s in slips if s.time_s <= place.time_s]
    if lost:
        return f"motor {' and '.join(lost)} is out of step from here on or before"
    if slack:
        return f"belt {' and '.join(slack)} hangs slack in this run"
    found = ringing.get(place.axis)
    if found is not None and found.frequency_hz:
        behind = causes.get(place.axis)
        why = f": {behind[0]}" if behind else ""
        return f"{place.axis.upper()} rings at {found.frequency_hz:.3g} Hz{why}"
    return f"the machine gives way along {place.axis.upper()} while it speeds up or slows down"
