"""Frequency and damping of a free decay: a sum of damped sines fitted to a sampled ring-down.

Two steps, both textbook. The matrix pencil (Hua and Sarkar, IEEE Trans. ASSP 38(5), 1990, 814-824) finds every
exponential in the samples at once, so two modes that beat come apart without a starting guess. Variable projection
(Golub and Pereyra, SIAM J. Numer. Anal. 10(2), 1973, 413-432) then fits frequency and decay rate by least squares,
with amplitudes and the place of rest solved for exactly inside. The small Gauss-Newton loop is our own, because
loading a general optimiser would take longer than the whole run it is to judge; the tests hold it against one.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LARGEST_RATIO = 0.7  # above this damping ratio a motion creeps to rest and nobody would call it ringing
SHORTEST_PERIODS = 1.25  # less than this of one period tells no frequency
WORST_RESIDUAL = 0.35  # rms of what the fit leaves over, as a share of the signal's own rms; beyond: not a decay
# Samples given to the pencil, width of its matrix, samples given to the fit. All small on purpose: beyond about ten
# thousand matrix entries the linear algebra library starts threads, which on a busy machine cost a hundred times more
# than they save.
PENCIL_SAMPLES = 240
PENCIL_WIDTH = 32
FIT_SAMPLES = 1200
GOOD_RESIDUAL = 0.03
MOST_MODES = 3
MOST_STEPS = 30
# A simpler fit that leaves less than this of the signal is believed: no further mode is looked for.
CLEAN_RESIDUAL = 2e-3


@dataclass(frozen=True)
class DecayMode:
    """One damped sine.  frequency_hz: damped, as counted on the wall.  damping_ratio: 0 to 1.  amplitude_m: of its
    envelope at the start of the fit."""

    frequency_hz: float
    damping_ratio: float
    amplitude_m: float


@dataclass(frozen=True)
class DecayFit:
    """modes: the dominant one first (most energy in the fitted stretch).  rest_m: where the fit comes to rest.

    residual: rms left over, as a share of the signal's rms about its rest.  start_s, end_s: the stretch fitted.
    """

    modes: tuple[DecayMode, ...]
    rest_m: float
    residual: float
    start_s: float
    end_s: float


def fit_decay(t_s: Array, position_m: Array) -> DecayFit | None:
    """Fit up to three damped sines and a place of rest to a free decay.

    t_s: (n,), s, rising.  position_m: (n,), m.  Returns None where there is nothing to fit: too few samples, less
    than one and a quarter periods, no oscillation, or a motion that is not a decay.
    """
    t = np.asarray(t_s, float)
    y = np.asarray(position_m, float)
    keep = np.concatenate(([True], np.diff(t) > 1e-9)) & np.isfinite(y)
    t, y = t[keep], y[keep]
    if len(t) < 12:
        return None
    if len(t) > FIT_SAMPLES:
        stride = max(1, int(1e-3 / ((t[-1] - t[0]) / (len(t) - 1)) + 1e-6))
        t, y = t[::stride][:FIT_SAMPLES], y[::stride][:FIT_SAMPLES]
    best = _fit_stretch(t, y)
    if best is None or best.residual > GOOD_RESIDUAL:
        moving = _until_it_sticks(y)
        if 12 <= moving < len(t):
            trimmed = _fit_stretch(t[:moving], y[:moving])
            if trimmed is not None and (best is None or trimmed.residual < best.residual):
                best = trimmed
    if best is None or best.residual > WORST_RESIDUAL:
        return None
    if best.modes[0].frequency_hz * (best.end_s - best.start_s) < SHORTEST_PERIODS:
        return None
    return best if best.modes[0].damping_ratio <= LARGEST_RATIO else None


def _until_it_sticks(y: Array) -> int:
    """Samples before the motion has died: friction stops a ring-down at once, where a decaying sine never ends."""
    tail = y[-max(4, len(y) // 8) :]
    away = np.abs(y - 0.5 * (tail.max() + tail.min()))
    above = np.flatnonzero(away > 0.08 * away.max())
    return int(above[-1]) + 2 if len(above) else 0


def _fit_stretch(t: Array, y: Array) -> DecayFit | None:
    """The simplest sum of damped sines that describes the stretch."""
    scale = float(np.ptp(y))
    if scale == 0.0:
        return None
    offset = float(np.median(y))
    signal = (y - offset) / scale
    seeds = _seeds(t, signal)
    best: DecayFit | None = None
    for count in range(1, min(MOST_MODES, len(seeds)) + 1):
        if best is not None and best.residual <= CLEAN_RESIDUAL:
            break
        try:
            fit = _refine(t, signal, seeds[:count])
        except np.linalg.LinAlgError:
            continue
        if fit is None:
            continue
        if best is None or fit.residual < _share_to_leave(fit) * best.residual:
            best = fit
    if best is None:
        return None
    modes = tuple(DecayMode(m.frequency_hz, m.damping_ratio, m.amplitude_m * scale) for m in best.modes)
    return DecayFit(modes, best.rest_m * scale + offset, best.residual, best.start_s, best.end_s)


def _share_to_leave(fit: DecayFit) -> float:
    """What a fit with one more mode may leave of the simpler fit's residual, if it is to be believed.

    A mode of its own must take away a third, and swing at least once and a quarter: slower is drift, and one damped
    beyond LARGEST_RATIO is creep. Two modes too close to be told apart in the stretch (nearer than their
    peaks are wide) also imitate a friction-braked decay: they must explain nearly all, show at least two fifths
    of a beat, and not be two sines larger than the signal (here scaled to a range of 1) that cancel.
    """
    span = fit.end_s - fit.start_s
    ordered = sorted(fit.modes, key=lambda m: m.frequency_hz)
    share = 0.67
    if any(m.frequency_hz * span < SHORTEST_PERIODS or m.damping_ratio > LARGEST_RATIO for m in ordered):
        return 0.0
    for a, b in pairwise(ordered):
        gap = b.frequency_hz - a.frequency_hz
        width = 2 * (a.damping_ratio * a.frequency_hz + b.damping_ratio * b.frequency_hz)
        if gap < max(1.0 / span, width):
            share = min(share, 0.04)
            if gap * span < 0.4 or max(a.amplitude_m, b.amplitude_m) > 1.0:
                return 0.0
    return share


def _seeds(t: Array, y: Array) -> list[complex]:
    """Exponents s = -decay + i 2 pi f of the oscillating parts of y, strongest first, rad/s."""
    out = _pencil(*_even_samples(t, y, PENCIL_SAMPLES))
    if not out:
        out = _pencil(*_even_samples(t, y, PENCIL_SAMPLES, whole=True))
    return out


def _even_samples(t: Array, y: Array, most: int, whole: bool = False) -> tuple[float, Array]:
    """Step (s) and at most `most` evenly spaced samples: a millisecond apart from the start, or over the whole stretch.

    A millisecond keeps every mode below 500 Hz apart; the tool of a belt machine shows none above that.
    """
    step = float(np.median(np.diff(t)))
    count = int((t[-1] - t[0]) / step) + 1
    stride = max(1, -(-count // most)) if whole else max(1, int(1e-3 / step + 1e-6))
    even = t[0] + np.arange(min(most, -(-count // stride))) * step * stride
    return step * stride, np.interp(even, t, y)


def _pencil(step: float, y: Array) -> list[complex]:
    """Matrix pencil of evenly spaced samples; see the module's head."""
    n = len(y)
    if n < 8:
        return []
    hankel = np.lib.stride_tricks.sliding_window_view(y, min(n // 2, PENCIL_WIDTH) + 1)
    _, singular, vh = np.linalg.svd(hankel, full_matrices=False)
    order = int(np.count_nonzero(singular > 1e-4 * singular[0]))
    order = max(1, min(order, 2 * MOST_MODES + 3, len(singular) - 1))
    v = vh[:order].conj().T
    poles = np.linalg.eigvals(np.linalg.lstsq(v[:-1], v[1:], rcond=None)[0])
    poles = poles[(np.abs(poles) > 1e-3) & (np.abs(poles) < 1.2)]
    if len(poles) == 0:
        return []
    vander = poles[None, :] ** np.arange(n)[:, None]
    weight = np.linalg.lstsq(vander, y.astype(complex), rcond=None)[0]
    energy = np.abs(weight) ** 2 * np.sum(np.abs(vander) ** 2, axis=0)
    exponent = np.log(poles) / step
    found = [
        (float(e), complex(s))
        for e, s in zip(energy, exponent, strict=True)
        if s.imag > 2 * np.pi * 1.0 and s.imag * step < 0.98 * np.pi and -s.real < s.imag
    ]
    found.sort(key=lambda pair: -pair[0])
    return [s for e, s in found if e > 1e-8 * found[0][0]]


def _basis(t: Array, exponents: Array) -> Array:
    """Columns [1, e^-dt cos wt, e^-dt sin wt, ...]; exponents: (2 m,) alternating decay d and frequency w, rad/s."""
    columns = [np.ones_like(t)]
    for decay, omega in exponents.reshape(-1, 2):
        envelope = np.exp(-decay * t)
        columns += [envelope * np.cos(omega * t), envelope * np.sin(omega * t)]
    return np.stack(columns, axis=1)


def _refine(t: Array, y: Array, seeds: list[complex]) -> DecayFit | None:
    """Least squares over decay and frequency, amplitudes and rest projected out; y scaled to a range of one."""
    tau = t - t[0]
    p = np.array([part for s in seeds for part in (min(max(-s.real, 0.0), s.imag), s.imag)])
    scale = np.repeat(p[1::2], 2)
    state = _project(tau, y, p)
    damp = 1e-3
    for _ in range(MOST_STEPS):
        jacobian = _jacobian(tau, p, state) * scale
        gram = jacobian.T @ jacobian
        slope = jacobian.T @ state.left
        previous, old_cost = p, state.cost
        for _ in range(6):
            step = -np.linalg.solve(gram + np.diag(damp * np.diag(gram) + 1e-12), slope)
            trial = p + step * scale
            trial[0::2] = np.clip(trial[0::2], 0.0, trial[1::2])
            if np.all(np.isfinite(trial)) and np.all(trial[1::2] > 1.0):
                candidate = _project(tau, y, trial)
                if candidate.cost < state.cost:
                    p, state, damp = trial, candidate, max(damp / 10.0, 1e-9)
                    break
            damp *= 6.0
        change = float(np.max(np.abs(p - previous) / scale))
        if change < 1e-7 or old_cost - state.cost < 1e-4 * old_cost:
            break
    return _fit(t, y, p, state.coefficients, state.cost)


@dataclass(frozen=True)
class _Projection:
    """Best coefficients for given exponents, what they leave of y (left: (n,)) and an orthonormal basis (n, 2m + 1)."""

    coefficients: Array
    left: Array
    orthonormal: Array
    cost: float


def _project(tau: Array, y: Array, p: Array) -> _Projection:
    orthonormal, triangle = np.linalg.qr(_basis(tau, p))
    inner = orthonormal.T @ y
    left = y - orthonormal @ inner
    # A vanishing diagonal means two equal columns (two seeds in one place); a speck keeps the triangle solvable.
    coefficients = np.asarray(np.linalg.solve(triangle + 1e-14 * np.eye(len(triangle)), inner), np.float64)
    return _Projection(coefficients, left, orthonormal, float(left @ left))


def _jacobian(tau: Array, p: Array, state: _Projection) -> Array:
    """How what is left changes with each exponent, (n, 2m): the projection's own slope in Kaufman's approximation
    (BIT 15, 1975, 49-57), which drops a term that vanishes as the fit gets good."""
    columns = []
    for i, (decay, omega) in enumerate(p.reshape(-1, 2)):
        a, b = state.coefficients[1 + 2 * i : 3 + 2 * i]
        envelope = tau * np.exp(-decay * tau)
        cosine, sine = np.cos(omega * tau), np.sin(omega * tau)
        columns += [-envelope * (a * cosine + b * sine), envelope * (b * cosine - a * sine)]
    slope = np.stack(columns, axis=1)
    jacobian: Array = state.orthonormal @ (state.orthonormal.T @ slope) - slope
    return jacobian


def _fit(t: Array, y: Array, p: Array, coefficients: Array, cost: float) -> DecayFit | None:
    rest = float(coefficients[0])
    spread = float(np.sqrt(np.mean((y - rest) ** 2)))
    if not np.isfinite(cost) or spread == 0.0:
        return None
    span = float(t[-1] - t[0])
    ranked: list[tuple[float, DecayMode]] = []
    for i, (decay, omega) in enumerate(p.reshape(-1, 2)):
        amplitude = float(np.hypot(coefficients[1 + 2 * i], coefficients[2 + 2 * i]))
        energy = amplitude**2 * (span if decay * span < 1e-6 else -np.expm1(-2 * decay * span) / (2 * decay))
        ratio = float(decay / np.hypot(decay, omega))
        ranked.append((energy, DecayMode(float(omega) / (2 * np.pi), ratio, amplitude)))
    # Amplitudes many times the signal's range are two sines cancelling each other: no physical decay.
    if any(mode.amplitude_m > 20.0 for _, mode in ranked):
        return None
    ranked.sort(key=lambda pair: -pair[0])
    residual = float(np.sqrt(cost / len(y))) / spread
    return DecayFit(tuple(m for _, m in ranked), rest, residual, float(t[0]), float(t[-1]))
