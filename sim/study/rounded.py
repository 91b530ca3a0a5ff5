"""What shapers cost: how late they make the motion, and how round its corners."""

from __future__ import annotations

from collections.abc import Sequence

from ..analyse.reading import duration, length
from ..chain.chain import Outcome
from ..plan.rounding import corner_rounding


def roundest_m(outcome: Outcome) -> float:
    """How far from its corner the roundest corner of a shaped plan stays, m; 0 without shapers."""
    plan = outcome.plan
    if not plan.shaping.made:
        return 0.0
    return max((r.distance_m for r in corner_rounding(plan)), default=0.0)


def cost_of_shaping(labels: Sequence[str], outcomes: Sequence[Outcome]) -> list[str]:
    """How late shapers make the motion and how round its corners, in one sentence; nothing where there are none."""
    parts = []
    for label, outcome in zip(labels, outcomes, strict=True):
        plan = outcome.plan
        if plan.shaping.made:
            parts.append(f"{label}: {duration(plan.shaping.delay_s)} and {length(roundest_m(outcome))}")
    return [f"What the shapers cost in lag and in round corners: {'; '.join(parts)}."] if parts else []
