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

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SWINGS = 3.0  # the window, in periods
LOWEST_HZ, HIGHEST_HZ = 5.0, 350.0
GRID = 1.03  # ratio of neighbouring frequencies of the search; a peak of A is a third of its frequency wide
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
class Tone:
    """A peak of A: frequency, Hz, and amplitude, m."""

    frequency_hz: float
    amplitude_m: float


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


def amplitudes(t_s: Array, signal_m: Array, hertz: Array) -> Array:
    """A(f), (k,) m, at frequencies (k,) Hz, rising."""
    out = np.empty(len(hertz))
    last = len(hertz)
    while last > 0:
        # Together those within a factor of 1.4: their windows are about equally long.
        first = int(np.searchsorted(hertz[:last], hertz[last - 1] / 1.4))
        f = hertz[first:last, None]
        n = int(np.searchsorted(t_s, SWINGS / hertz[first]))
        t = t_s[:n]
        turns = f * t
        weight = np.cos((np.pi / 6.0) * turns)
        weight[turns >= SWINGS] = 0.0
        weight[:, :2] *= _first_rows(t_s)
        columns = np.empty((last - first, 5, n))
        columns[:, 0] = weight
        columns[:, 1] = weight * turns
        turns *= 2 * np.pi
        columns[:, 2] = weight * np.cos(turns)
        columns[:, 3] = weight * np.sin(turns)
        columns[:, 4] = weight * signal_m[:n]
        gram = columns @ columns.transpose(0, 2, 1)
        solved = np.linalg.solve(gram[:, :4, :4], gram[:, :4, 4:])
        out[first:last] = np.hypot(solved[:, 2, 0], solved[:, 3, 0])
        last = first
    return out


def _first_rows(t_s: Array) -> Array:
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
    for _ in range(MOST_STEPS):
        hertz = omega / (2 * np.pi)
        n = int(np.searchsorted(t_s, SWINGS / hertz))
        if n < 8:
            return None
        t = t_s[:n]
        turns = hertz * t
        columns = np.empty((7, n))
        columns[0] = np.cos((np.pi / 6.0) * turns)
        columns[0, :2] *= _first_rows(t)
        columns[1] = turns
        envelope = np.exp(-decay * t)
        columns[2] = envelope * np.cos(2 * np.pi * turns)
        columns[3] = envelope * np.sin(2 * np.pi * turns)
        columns[4:6] = columns[2:4] * turns
        columns[6] = signal_m[:n]
        columns[1:] *= columns[0]
        gram = columns @ columns.T
        try:
            found = np.linalg.solve(gram[:6, :6], gram[:6, 6])
        except np.linalg.LinAlgError:
            return None
        a, b, p, q = found[2:6]
        size = a * a + b * b
        if not size > 0.0:
            return None
        # Columns 4 and 5 run in turns, so that their coefficients are in 1/s once times the frequency.
        slower, faster = -(a * p + b * q) / size * hertz, (b * p - a * q) / size * hertz
        limit = 0.1 * omega
        step = np.clip(faster, -limit, limit)
        decay = float(np.clip(decay + np.clip(slower, -limit, limit), -0.3 * omega, 3.0 * omega))
        if not low < omega + step < high:
            return None
        omega += float(step)
        if abs(faster) < 1e-9 * omega and abs(slower) < 1e-9 * omega:
            break
    else:
        if abs(faster) > 1e-4 * omega:
            return None
    four = np.linalg.solve(gram[:4, :4], gram[:4, 6])
    left = float(gram[6, 6] - four @ gram[:4, 6])
    residual = float(np.sqrt(max(left, 0.0) / gram[6, 6])) if gram[6, 6] > 0 else 0.0
    return Damped(omega / (2 * np.pi), decay / float(np.hypot(decay, omega)), residual)


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
    weight[:2] *= _first_rows(t)
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
