"""A record made ready to be laid over a move: where it rests, how loud its noise is, what of it counts, and where it begins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.sparse import csr_matrix

from ...errors import InputError
from ...practice import STANDARD_GRAVITY
from .bench import Felt
from .measured import Recording
from .sensor import CLOCKS, WRONG_CLOCKS, first_guess

Array = NDArray[np.float64]

REST_S = 0.2
#: How well a model may be asked to meet a record, as a share of the signal's amplitude thereabouts.
SIGNAL_SHARE = 0.02
SMOOTH_S = 8e-3
#: A record of more samples is taken every second, third, ... one: what is left tells as much below 350 Hz.
MOST_SAMPLES = 6000
#: How finely records are looked at: sigma of a weighted mean about each row, s, a row every so many seconds, and the share
#: of the signal. First coarsely, where a wrong start still sees which way to go; then so that half is left at 190 Hz, for
#: above that detent shakes the rotors, which no model meets.
COARSE, FINE = (2.2e-3, 2e-3, 0.08), (1e-3, 1e-3, SIGNAL_SHARE)
BEFORE_S, AFTER_S = 0.03, 0.01
LEAST_LIKE, WRONG_LIKE = 0.7, 0.03
GRAVITY_OFF = 0.25


@dataclass(frozen=True)
class Eye:
    """One way of looking at samples, the same for what was measured and what is modelled: weighted means of neighbours.

    means: (rows, n), each row adds to 1.  t_s: (rows,).  a_m_s2: (rows, axes), of what was measured.  weight: (rows,)
    1/sigma^2.
    """

    means: csr_matrix
    t_s: Array
    a_m_s2: Array
    weight: Array


@dataclass(frozen=True)
class Samples:
    """The samples of a record that count. t_s: (n,) by the sensor's clock.  a_m_s2: (n, axes).

    noise_m_s2: rms of one axis at rest.  start_s, clock: where it begins, as a first guess.  left_out: share of the samples
    of the move that are clipped.
    """

    recording: Recording
    t_s: Array
    a_m_s2: Array
    coarse: Eye
    fine: Eye
    noise_m_s2: float
    rest: Array
    start_s: float
    clock: float
    left_out: float

    @property
    def axes(self) -> int:
        """Axes recorded."""
        return int(self.a_m_s2.shape[1])

    @property
    def moved(self) -> float:
        """Rms of what was measured about rest, all axes together, m/s2."""
        return float(np.sqrt(np.mean(((self.a_m_s2 - self.rest) ** 2).sum(axis=1))))


@dataclass(frozen=True)
class Rest:
    """How a sensor reads at rest before the move. until_s: its end.  size: (n,), distance of every sample from it."""

    mean: Array
    noise: float
    until_s: float
    size: Array


def at_rest(recording: Recording, label: str) -> Rest:
    """Where a record rests before its move. Raises InputError where that is too short, or no move follows."""
    t, a = recording.columns.t_s, recording.columns.a_m_s2
    name = f"{label} {recording.name}"
    early = t < t[0] + 0.03
    if early.sum() < 4:
        early[:4] = True
    step = _step(a)
    mean, noise = a[early].mean(axis=0), max(_rms(a[early]), step)
    size = np.sqrt(((a - mean) ** 2).sum(axis=1))
    smooth = np.sqrt(gaussian_filter1d(size**2, _rows(t, 2e-3)))
    loud = max(4.0 * noise * np.sqrt(a.shape[1]), 0.03 * float(smooth.max()))
    moving = np.flatnonzero(smooth > loud)
    if not len(moving):
        raise InputError(f"{name}: nothing moves in it; record from rest through the whole move")
    until = float(t[moving[0]])
    if until - t[0] < REST_S:
        raise InputError(
            f"{name}: rests {until - t[0]:.2g} s before the move, {REST_S} s are needed to know the noise; start the sensor "
            "earlier"
        )
    still = t < until - 0.01
    mean, noise = a[still].mean(axis=0), max(_rms(a[still]), step)
    if a.shape[1] == 3:
        _weigh(float(np.linalg.norm(mean)), name)
    return Rest(mean, noise, until, np.sqrt(((a - mean) ** 2).sum(axis=1)))


def _rms(a: Array) -> float:
    """About the mean of each axis, of one axis."""
    return float(np.sqrt(a.var(axis=0).mean()))


def _weigh(gravity: float, name: str) -> None:
    """Raise InputError where a sensor at rest does not read gravity."""
    if abs(gravity / STANDARD_GRAVITY - 1) < GRAVITY_OFF:
        return
    said = f"{name}: at rest it reads {gravity:.3g} m/s2, and gravity is 9.81"
    if abs(gravity - 1) < GRAVITY_OFF:
        raise InputError(f"{said}; the columns are in g, so write ax_g, ay_g, az_g over them")
    if abs(gravity / STANDARD_GRAVITY**2 - 1) < GRAVITY_OFF:
        raise InputError(f"{said}; the columns are in m/s2 already, so write ax_m_s2, ay_m_s2, az_m_s2 over them")
    raise InputError(f"{said}; record what the sensor reads, with gravity left in it")


def _step(a: Array) -> float:
    """What rounding to the sensor's steps adds to the noise, rms: a step over sqrt 12."""
    jumps = np.abs(np.diff(a, axis=0))
    jumps = jumps[jumps > 1e-9]
    return float(jumps.min(initial=1e-3)) / np.sqrt(12.0) if len(jumps) else 1e-3


def _rows(t: Array, seconds: float) -> float:
    return max(0.5, seconds / float(np.median(np.diff(t))))


def samples_of(recording: Recording, felt: Felt, label: str) -> Samples:
    """A record ready to be compared. felt: what the model feels in its move. Raises InputError where they do not belong
    together."""
    t, a = recording.columns.t_s, recording.columns.a_m_s2
    rest = at_rest(recording, label)
    model = felt.at(felt.t_s)
    felt_size = np.sqrt(((model - model[0]) ** 2).sum(axis=1))
    start, clock, like = first_guess(t, rest.size, felt.t_s, felt_size)
    _refuse_other(recording, rest, felt, felt_size, like, label)
    when = (t - start) * clock
    lasts = float(felt.t_s[-1])
    mine = (when > -BEFORE_S) & (when < lasts - AFTER_S)
    left_out = float(recording.columns.clipped[mine].mean()) if mine.any() else 0.0
    if left_out > 0.5:
        raise InputError(
            f"{label} {recording.name}: {100 * left_out:.0f} % of the move is clipped; set the sensor to a wider range"
        )
    used = np.flatnonzero(mine & ~recording.columns.clipped)
    if len(used) < 100:
        raise InputError(
            f"{label} {recording.name}: only {len(used)} samples fall into the move; record through the whole of it, at 400 a "
            "second or more"
        )
    used = used[:: -(-len(used) // MOST_SAMPLES)]
    noise, eyes = rest.noise, [_eye(t[used], a[used], rest, *how) for how in (COARSE, FINE)]
    return Samples(recording, t[used], a[used], eyes[0], eyes[1], noise, rest.mean, start, clock, left_out)


def _eye(t: Array, a: Array, rest: Rest, sigma: float, every: float, share: float) -> Eye:
    """Samples (n,) seen through weighted means of this sigma, s. share: how well they may be met, of the amplitude there."""
    spacing = float(np.median(np.diff(t)))
    rows, means = [], []
    for at in np.arange(t[0], t[-1] + 1e-9, max(every, spacing)):
        first, last = np.searchsorted(t, (at - 3.5 * sigma, at + 3.5 * sigma))
        w = np.exp(-0.5 * ((t[first:last] - at) / sigma) ** 2)
        whole = float(w.sum())
        # In a gap there is nothing to look at.
        if whole > 0.5 * min(np.sqrt(2 * np.pi) * sigma / spacing, 2.0):
            rows.append(at)
            means.append((first, w / whole))
    starts = np.cumsum([0, *(len(w) for _, w in means)])
    columns = np.concatenate([first + np.arange(len(w)) for first, w in means])
    matrix = csr_matrix((np.concatenate([w for _, w in means]), columns, starts), shape=(len(means), len(t)))
    seen, noise = matrix @ a, rest.noise * np.sqrt([float(w @ w) for _, w in means])
    size = np.sqrt(((seen - rest.mean) ** 2).sum(axis=1))
    local = np.sqrt(2.0 * gaussian_filter1d(size**2, SMOOTH_S / max(every, spacing)))
    return Eye(matrix, np.array(rows), np.asarray(seen), 1.0 / (noise**2 + (share * local) ** 2))


def _refuse_other(recording: Recording, rest: Rest, felt: Felt, felt_size: Array, like: float, label: str) -> None:
    """Raise InputError where another clock lies much better over the move, or none does."""
    t, name = recording.columns.t_s, f"{label} {recording.name}"
    if like > 0.97:
        return
    _, clock, other = first_guess(t, rest.size, felt.t_s, felt_size, WRONG_CLOCKS)
    # Twice the same move at another pace is no clock: what is left of unlikeness must go down by a third.
    if (1 - other) < 0.67 * (1 - like) and other > LEAST_LIKE:
        off = 100 * (clock - 1)
        way = "slow" if off > 0 else "fast"
        raise InputError(
            f"{name}: against the move its clock runs {abs(off):.0f} % {way}; is the time column right, and was the move made at "
            f"the speed and length that `set` says? Clocks {100 * (1 - CLOCKS[0]):.0f} % off are found, not more"
        )
    if like < LEAST_LIKE:
        raise InputError(
            f"{name}: what it shows is not the move that `set` says (likeness {like:.2f} of 1); check pattern, size, speed and "
            "acceleration"
        )
