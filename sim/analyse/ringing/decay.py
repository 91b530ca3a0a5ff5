"""What is told of a free decay: frequency, damping, how long it takes to fade, and whether its frequency drifts. SI units.

Everything is told of the first three swings after a stop, because they are what makes the peak: friction raises the
frequency of a swing and damps it as it gets small, so that one number for a whole ring-down would be that of no part of
it. The crests that one can measure on a wall, down to two fifths of the first, count the same within 3 %; smaller ones come
sooner, as friction holds more of them. Three steps:

1. A(f), the amplitude of a least-squares fit of [1, t, cos, sin] over 3 / f, its rows weighted by cos(pi t f / 6), which
   falls to nothing at the end. The frequency is first sought where A is largest.
2. [1, t, e^-dt cos, e^-dt sin] over the same window, which follows f, gives frequency and damping. On one damped sine
   this is exact. Each step is a linear fit with t e^-dt cos and t e^-dt sin as further columns, whose coefficients say
   by how much d and f are off (Gauss-Newton on all parameters at once; any text on least squares).
3. A at that frequency as its window slides along the record: it fades where A has fallen to 5 %, and step 2 once more
   where it has fallen to 20 % tells the drift.

All of it is numpy on small arrays: compiling would cost more than it saves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .tones import GRID, SWINGS, Tone, amplitudes, crest, first_rows, search

Array = NDArray[np.float64]

LOWEST_HZ, HIGHEST_HZ = 5.0, 350.0
COARSE_S = 1e-3  # the search takes rows this far apart: below 350 Hz it needs no more
MOST_PER_ROW = 0.35  # frequency times spacing of the rows; beyond, a window holds too few rows
NEAR = 0.3  # how far from the largest A the fit may go, as a share of its frequency
LOWER = 0.8  # a swing that dies within the window has a broad crest, so far above it at times that no fit gets there
LARGEST_RATIO = 0.7  # above this damping ratio a motion creeps to rest and nobody would call it ringing
SEVERAL_RESIDUAL, SEVERAL_SHARE = 0.3, 1.0 / 3.0
FADED, DYING = 0.05, 0.2
SAME_TONE = 0.1  # a peak of A this near the fitted frequency is the fitted tone
GROWS = -2e-3  # a damping ratio below this is no error of the fit: the swing grows
MOST_STEPS = 40

TOO_SHORT, CREEPS = "too short to tell", "it creeps to rest"


@dataclass(frozen=True)
class Decay:
    """What is told of a ring-down.

    frequency_hz, damping_ratio: of its first three swings; None: `why` says why not; no damping where it grows at first, or
    where several tones ring at once.  amplitude_m: A there at the start.
    fades_s: until A has fallen to 5 %, None if the record ends first.  drift_hz: at first, and where A has fallen to a
    fifth; None if the record ends first.  residual: rms the fit leaves, as a share of the signal's rms, both weighted.
    tones: where the fit leaves too much, every peak of A over a third of the tallest, tallest first; else empty.
    """

    frequency_hz: float | None
    damping_ratio: float | None
    amplitude_m: float
    fades_s: float | None = None
    drift_hz: tuple[float, float] | None = None
    residual: float = 0.0
    tones: tuple[Tone, ...] = ()
    why: str = ""

    @property
    def dies_below_m(self) -> float:
        """Amplitude at which the later frequency of the drift is taken, m."""
        return DYING * self.amplitude_m


def judge_decay(t_s: Array, signal_m: Array) -> Decay | None:
    """What a ring-down says. t_s: (n,) s from the stop, evenly spaced, the first less than a step from 0.
    signal_m: (n,) m, about the place of rest. None where there are too few rows for anything."""
    if len(t_s) < 8:
        return None
    step = float(t_s[-1] - t_s[0]) / (len(t_s) - 1)
    low, high = max(LOWEST_HZ, SWINGS / float(t_s[-1])), min(HIGHEST_HZ, MOST_PER_ROW / step)
    if low * GRID**2 >= high:
        return Decay(None, None, 0.0, why=TOO_SHORT)
    every = max(1, int(COARSE_S / step + 1e-6))
    hertz, heights = search(t_s[::every], signal_m[::every], low, high)
    top = int(np.argmax(heights))
    if top == 0:
        return Decay(None, None, float(heights[0]), why=TOO_SHORT)
    if top == len(hertz) - 1:
        # At the end of what the rows can tell a window holds nine of them, and A is no peak but what they alias to.
        inner = np.flatnonzero((heights[1:-1] > heights[:-2]) & (heights[1:-1] >= heights[2:])) + 1
        top = int(inner[np.argmax(heights[inner])]) if len(inner) else top
    first_hz = crest(hertz, heights, top).frequency_hz
    fit = _fit_from(t_s, signal_m, (first_hz, LOWER * first_hz, LOWER * high))
    if fit is None or fit.residual > SEVERAL_RESIDUAL:
        tones = _tones(hertz, heights)
        if fit is None:
            return Decay(first_hz, None, float(heights[top]), residual=1.0, tones=tones)
    else:
        tones = ()
    if fit.damping_ratio > LARGEST_RATIO:
        return Decay(None, None, float(heights[top]), residual=fit.residual, why=CREEPS)
    tones = _as_told(tones, fit.frequency_hz)
    amplitude, times, sliding = _slide(t_s, signal_m, step, fit.frequency_hz)
    drift = None
    dying = _first_below(times, sliding, DYING * amplitude)
    if dying is not None:
        row = int(np.searchsorted(t_s, dying - 1e-9))
        last = fit_damped(t_s[row:] - t_s[row], signal_m[row:], fit.frequency_hz)
        drift = (fit.frequency_hz, last.frequency_hz) if last is not None else None
    fades = _first_below(times, sliding, FADED * amplitude)
    # A swing that grows at first, as tones that beat do, has no damping of its own; nor have several together.
    single = not tones and fit.damping_ratio > GROWS
    ratio = max(fit.damping_ratio, 0.0) if single else None
    return Decay(fit.frequency_hz, ratio, amplitude, fades, drift, fit.residual, tones)


def _as_told(tones: tuple[Tone, ...], told_hz: float) -> tuple[Tone, ...]:
    """Tones, the one whose frequency is told with what is told: one tone has one number."""
    nearest = min(tones, key=lambda tone: abs(tone.frequency_hz - told_hz), default=None)
    if nearest is None or abs(nearest.frequency_hz / told_hz - 1) > SAME_TONE:
        return tones
    return tuple(replace(tone, frequency_hz=told_hz) if tone is nearest else tone for tone in tones)


def _tones(hertz: Array, heights: Array) -> tuple[Tone, ...]:
    inner = heights[1:-1]
    at = np.flatnonzero((inner > heights[:-2]) & (inner >= heights[2:]) & (inner > SEVERAL_SHARE * heights.max())) + 1
    return tuple(sorted((crest(hertz, heights, int(i)) for i in at), key=lambda tone: -tone.amplitude_m))


@dataclass(frozen=True)
class Damped:
    """A damped sine as fitted: damped frequency, damping ratio (below 0 where it grows), and what it leaves."""

    frequency_hz: float
    damping_ratio: float
    residual: float


def fit_damped(t_s: Array, signal_m: Array, near_hz: float) -> Damped | None:
    """Step 2 of the module's head, from t = 0 on. None where it does not settle within 30 % of near_hz."""
    omega, decay = 2 * np.pi * near_hz, 0.0
    low, high = (1 - NEAR) * omega, (1 + NEAR) * omega
    if len(t_s) < 8:
        return None
    ends = first_rows(t_s)
    for _ in range(MOST_STEPS):
        hertz = omega / (2 * np.pi)
        n = int(t_s.searchsorted(SWINGS / hertz))
        if n < 8:
            return None
        t = t_s[:n]
        columns = np.empty((7, n))
        weight, turns = columns[0], columns[1]
        np.multiply(t, hertz, out=turns)
        np.cos((np.pi / 6.0) * turns, out=weight)
        weight[:2] *= ends
        wave = np.exp(complex(-decay, omega) * t)
        columns[2], columns[3] = wave.real, wave.imag
        np.multiply(columns[2:4], turns, out=columns[4:6])
        columns[6] = signal_m[:n]
        columns[1:] *= weight
        gram = columns @ columns.T
        try:
            a, b, p, q = np.linalg.solve(gram[:6, :6], gram[:6, 6]).tolist()[2:]
        except np.linalg.LinAlgError:
            return None
        size = a * a + b * b
        if not size > 0.0:
            return None
        # Columns 4 and 5 run in turns, so that their coefficients are in 1/s once times the frequency.
        slower, faster = -(a * p + b * q) / size * hertz, (b * p - a * q) / size * hertz
        limit = 0.1 * omega
        decay = _between(-0.3 * omega, decay + _between(-limit, slower, limit), 3.0 * omega)
        if not low < omega + _between(-limit, faster, limit) < high:
            return None
        omega += _between(-limit, faster, limit)
        if abs(faster) < 1e-9 * omega and abs(slower) < 1e-9 * omega:
            break
    else:
        if abs(faster) > 1e-4 * omega:
            return None
    four = np.linalg.solve(gram[:4, :4], gram[:4, 6])
    left = float(gram[6, 6] - four @ gram[:4, 6])
    residual = float(np.sqrt(max(left, 0.0) / gram[6, 6])) if gram[6, 6] > 0 else 0.0
    return Damped(omega / (2 * np.pi), decay / math.hypot(decay, omega), residual)


def _between(low: float, value: float, high: float) -> float:
    return low if value < low else high if value > high else value


def _fit_from(t_s: Array, signal_m: Array, starts: tuple[float, ...]) -> Damped | None:
    """Step 2 from the first of some frequencies; from a later one where that leads nowhere and one damped sine is there."""
    first, *others = starts
    fit = fit_damped(t_s, signal_m, first)
    for hertz in others:
        if fit is None:
            fit = fit_damped(t_s, signal_m, hertz)
            fit = fit if fit is not None and fit.residual <= SEVERAL_RESIDUAL else None
    return fit


def _slide(t_s: Array, signal_m: Array, step: float, hertz: float) -> tuple[float, Array, Array]:
    """A at one frequency from t = 0, m; then as its window slides: starts, (k,) s, and A, (k,) m."""
    start = float(amplitudes(t_s, signal_m, np.array([hertz]))[0])
    times, _, sliding = follow(t_s, signal_m, step, hertz)
    return start, times, sliding


def follow(t_s: Array, signal_m: Array, step: float, hertz: float) -> tuple[Array, Array, Array]:
    """A tone as the window of step 1 slides along a record of even steps: starts, (k,) s, what it swings about there, (k,) m,
    and A, (k,) m. Empty where the record is shorter than a window."""
    t: Array = np.arange(float(np.ceil(SWINGS / hertz / step - 1e-9))) * step
    weight = np.cos((np.pi / 6.0) * hertz * t)
    weight[:2] *= first_rows(t)
    angle = 2 * np.pi * hertz * t
    columns = np.stack([weight, weight * hertz * t, weight * np.cos(angle), weight * np.sin(angle)])
    of_rows = np.linalg.solve(columns @ columns.T, columns * weight)[[0, 2, 3]]
    if len(signal_m) < len(t):
        return np.empty(0), np.empty(0), np.empty(0)
    every = max(1, int(COARSE_S / step + 1e-6))
    seen = np.lib.stride_tricks.sliding_window_view(signal_m, len(t))[::every]
    about, cosine, sine = of_rows @ seen.T
    return t_s[: len(signal_m) - len(t) + 1 : every], about, np.hypot(cosine, sine)


def _first_below(times: Array, values: Array, goal: float) -> float | None:
    """When values first fall to a goal, between rows along an exponential; None if they never do."""
    below = np.flatnonzero(values <= goal)
    if not len(below):
        return None
    i = int(below[0])
    if i == 0 or values[i] <= 0.0 or goal <= 0.0:
        return float(times[i])
    share = np.log(values[i - 1] / goal) / np.log(values[i - 1] / values[i])
    return float(times[i - 1] + share * (times[i] - times[i - 1]))
