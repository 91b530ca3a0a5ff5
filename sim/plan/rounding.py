"""What shapers and blending cost: how late the commanded motion is, and how far it cuts corners."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .build import MotionPlan
from .plan import Leg

SAMPLES = 500


@dataclass(frozen=True)
class Rounding:
    """How far from the corner at the end of a leg the commanded path stays. leg: its name."""

    leg: str
    time_s: float
    distance_m: float


def corner_rounding(plan: MotionPlan) -> list[Rounding]:
    """Rounding at every corner between two legs, in order of time; the path is looked at from all sides of the corner.

    The commanded path passes a corner some time between the asked one and the shapers' tail after it, and a blend arc
    lies round it in time: looked at is the second half of the leg before and the first of the one after, and the tail.
    """
    legs = [(a, b) for a, b in zip(plan.legs, plan.legs[1:], strict=False) if _is_corner(a, b)]
    best = np.full(len(legs), np.inf)
    tail, first = max(plan.shaping.tail_s), 0
    for stretch in plan.stretches():
        while first < len(legs) and _until(legs[first], tail) < stretch.t0:
            first += 1
        for n in range(first, len(legs)):
            leg = legs[n][0]
            begin, end = max(0.5 * (leg.start_s + leg.end_s), stretch.t0), min(_until(legs[n], tail), stretch.t1)
            if begin > stretch.t1:
                break
            if end >= begin:
                at = stretch.commanded(np.linspace(begin, end, SAMPLES))
                best[n] = min(best[n], _distance(at, leg.end))
    return [Rounding(leg.name, leg.end_s, float(d)) for (leg, _), d in zip(legs, best, strict=True) if np.isfinite(d)]


def _is_corner(a: Leg, b: Leg) -> bool:
    return abs(b.start_s - a.end_s) < 1e-6 and bool(np.linalg.norm(np.subtract(a.end, b.start)) < 1e-6)


def _until(legs: tuple[Leg, Leg], tail_s: float) -> float:
    return 0.5 * (legs[1].start_s + legs[1].end_s) + tail_s


def _distance(points: np.ndarray[tuple[int, ...], np.dtype[np.float64]], corner: Sequence[float]) -> float:
    """Shortest distance from a point to a polyline, (n, 3) m."""
    a, b = points[:-1] - corner, points[1:] - corner
    along = b - a
    length = np.maximum((along * along).sum(axis=1), 1e-300)
    share = np.clip(-(a * along).sum(axis=1) / length, 0.0, 1.0)
    return float(np.linalg.norm(a + share[:, None] * along, axis=1).min())


def shaping_notes(plan: MotionPlan) -> list[str]:
    """Finished sentences: what the shapers cost this plan in time and at its corners. Empty without shapers."""
    if max(plan.shaping.tail_s) == 0.0:
        return []
    own = [made for made in plan.shaping.made if made.auto]
    out = []
    if own:
        tuned = " and ".join(
            f"{m.axis.upper()} ({m.kind}) for {m.frequency_hz:.1f} Hz, damping {m.damping:.3f}" for m in own
        )
        out.append(f"Shaped for the model's own modes in the middle of the move: {tuned}.")
    out += [
        f"The shapers make the motion lag {1e3 * plan.shaping.delay_s:.1f} ms and go on "
        f"{1e3 * max(plan.shaping.tail_s):.1f} ms longer."
    ]
    worst = max(corner_rounding(plan), key=lambda r: r.distance_m, default=None)
    if worst is not None and worst.distance_m > 0.0:
        out.append(f"Corners are rounded by up to {1e6 * worst.distance_m:.0f} um (at the end of {worst.leg}).")
    return out
