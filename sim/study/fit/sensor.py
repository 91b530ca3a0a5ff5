"""A sensor of unknown pose, gain, constant, start and clock, laid over what the model feels. SI units.

Orientation, gain and constant come in closed form inside each step (Kabsch, Acta Crystallographica A32, 1976, 922, from
memory), gravity at rest as a second direction; start and clock rate are sought, first by smoothed envelopes of energy.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

Array = NDArray[np.float64]

#: What cheap sensors keep, one sigma: gain (2 %), and the constant at rest, m/s2 (80 mg; data sheets, from memory).
GAIN_SIGMA, CONSTANT_SIGMA = 0.02, 0.8
CLOCK_SIGMA = 0.01
#: Clock rates of the first guess, and those tried only to say what is wrong.
CLOCKS = np.linspace(0.96, 1.04, 41)
WRONG_CLOCKS = np.concatenate([np.linspace(0.7, 0.955, 52), np.linspace(1.045, 1.45, 82)])
GRID_S, SMOOTH_S = 1e-3, 8e-3


@dataclass(frozen=True)
class Pose:
    """How the sensor sits: measured = gain turn . felt + constant. turn: (axes, 3), rows of a rotation.  mirrored: its axes
    are left-handed (two are swapped, or one has the wrong sign)."""

    turn: Array
    gain: float
    constant: Array
    mirrored: bool = False

    @property
    def unlikely(self) -> float:
        """Squares of what gain and constant are off, in sigmas."""
        return ((self.gain - 1) / GAIN_SIGMA) ** 2 + float((self.constant**2).sum()) / CONSTANT_SIGMA**2

    def reads(self, felt: Array) -> Array:
        """What it reads, (n, axes), where (n, 3) is felt."""
        return np.asarray(self.gain * felt @ self.turn.T + self.constant)


def best_pose(measured: Array, felt: Array, weight: Array, mirrored: bool = False) -> Pose:
    """The pose that leaves least. measured: (n, 3) or (n, 2), felt: (n, 3), weight: (n,), 1/sigma^2, alike for all axes.

    The constant taken out, what is left asks for the turn nearest to H = sum w (m - mean)(f - mean)' + k mean mean'; k lets
    the readings at rest tell gravity as far as the constant is small.
    """
    total = float(weight.sum())
    m0, f0 = weight @ measured / total, weight @ felt / total
    prior = 1.0 / CONSTANT_SIGMA**2
    k = total * prior / (total + prior)
    wf = weight[:, None] * (felt - f0)
    spread = wf.T @ (felt - f0) + k * np.outer(f0, f0)
    h = (measured - m0).T @ wf + k * np.outer(m0, f0)
    gain = 1.0
    turn = np.eye(3)
    axes = measured.shape[1]
    for _ in range(1 if axes == 3 else 40):
        # An axis nobody recorded is taken as the pose so far says (Koschat and Swayne, Psychometrika 56, 1991, from memory).
        whole = h if axes == 3 else np.vstack([h, gain * turn[2] @ spread])
        u, _, vt = np.linalg.svd(whole)
        sign = np.sign(np.linalg.det(u @ vt)) * (-1.0 if mirrored else 1.0)
        turn = u @ np.diag([1.0, 1.0, sign]) @ vt
        rows = turn[:axes]
        have, want = float((rows * h).sum()), float(((rows @ spread) * rows).sum())
        gain = (have + 1.0 / GAIN_SIGMA**2) / (want + 1.0 / GAIN_SIGMA**2)
    rows = turn[:axes]
    constant = (m0 - gain * rows @ f0) * total / (total + prior)
    return Pose(rows, gain, constant, mirrored)


def envelope(t: Array, size: Array, until: float, start: float = 0.0) -> Array:
    """Smoothed rms of a size (n,) at times (n,), every GRID_S from `start` on, up to a time `until`."""
    grid = np.arange(start, until, GRID_S)
    square = np.interp(grid, t, size**2, left=0.0, right=0.0)
    return np.asarray(np.sqrt(np.maximum(gaussian_filter1d(square, SMOOTH_S / GRID_S), 0.0)))


def first_guess(
    t: Array, size: Array, felt_t: Array, felt_size: Array, clocks: Array = CLOCKS
) -> tuple[float, float, float]:
    """(start s, clock, likeness 0 to 1): where the envelope of what was measured lies best over that of what is felt.

    t, size: of the sensor by its own clock, (n,).  felt_t, felt_size: of the model, (k,). The model's time is
    (t - start) clock: a clock above 1 counts too few seconds.
    """
    model = envelope(felt_t, felt_size, float(felt_t[-1]) + 0.05)
    best = (0.0, 1.0, -1.0)
    for clock in clocks:
        own = envelope(t * clock, size, float(t[-1]) * clock + GRID_S)
        n = 1 << int(np.ceil(np.log2(len(own) + len(model))))
        # over[k]: own shifted by k, for every shift at once.
        over = np.fft.irfft(np.fft.rfft(own, n) * np.conj(np.fft.rfft(model, n)), n)
        lags = np.arange(n)
        lags[lags > n // 2] -= n
        whole = float(np.sqrt((model**2).sum()) * np.sqrt((own**2).sum()))
        k = int(np.argmax(over))
        like = float(over[k]) / max(whole, 1e-300)
        if like > best[2]:
            best = float(lags[k]) * GRID_S / clock, float(clock), like
    return best
