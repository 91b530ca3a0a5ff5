"""Corners of a move: where it stops or turns, and from when to when each of them is looked at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

BEFORE_S = 0.020  # a corner is shown from so long before its stop


@dataclass(frozen=True)
class Corner:
    """A stop or a turn of the move. number: of the leg that ends there, from 0.  stop_s: when the commanded motion of that leg
    is over, shaping included; next_s: the same of the next, or the end of the run, s."""

    name: str
    number: int
    stop_s: float
    next_s: float


def corners_of(plan: Any, end_s: float) -> list[Corner]:
    """The end of every leg of a plan, in order; the last one is called the end. end_s: of the run, s."""
    delay = max(plan.shaper_delay_s[:2], default=0.0)
    stops = [min(float(leg.end_s) + delay, end_s) for leg in plan.legs]
    names = [f"corner {k + 1}" for k in range(len(stops) - 1)] + ["end"]
    ends = [*stops[1:], end_s]
    return [Corner(name, k, a, max(a, b)) for k, (name, a, b) in enumerate(zip(names, stops, ends, strict=False))]


def corner_at(corners: Sequence[Corner], time_s: float) -> Corner | None:
    """The corner that a time belongs to: from shortly before its stop to shortly before the next; None without any."""
    passed = [c for c in corners if c.stop_s - BEFORE_S <= time_s + 1e-9]
    return passed[-1] if passed else next(iter(corners), None)
