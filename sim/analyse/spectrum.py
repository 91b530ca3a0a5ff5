"""Spectrum of the ringing: how much of it there is at each frequency, averaged over the ring-downs of an axis."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..trace import Trace
from .ringing import SILENT_M, Ringdown

Array = NDArray[np.float64]

LOWEST_HZ = 5.0  # slower than this is drift and creep, not ringing
FINEST_HZ = 0.5  # spacing of the frequencies shown, by padding with zeros
LONGEST_S = 1.0
MOST_PEAKS = 4


@dataclass(frozen=True)
class Peak:
    frequency_hz: float
    amplitude_m: float


@dataclass(frozen=True)
class Spectrum:
    """frequency_hz, amplitude_m: (n,), from 5 Hz to half the recording rate; empty where the axis never rings down.

    amplitude_m: mean over the ring-downs of 2/N |FFT|, so that a steady sine of amplitude A shows A and a fading one
    its mean amplitude over the stretch.  peaks: the clear ones, largest first.  ringdowns: how many were averaged.
    """

    axis: str
    frequency_hz: Array
    amplitude_m: Array
    peaks: tuple[Peak, ...]
    ringdowns: int


class Spectra(Mapping[str, Spectrum]):
    """The spectra of some axes, each worked out when it is first asked for: most who ask what rings never look at one."""

    def __init__(self, trace: Trace, ringdowns: list[Ringdown], axes: tuple[str, ...]) -> None:
        self._trace, self._ringdowns = trace, ringdowns
        self._made: dict[str, Spectrum | None] = dict.fromkeys(axes)

    def __getitem__(self, axis: str) -> Spectrum:
        made = self._made[axis]
        if made is None:
            made = self._made[axis] = spectrum(self._trace, self._ringdowns, axis)
        return made

    def __iter__(self) -> Iterator[str]:
        return iter(self._made)

    def __len__(self) -> int:
        return len(self._made)


def spectrum(trace: Trace, ringdowns: list[Ringdown], axis: str) -> Spectrum:
    """Average amplitude spectrum of one axis over its ring-downs, mean and trend removed."""
    column = "xy".index(axis)
    stretches: list[Array] = []
    steps: list[float] = []
    for r in (r for r in ringdowns if r.axis == axis):
        first, last = np.searchsorted(trace.t_s, (r.start_s - 1e-9, min(r.end_s, r.start_s + LONGEST_S) + 1e-9))
        t, y = trace.t_s[first:last], trace.tool[first:last, column]
        if len(t) >= 16:
            steps.append(float(np.median(np.diff(t))))
            stretches.append(np.stack((t, y)))
    if not stretches:
        return Spectrum(axis, np.empty(0), np.empty(0), (), 0)
    step = max(steps)
    longest = max(s[0, -1] - s[0, 0] for s in stretches)
    points = int(2 ** np.ceil(np.log2(max(longest, 1.0 / FINEST_HZ) / step)))
    total = np.zeros(points // 2 + 1)
    for t, y in stretches:
        even = np.arange(t[0], t[-1], step)
        total += _amplitudes(np.interp(even, t, y), points)
    frequency: Array = np.arange(points // 2 + 1) / (points * step)
    shown = frequency >= LOWEST_HZ
    amplitude: Array = total[shown] / len(stretches)
    return Spectrum(axis, frequency[shown], amplitude, _peaks(frequency[shown], amplitude, longest), len(stretches))


def _amplitudes(y: Array, points: int) -> Array:
    """One-sided amplitudes, (points // 2 + 1,), of one stretch; its last fifth fades out, so its end makes no skirt."""
    n = len(y)
    line = np.stack((np.ones(n), np.linspace(-1.0, 1.0, n)), axis=1)
    y = y - line @ np.linalg.lstsq(line, y, rcond=None)[0]
    taper = np.ones(n)
    end = max(2, n // 5)
    taper[-end:] = 0.5 * (1 + np.cos(np.linspace(0.0, np.pi, end)))
    result: Array = 2.0 / taper.sum() * np.abs(np.fft.rfft(y * taper, points))
    return result


def _peaks(frequency: Array, amplitude: Array, span: float) -> tuple[Peak, ...]:
    """Local maxima above a tenth of the largest that stand clear of their surroundings, largest first.

    span: length of the longest stretch, s.
    """
    if len(amplitude) < 3 or amplitude.max() < SILENT_M / 10:
        return ()
    inner = amplitude[1:-1]
    tops = np.flatnonzero((inner > amplitude[:-2]) & (inner >= amplitude[2:])) + 1
    order = tops[np.argsort(-amplitude[tops])]
    found: list[Peak] = []
    taken: list[int] = []
    for i in order:
        if amplitude[i] < 0.1 * amplitude.max() or len(found) == MOST_PEAKS:
            break
        # A shoulder of a larger peak: the curve does not fall to half between the two.
        if any(amplitude[min(i, j) : max(i, j) + 1].min() > 0.5 * amplitude[i] for j in taken):
            continue
        # A ripple of a larger peak's skirt: a sine cut off after `span` leaves A / (pi span |f - f0|) beside it.
        skirt = sum(amplitude[j] / (np.pi * span * abs(frequency[i] - frequency[j])) for j in taken)
        if amplitude[i] < 1.5 * skirt:
            continue
        taken.append(int(i))
        a, b, c = amplitude[i - 1 : i + 2]
        shift = 0.5 * (a - c) / (a - 2 * b + c) if a - 2 * b + c != 0 else 0.0
        step = frequency[1] - frequency[0]
        found.append(Peak(float(frequency[i] + shift * step), float(b - 0.25 * (a - c) * shift)))
    return tuple(found)
