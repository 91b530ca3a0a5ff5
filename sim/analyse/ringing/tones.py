"""A(f), the amplitude at a frequency from t = 0 on, and the search for the tones of a ring-down: step 1 of `decay`. SI units."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SWINGS = 3.0  # the window, in periods
GRID = 1.03  # ratio of neighbouring frequencies of the search; a peak of A is a third of its frequency wide
BLOCK = 16  # so many rows are turned on together


@dataclass(frozen=True)
class Tone:
    """A peak of A: frequency, Hz, and amplitude, m."""

    frequency_hz: float
    amplitude_m: float


def amplitudes(t_s: Array, signal_m: Array, hertz: Array) -> Array:
    """A(f), (k,) m, at frequencies (k,) Hz, rising; t_s: (n,) s, evenly spaced."""
    counts = t_s.searchsorted(SWINGS / hertz)
    ends = first_rows(t_s) ** 2
    longest = int(counts[0])
    t, y = t_s[:longest], signal_m[:longest]
    flat = np.zeros((longest + BLOCK, 5))
    flat[:longest] = np.stack([np.ones(longest), t, y, t * t, t * y], axis=1)
    # Sums over the rows, weighted: of 1, t, the signal, t^2 and t times the signal; of the first three with e^iwt; of its square.
    k = len(hertz)
    plain, waved, twice = np.empty((k, 5)), np.empty((k, 3), np.complex128), np.empty(k, np.complex128)
    last = k
    while last > 0:
        # Together those within a factor of 2: their windows are about equally long.
        first = int(hertz[:last].searchsorted(0.5 * hertz[last - 1]))
        own = slice(first, last)
        turned = _turning(hertz[own] / 12.0, t_s, int(counts[first]))
        n = turned.shape[1]
        weight = turned.real**2
        weight *= np.arange(n) < counts[own, None]
        weight[:, :2] *= ends
        wave = turned * turned
        wave *= turned
        wave *= wave
        wave *= wave
        plain[own] = weight @ flat[:n]
        weighted = np.multiply(weight, wave, out=turned)  # new arrays take longer than all that is reckoned here
        waved[own] = weighted @ flat[:n, :3]
        weighted *= wave
        twice[own] = weighted.sum(axis=1)
        last = first
    solved = np.linalg.solve(*_normal(hertz, plain, waved, twice))
    return np.asarray(np.hypot(solved[:, 2, 0], solved[:, 3, 0]))


def _turning(hertz: Array, t_s: Array, n: int) -> NDArray[np.complex128]:
    """e^(2 pi i f t) at frequencies (k,) and at least the first n of evenly spaced times, (k, n and up to a block more).

    Of each block of rows its first, times those of the first block: a product takes a fiftieth of what sine and cosine take.
    """
    step = float(t_s[-1] - t_s[0]) / (len(t_s) - 1)
    omega = 2j * np.pi * hertz[:, None]
    blocks = np.exp(omega * (t_s[0] + BLOCK * step * np.arange(-(-n // BLOCK))))
    within = np.exp(omega * (step * np.arange(BLOCK)))
    return np.asarray((blocks[:, :, None] * within[:, None, :]).reshape(len(hertz), -1))


def _normal(
    f: Array, plain: Array, waved: NDArray[np.complex128], twice: NDArray[np.complex128]
) -> tuple[Array, Array]:
    """Normal equations, (k, 4, 4) and (k, 4, 1), of [1, turns, cos, sin] from the sums of `amplitudes`."""
    gram, right = np.empty((len(f), 4, 4)), np.empty((len(f), 4, 1))
    gram[:, 0, 0], gram[:, 0, 1], gram[:, 1, 1] = plain[:, 0], f * plain[:, 1], f * f * plain[:, 3]
    gram[:, 0, 2], gram[:, 0, 3] = waved[:, 0].real, waved[:, 0].imag
    gram[:, 1, 2], gram[:, 1, 3] = f * waved[:, 1].real, f * waved[:, 1].imag
    gram[:, 2, 2], gram[:, 3, 3] = 0.5 * (plain[:, 0] + twice.real), 0.5 * (plain[:, 0] - twice.real)
    gram[:, 2, 3] = 0.5 * twice.imag
    for i, j in ((1, 0), (2, 0), (3, 0), (2, 1), (3, 1), (3, 2)):
        gram[:, i, j] = gram[:, j, i]
    right[:, 0, 0], right[:, 1, 0] = plain[:, 2], f * plain[:, 4]
    right[:, 2, 0], right[:, 3, 0] = waved[:, 2].real, waved[:, 2].imag
    return gram, right


def first_rows(t_s: Array) -> Array:
    """Weights of the first two rows beside the others, (2,): they stand for the time from 0 on, wherever rows fall in it.

    Squared, they make the sums integrals from 0 to third order in the spacing (Gregory's end correction by first
    differences, and the line through both rows carried back to 0); the far end needs none, where the weights vanish.
    """
    u = float(t_s[0] / (t_s[1] - t_s[0]))
    by_slope = 1.0 / 12.0 - 0.5 * u * u
    return np.asarray(np.sqrt([0.5 + u - by_slope, 1.0 + by_slope]), np.float64)


def search(t_s: Array, signal_m: Array, low_hz: float, high_hz: float) -> tuple[Array, Array]:
    """Frequencies from low to high, (k,) Hz, and A at each, (k,) m."""
    count = int(np.ceil(np.log(high_hz / low_hz) / np.log(GRID))) + 1
    hertz = np.geomspace(low_hz, high_hz, count)
    return hertz, amplitudes(t_s, signal_m, hertz)


def crest(hertz: Array, heights: Array, at: int) -> Tone:
    """The peak about a point of the search: the parabola through it and its neighbours."""
    if at in (0, len(hertz) - 1):
        return Tone(float(hertz[at]), float(heights[at]))
    a, b, c = heights[at - 1 : at + 2]
    bend = a - 2 * b + c
    shift = 0.5 * (a - c) / bend if bend < 0 else 0.0
    return Tone(float(hertz[at] * (hertz[at + 1] / hertz[at]) ** shift), float(b - 0.25 * (a - c) * shift))
