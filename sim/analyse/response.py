"""Frequency response from a chirp: how far the tool swings for each unit of commanded acceleration, by frequency.

A chirp starts and ends at rest in the same place, so over the whole record (the ringing after it included) the Fourier
transforms of what went in and what came out stand in the ratio of the machine's own response, if the machine is linear.
Friction is not; its harmonics are averaged out over neighbouring frequencies (the cross-spectral estimate called H1 in
Bendat & Piersol, Random Data, 4th ed. 2010, chapter 6; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..plan.plan import Plan
from ..trace import Trace

Array = NDArray[np.float64]

AXES = ("x", "y")
FINEST_HZ = 0.05  # spacing of the frequencies, by padding with zeros
BLUR_HZ = 0.1  # standard deviation of the average over neighbouring frequencies
CLEAR = 0.85  # a peak stands clear if the curve falls to this share of it on both sides
LEAST = 0.25  # smaller than this share of the largest peak, a peak is not told
APART = 0.15  # a peak nearer than this share of its frequency to a larger one is a ripple of that, made by friction
MOST_PEAKS = 3
DRIVEN = 0.1  # an axis that gets less than this share of the sweep is not driven


@dataclass(frozen=True)
class ResponsePeak:
    """frequency_hz: where the response peaks.  gain_s2: how far the tool swings there, m for each m/s2."""

    frequency_hz: float
    gain_s2: float


@dataclass(frozen=True)
class Response:
    """The response of one axis to a chirp along it.

    frequency_hz, gain_s2: (n,), over the swept range; gain: deviation of the tool from the command, m for each m/s2.
    peaks: the clear ones, largest first.  still_rising: whether the curve is largest at the upper end of the sweep.
    """

    axis: str
    frequency_hz: Array
    gain_s2: Array
    peaks: tuple[ResponsePeak, ...]
    still_rising: bool


def responses(trace: Trace, plan: Plan) -> tuple[Response, ...]:
    """The response of each axis that a chirp drives; empty for other moves, and for a run that ended early."""
    sweeps = [leg for leg in plan.legs if leg.sweep_hz is not None]
    if not sweeps or trace.stopped_at_s is not None or len(trace.t_s) < 16:
        return ()
    lowest, highest = sweeps[0].sweep_hz or (0.0, 0.0)
    step = float(np.median(np.diff(trace.t_s)))
    even = np.arange(trace.t_s[0], trace.t_s[-1], step)
    points = int(2 ** np.ceil(np.log2(max(even[-1] - even[0], 1.0 / FINEST_HZ) / step)))
    frequency: Array = np.arange(points // 2 + 1) / (points * step)
    inside = (frequency >= lowest) & (frequency <= min(highest, 0.45 / step))
    if np.count_nonzero(inside) < 8:
        return ()
    found = []
    for axis, name in enumerate(AXES):
        if abs(sweeps[0].direction[axis]) < DRIVEN:
            continue
        command = np.interp(even, trace.t_s, trace.commanded[:, axis])
        off = np.interp(even, trace.t_s, trace.tool[:, axis] - trace.commanded[:, axis])
        asked = -((2 * np.pi * frequency) ** 2) * np.fft.rfft(command - command[0], points)
        came = np.fft.rfft(off, points)
        width = BLUR_HZ * points * step
        crossed, power = _blurred(came * asked.conj(), width), _blurred(np.abs(asked) ** 2, width).real
        gain = np.abs(crossed[inside]) / np.maximum(power[inside], 1e-300)
        rising = int(np.argmax(gain)) == len(gain) - 1
        found.append(Response(name, frequency[inside], gain, _peaks(frequency[inside], gain), rising))
    return tuple(found)


def _blurred(values: NDArray[np.complex128] | Array, width: float) -> NDArray[np.complex128]:
    """Each value averaged with its neighbours, weighted by a bell curve of so many values' standard deviation."""
    reach = np.arange(-int(4 * width), int(4 * width) + 1)
    bell = np.exp(-0.5 * (reach / width) ** 2)
    return np.asarray(np.convolve(values, bell / bell.sum(), "same"), complex)


def _peaks(frequency: Array, gain: Array) -> tuple[ResponsePeak, ...]:
    """Local maxima that stand clear on both sides, largest first, each at the top of a parabola through three points."""
    found: list[ResponsePeak] = []
    tops = np.flatnonzero((gain[1:-1] > gain[:-2]) & (gain[1:-1] >= gain[2:])) + 1
    for i in tops[np.argsort(-gain[tops], kind="stable")].tolist():
        if len(found) == MOST_PEAKS or gain[i] < LEAST * gain.max():
            break
        if any(abs(frequency[i] - peak.frequency_hz) < APART * peak.frequency_hz for peak in found):
            continue
        # On either side the curve has to fall clear of the peak before it rises above it.
        sides = (gain[i::-1], gain[i:])
        higher = [int(np.argmax(side > gain[i])) or len(side) for side in sides]
        if any(side[:until].min() > CLEAR * gain[i] for side, until in zip(sides, higher, strict=True)):
            continue
        a, b, c = gain[i - 1 : i + 2].tolist()
        shift = 0.5 * (a - c) / (a - 2 * b + c) if a - 2 * b + c != 0 else 0.0
        step = float(frequency[1] - frequency[0])
        found.append(ResponsePeak(float(frequency[i]) + shift * step, b - 0.25 * (a - c) * shift))
    return tuple(found)
