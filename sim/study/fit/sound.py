"""The pitch of a plucked strand from a WAV file: only that is used of it."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.io import wavfile

from ...errors import InputError
from ...files import name_of, opened

Array = NDArray[np.float64]

LARGEST_BYTES = 100_000_000
LOWEST_HZ, HIGHEST_HZ = 15.0, 1500.0
LISTENED_S, LEAST_S = 0.8, 0.15
HARMONICS = 5


def read_pitch(path: Path) -> float:
    """Pitch of the loudest pluck in a sound file, Hz. Raises InputError."""
    label = name_of(path.name, 60)
    with opened(path, "a sound") as file:
        size = file.seek(0, 2)
        if size > LARGEST_BYTES:
            raise InputError(f"{label}: larger than {LARGEST_BYTES // 1_000_000} MB; cut it to the second of one pluck")
        file.seek(0)
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # of extra pieces that some recorders write
                rate, samples = wavfile.read(file)
        except Exception:  # scipy raises whatever a broken header leads to
            raise InputError(f"{label}: is no WAV file that can be read; save the sound as WAV, 16 bit") from None
    x = np.asarray(samples, float)
    x = x.mean(axis=1) if x.ndim == 2 else x
    return pitch_of(x, float(rate), label)


def pitch_of(x: Array, rate: float, label: str) -> float:
    """Pitch of the loudest pluck in samples (n,), Hz. rate: samples a second. Raises InputError where there is none."""
    if len(x) < LEAST_S * rate or rate < 2 * HIGHEST_HZ:
        raise InputError(
            f"{label}: lasts {len(x) / max(rate, 1.0):.2g} s at {rate:.0f} samples a second; {LEAST_S} s are needed"
        )
    x = x - x.mean()
    if not np.isfinite(x).all() or np.abs(x).max() == 0.0:
        raise InputError(f"{label}: is silent; pluck the strand close to the microphone")
    block = max(1, int(0.01 * rate))
    energy = (x[: len(x) // block * block].reshape(-1, block) ** 2).sum(axis=1)
    start = int(np.argmax(energy)) * block + block  # behind the pluck's own knock
    start = min(start, len(x) - int(LEAST_S * rate))
    heard = x[start : start + int(LISTENED_S * rate)]
    hertz, height = _spectrum(heard, rate)
    summed = _harmonic_sum(hertz, height)
    best = int(np.argmax(summed))
    near = float(hertz[best])
    level = float(np.median(height[(hertz > LOWEST_HZ) & (hertz < HIGHEST_HZ)]))
    if summed[best] < 20.0 * level:
        raise InputError(f"{label}: no pitch stands out of the noise; pluck harder, closer to the microphone")
    return _refined(hertz, height, near)


def _spectrum(x: Array, rate: float) -> tuple[Array, Array]:
    """Frequencies and amplitudes under a Hann window, padded so that a peak is many points wide."""
    n = 1 << int(np.ceil(np.log2(8 * len(x))))
    height = np.asarray(np.abs(np.fft.rfft(x * np.hanning(len(x)), n)), np.float64)
    return np.asarray(np.fft.rfftfreq(n, 1.0 / rate), np.float64), height


def _harmonic_sum(hertz: Array, height: Array) -> Array:
    """Of each frequency as a fundamental: its own amplitude and those of its overtones, each counted less; 0 out of range."""
    out = np.zeros(len(hertz))
    mine = np.flatnonzero((hertz >= LOWEST_HZ) & (hertz <= HIGHEST_HZ))
    for k in range(1, HARMONICS + 1):
        at = np.minimum(mine * k, len(height) - 1)
        # A microphone hears the low ones badly, and half a pitch has the whole one among its overtones.
        out[mine] += height[at] * 0.8 ** (k - 1)
    # The fundamental itself must be there: a third or a half of a pitch has nothing of its own.
    out[mine] *= height[mine] > 0.1 * height[(hertz >= LOWEST_HZ) & (hertz <= HIGHEST_HZ)].max()
    return out


def _refined(hertz: Array, height: Array, near: float) -> float:
    """The peak beside a frequency, by the parabola through the logarithms of its highest points."""
    mine = np.flatnonzero(np.abs(hertz - near) < 0.03 * near + 2 * hertz[1])
    k = int(mine[np.argmax(height[mine])])
    a, b, c = np.log(height[k - 1 : k + 2] + 1e-300)
    bend = a - 2 * b + c
    return float(hertz[k] + (0.5 * (a - c) / bend if bend < 0 else 0.0) * (hertz[1] - hertz[0]))
