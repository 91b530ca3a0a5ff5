"""What to change about the worst places of a program's ripple map."""

from __future__ import annotations

from ..analyse.advice import Advice, advise
from ..scenario.motion import motion_limits, shapers
from .chain import Outcome


def ripple_advice(outcome: Outcome) -> list[Advice]:
    """For each of the worst places the setting to change, in the map's order; empty for a pattern."""
    ripples, trace = outcome.analysis.ripples, outcome.trace
    if ripples is None:
        return []
    ringing = {
        axis: r.frequency_hz
        for axis, r in outcome.analysis.ringing.items()
        if r is not None and r.frequency_hz is not None
    }
    limits, wanted = motion_limits(outcome.scenario), shapers(outcome.scenario)
    shaky = bool(trace.slips) or any(seconds > 0 for seconds in trace.slack_s.values())
    return [advise(place, limits, wanted, ringing, shaky) for place in ripples.places]
