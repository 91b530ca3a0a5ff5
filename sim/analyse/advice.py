"""What to change about a place where the tool strays from its path: one setting, with a value to try. SI units."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from ..scenario.motion import MotionLimits, ShaperSpec
from .reading import INVISIBLE_M, SEEN_M, length
from .ripples import Place


@dataclass(frozen=True)
class Advice:
    """key: the setting, as in the scenario file; None: leave everything.  words: what to write there and why.

    The words name keys with all their dots and values as TOML, so that they can be pasted into a file or behind --set.
    """

    key: str | None
    words: str


def advise(
    place: Place,
    limits: MotionLimits,
    shapers: Mapping[str, ShaperSpec],
    frequency_hz: Mapping[str, float],
    shaky: bool,
) -> Advice:
    """The setting that matters most at a place.

    frequency_hz: what the machine rings at by axis, where that is known.  shaky: whether a belt went slack or a motor
    lost steps. The acceleration named is a first guess to try and simulate again: the error shrinks with it where ramps
    are long against the period, and however they fall in with it a ramp leaves at most 2 a / w^2 of one mode ringing
    (textbook shock spectrum of a rectangular pulse).
    """
    if place.error_m < INVISIBLE_M:
        return Advice(None, "hardly to be seen; leave it")
    goal = SEEN_M if place.error_m > SEEN_M else INVISIBLE_M
    rings = frequency_hz.get(place.axis)
    share = goal / place.error_m
    if rings is not None:
        share = min(share, 0.5 * goal * (2 * math.pi * rings) ** 2 / limits.acceleration_m_s2)
    share = max(share, 0.1)
    slower = f"motion.acceleration_mm_s2 = {_rounded(1e3 * limits.acceleration_m_s2 * share)}"
    if place.machine_share < 0.5:
        if limits.corner_tolerance_m > 0.3 * place.error_m:
            return Advice(
                "motion.corner_tolerance_mm",
                f"motion.corner_tolerance_mm = {_rounded(500 * limits.corner_tolerance_m)}: the corner is cut on purpose",
            )
        if shapers:
            return Advice("motion.acceleration_mm_s2", f"{slower}, or a shorter shaper: shaping rounds corners")
    if shaky:
        return Advice("motion.acceleration_mm_s2", f"{slower}: belts go slack or motors lose steps")
    if place.axis not in shapers and rings is not None:
        key = f"motion.shaper.{place.axis}"
        shaper = f'{key} = {{ kind = "zero-vibration", frequency_hz = {rings:.3g} }}'
        return Advice(key, f"{shaper}, or {slower}")
    if rings is not None and limits.corner_speed_step_m_s * 2 * math.pi * rings > limits.acceleration_m_s2:
        # A jump of speed dv rings with dv / w, an acceleration that sets in with a / w^2 (textbook step responses).
        step = _rounded(1e3 * limits.corner_speed_step_m_s * share)
        return Advice("motion.corner_speed_step_mm_s", f"motion.corner_speed_step_mm_s = {step}, or {slower}")
    return Advice("motion.acceleration_mm_s2", f"{slower} for about {length(goal)}")


def _rounded(value: float) -> str:
    """A value to try, to two figures."""
    return f"{round(value, 1 - math.floor(math.log10(value))):g}"
