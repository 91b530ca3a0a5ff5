"""The four ways in which the tool is off: across the asked line, along it, in X and in Y, each a curve over time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from beltspring.sim import envelope, ringdown_at
from numpy.typing import NDArray

from ..draw import text
from ..draw.theme import Colour, Look
from .corners import Corner
from .shown import Shown

Array = NDArray[np.float64]

OFF, ALONG = "off the line", "along the line"
CURVES = (OFF, ALONG, "X", "Y")
SAME = 0.005  # tones that differ by less are written alike


def values_m(shown: Shown, curve: str) -> Array:
    """A curve's values at the recorded times, (n,) m.

    Off the line: the distance from the asked line, to its left positive.  Along the line: how far the tool is ahead (positive)
    of where it was commanded to be.  X, Y: tool less commanded place.
    """
    if curve == OFF:
        return shown.sideways_m
    if curve == ALONG:
        return shown.ahead_m
    return shown.deviation_m[curve.lower()]


def colour_of(look: Look, curve: str) -> Colour:
    """The printed line's colour for what is seen on it, else the axis'."""
    return look.theme.axis(curve.lower()) if curve in ("X", "Y") else look.theme.laid


@dataclass(frozen=True)
class Fading:
    """How a curve dies after a corner. told: the axis' tone in words, "X at 84 Hz ", where this corner is the one it is told
    of; another corner's own tone is near it and would be a second number for one thing.  time_s, about_m, size_m: (k,), see
    `Envelope`.

    fades_s: until 5 % is left, as told of that axis at that corner; None where it has not faded in the watched_s seen.
    """

    told: str
    time_s: Array
    about_m: Array
    size_m: Array
    fades_s: float | None
    watched_s: float


def fading(shown: Shown, curve: str, corner: Corner) -> Fading | None:
    """How a curve dies after a corner; None where no axis stands still there, or the curve is that of one that moves."""
    axes = "xy" if curve == OFF else curve.lower() if curve in ("X", "Y") else ""
    trace, plan = shown.trace, shown.result.plan
    seen = shown.result.analysis.ringdowns
    looked = (ringdown_at(trace, plan, axis, corner.leg, corner.stop_s, seen) for axis in axes)
    known = [down for down in looked if down is not None]
    top = max(known, key=lambda d: d.peak_m, default=None)
    found = envelope(trace, top) if top is not None else None
    if top is None or top.decay is None or found is None or top.decay.frequency_hz is None:
        return None
    column = "xy".index(top.axis)
    about = found.about_m - np.interp(found.time_s, shown.t_s, trace.commanded[:, column])
    if curve == OFF:
        # To the left of the line is positive: the axis as it lies across the way that the tool goes.
        k = int(np.searchsorted(shown.t_s, 0.5 * (top.start_s + top.end_s)))
        side = shown.direction[min(k, len(shown.t_s) - 1)]
        about = about * (-side[1] if column == 0 else side[0])
    ringing = shown.result.analysis.ringing.get(top.axis)
    told = ""
    if ringing is not None and ringing.frequency_hz and abs(top.decay.frequency_hz / ringing.frequency_hz - 1.0) < SAME:
        hz = ringing.frequency_hz
        told = f"{top.axis.upper()} at {text.number(hz, 1 if hz < 20 else 0)} Hz "
    return Fading(told, found.time_s, about, found.size_m, top.decay.fades_s, top.end_s - top.start_s)
