"""Which part of a ring-down makes its peak: the swing of each mode where the ring-down begins. SI units.

A mode leads by the size of its first swing back, half a period on: one damped so much that it hardly swings back is the
thump of the stop, however large, and no ringing anybody could count.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from .decay import DecayFit, DecayMode

Array = NDArray[np.float64]

#: Periods a mode needs in a stretch for its swing there to be told from a straight line.
TOLD_PERIODS = 1.0


def fade_s(mode: DecayMode) -> float | None:
    """Seconds until a damped sine is down to 5 %: ln 20 / (zeta omega), omega undamped; None if it never is."""
    decay = _decay(mode)
    return float(np.log(20.0) / decay) if decay > 1e-4 else None


def at_start(fit: DecayFit, t_s: Array, position_m: Array, start_s: float, peak_m: float) -> tuple[DecayMode, ...]:
    """The modes of a fit with the amplitude each has where the ring-down begins, that with the largest swing back first.

    t_s, position_m: (n,), s and m, the recorded stretch from start_s to the next jump of the commanded acceleration.
    A fit that begins later (after another axis has sped up) knows only what was left by then: the swing of the faster
    modes is measured in the stretch itself, by least squares with their frequency and damping given; slow ones, which
    lose little in so short a time, are followed back. No amplitude is taken larger than the peak.
    """
    late = fit.start_s - start_s
    if late <= 1e-3:
        return tuple(sorted(fit.modes, key=_swing_back, reverse=True))
    tau = t_s - start_s
    span = float(tau[-1]) if len(tau) else 0.0
    swift = [m for m in fit.modes if m.frequency_hz * span >= TOLD_PERIODS]
    if len(tau) < 4 * len(swift) + 4:
        swift = []
    columns = [np.ones_like(tau), tau]
    for mode in swift:
        envelope = np.exp(-_decay(mode) * tau)
        omega = 2 * np.pi * mode.frequency_hz
        columns += [envelope * np.cos(omega * tau), envelope * np.sin(omega * tau)]
    swings: dict[int, float] = {}
    if swift:
        solved = np.linalg.lstsq(np.stack(columns, axis=1), position_m, rcond=None)[0]
        swings = {id(m): float(np.hypot(*solved[2 + 2 * i : 4 + 2 * i])) for i, m in enumerate(swift)}
    found = []
    for mode in fit.modes:
        amplitude = swings.get(id(mode))
        if amplitude is None:
            # No further than twentyfold: beyond, a small error of the damping would grow large.
            amplitude = mode.amplitude_m * float(np.exp(min(_decay(mode) * late, 3.0)))
        found.append(replace(mode, amplitude_m=min(amplitude, peak_m)))
    return tuple(sorted(found, key=_swing_back, reverse=True))


def _swing_back(mode: DecayMode) -> float:
    """Envelope half a period after the start, m."""
    return mode.amplitude_m * float(np.exp(-0.5 * _decay(mode) / mode.frequency_hz))


def _decay(mode: DecayMode) -> float:
    """Rate at which the envelope falls, 1/s, from the damped frequency."""
    return float(2 * np.pi * mode.frequency_hz * mode.damping_ratio / np.sqrt(1 - mode.damping_ratio**2))
