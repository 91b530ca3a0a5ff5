"""What to change about a place where the tool strays from its path: one setting, with a value to try. SI units."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from ..scenario.motion import MotionLimits, ShaperSpec
from .reading import SEEN_M, length
from .ripples import Place

# Below this an error is not worth a change: the tool is as good as a careful builder gets it.
WORTH_M = SEEN_M / 4


@dataclass(frozen=True)
class Advice:
    """key: the setting, as in the scenario file; None: leave everything.  words: what to write there and why."""

    key: str | None
    words: str


def advise(
    place: Place, limits: MotionLimits, shapers: Mapping[str, ShaperSpec], frequency_hz: float | None, shaky: bool
) -> Advice:
    """The setting that matters most at a place.

    frequency_hz: what the machine rings at, if that is known.  shaky: whether a belt went slack or a motor lost steps.
    A first guess to try and simulate again, not a promise: the error is taken to shrink with the acceleration.
    """
    if place.error_m < WORTH_M:
        return Advice(None, "small enough")
    if place.machine_share < 0.5:
        if limits.corner_tolerance_m > 0.3 * place.error_m:
            return Advice(
                "motion.corner_tolerance_mm",
                f"corner_tolerance_mm below {1e3 * limits.corner_tolerance_m:.3g}: the corner is cut on purpose",
            )
        if shapers:
            to = _try(limits.acceleration_m_s2, place.error_m)
            return Advice(
                "motion.acceleration_mm_s2",
                f"acceleration_mm_s2 = {to}, or a shorter shaper: shaping rounds the corner here",
            )
    if shaky:
        to = _try(limits.acceleration_m_s2, max(place.error_m, 2 * SEEN_M))
        return Advice("motion.acceleration_mm_s2", f"acceleration_mm_s2 = {to}: belts go slack or motors lose steps")
    if not shapers and frequency_hz is not None:
        return Advice(
            "motion.shaper", f'a shaper at {frequency_hz:.3g} Hz (kind "zv", or frequency_hz "auto"): the machine rings'
        )
    if (
        frequency_hz is not None
        and limits.corner_speed_step_m_s * 2 * math.pi * frequency_hz > limits.acceleration_m_s2
    ):
        # A jump of speed dv rings with dv / w, an acceleration that sets in with a / w^2 (textbook step responses).
        to_step = 1e3 * limits.corner_speed_step_m_s * max(SEEN_M / place.error_m, 0.1)
        return Advice(
            "motion.corner_speed_step_mm_s", f"corner_speed_step_mm_s = {to_step:.2g}: corners are taken with a jerk"
        )
    to = _try(limits.acceleration_m_s2, place.error_m)
    return Advice("motion.acceleration_mm_s2", f"acceleration_mm_s2 = {to} for about {length(SEEN_M)}")


def _try(acceleration_m_s2: float, error_m: float) -> str:
    """An acceleration to try, mm/s2, rounded to two figures."""
    value = 1e3 * acceleration_m_s2 * min(1.0, max(SEEN_M / error_m, 0.1))
    digits = 1 - math.floor(math.log10(value))
    return f"{round(value, digits):g}"
