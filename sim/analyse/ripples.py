"""The ripple map: path error gathered along the path of a program, level by level, and its worst places. SI units.

The path is cut into bins of even length; each keeps its largest error and where, when and in which program line that
was. A longer job gets longer bins, so that the map takes the same memory however long the job is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..compiled import compiled, for_size
from ..trace import Rows
from .path.foot import ACROSS, FOOT_X, FOOT_Y

Array = NDArray[np.float64]

FIRST_BIN_M = 1e-4
MOST_BINS = 1 << 18
#: Rows of bins that wait to be put together.
MOST_WAITING = 1 << 17
#: Places in the list of the worst; nearer together than this, in X and Y, they are one place (on several levels).
MOST_PLACES, APART_M = 8, 2e-3
#: A place on another level counts as the same trouble from this share of the error on.
SAME_SHARE = 0.7
#: Levels closer than this are one; more than MOST_LEVELS are put into bands of equal height.
SAME_LEVEL_M, MOST_LEVELS = 5e-6, 400

(SPOT, ERROR, X, Y, Z, TIME, LINE, MACHINE, SPEED, LAID, ALONG_X) = range(11)
COLUMNS = 11


@dataclass(frozen=True)
class Place:
    """One of the worst places. number: from 1.  line: of the program (0: none).  point: (3,) m, on the asked path.

    axis: along which of the two the error mostly lies, "x" or "y".  machine_share: how much of the error the machine
    makes by not following its command (1), against what shaping and rounding make of the command (0).  levels: on how
    many levels it is about as bad.
    """

    number: int
    error_m: float
    point: tuple[float, float, float]
    line: int
    time_s: float
    speed_m_s: float
    axis: str
    machine_share: float
    levels: int


@dataclass(frozen=True)
class Level:
    """One level of the job. z_m: its height (the middle of a band).  bins: (k,) which bins of the map lie on it."""

    z_m: float
    max_m: float
    rms_m: float
    bins: NDArray[np.int64]


@dataclass(frozen=True)
class RippleMap:
    """Path error along the path. All arrays (k,), in order along the path.

    point: (k, 3) m, where the error of each bin is largest.  laid: whether material is laid there, or, in a program
    that never lays any, True for all of it.
    """

    bin_m: float
    error_m: Array
    point: Array
    time_s: Array
    line: NDArray[np.int64]
    laid: NDArray[np.bool_]
    lays: bool
    levels: tuple[Level, ...]
    places: tuple[Place, ...]


class RippleBins:
    """Gathers rows whose path error is known; a receiver of `meter.PathMeter`."""

    def __init__(self, record_s: float) -> None:
        self.record_s = record_s
        self.bin_m = FIRST_BIN_M
        self._bins: list[Array] = []
        self._waiting = 0
        self._before: Array | None = None

    def __call__(self, rows: Rows, asked_length: Array) -> None:
        """Take in rows, in order. asked_length: (n,) m, path length at which each was asked for."""
        off = rows.off_path
        n = len(rows)
        found = np.empty((n, COLUMNS))
        found[:, SPOT] = 2.0 * np.floor(asked_length / self.bin_m) + rows.depositing
        error = found[:, ERROR] = off[:, ACROSS]
        found[:, X], found[:, Y] = off[:, FOOT_X], off[:, FOOT_Y]
        found[:, Z] = rows.asked[:, 2]
        found[:, TIME], found[:, LINE], found[:, LAID] = rows.t_s, rows.source_line, rows.depositing
        # How much of the error lies in tool minus command, along the error's own direction.
        away = rows.tool[:, :2] - off[:, FOOT_X : FOOT_Y + 1]
        off_command = rows.tool[:, :2] - rows.commanded[:, :2]
        square = np.maximum(error * error, 1e-18)
        found[:, ALONG_X] = away[:, 0] ** 2 / square
        found[:, MACHINE] = np.clip(np.einsum("ij,ij->i", away, off_command) / square, 0.0, 1.0)
        at = rows.commanded if self._before is None else np.concatenate([self._before, rows.commanded])
        speed = np.sqrt(np.sum(np.diff(at, axis=0) ** 2, axis=1)) / self.record_s
        found[:, SPEED] = speed if self._before is not None else np.append(0.0, speed)
        self._before = rows.commanded[-1:]
        found = _worst_of_each(found)
        self._bins.append(found)
        self._waiting += len(found)
        if self._waiting > MOST_WAITING:
            self._settle()

    def _settle(self) -> None:
        bins = _worst_of_each(np.concatenate(self._bins)) if self._bins else np.zeros((0, COLUMNS))
        while len(bins) > MOST_BINS:
            self.bin_m *= 2.0
            bins[:, SPOT] = 2.0 * np.floor(bins[:, SPOT] / 4.0) + bins[:, LAID]
            bins = _worst_of_each(bins)
        self._bins, self._waiting = [bins], 0

    def map(self) -> RippleMap:
        """The map of everything taken in."""
        self._settle()
        b = self._bins[0]
        lays = bool(b[:, LAID].any())
        laid = b[:, LAID] > 0.0 if lays else np.ones(len(b), np.bool_)
        levels = _levels(b, laid)
        return RippleMap(
            self.bin_m, b[:, ERROR], b[:, X : Z + 1], b[:, TIME], b[:, LINE].astype(np.int64), laid, lays,
            levels, _places(b, laid, levels),
        )  # fmt: skip


def _worst_of_each(rows: Array) -> Array:
    """Of rows that follow each other in the same bin, the one with the largest error."""
    kept = np.empty(len(rows), np.int64)
    return np.asarray(rows[kept[: for_size(_pick_worst, len(rows))(rows, kept)]])


@compiled
def _pick_worst(rows: Array, kept: NDArray[np.int64]) -> int:
    """Write the numbers of those rows to `kept`, (n,); returns how many."""
    n = 0
    for i in range(len(rows)):
        if i > 0 and rows[i, SPOT] == rows[i - 1, SPOT]:
            if rows[i, ERROR] > rows[kept[n - 1], ERROR]:
                kept[n - 1] = i
        else:
            kept[n] = i
            n += 1
    return n


def _levels(b: Array, laid: NDArray[np.bool_]) -> tuple[Level, ...]:
    at = np.flatnonzero(laid)
    if not len(at):
        return ()
    order = at[np.argsort(b[at, Z], kind="stable")]
    z = b[order, Z]
    cuts = np.flatnonzero(np.diff(z) > SAME_LEVEL_M) + 1
    if len(cuts) >= MOST_LEVELS:
        edges = np.linspace(z[0], z[-1], MOST_LEVELS + 1)[1:-1]
        cuts = np.unique(np.searchsorted(z, edges))
    out = []
    for bins in np.split(order, cuts):
        if len(bins):
            error = b[bins, ERROR]
            height = 0.5 * (b[bins[0], Z] + b[bins[-1], Z])
            rms = float(np.sqrt(np.mean(error**2)))
            out.append(Level(float(height), float(error.max()), rms, np.sort(bins)))
    return tuple(out)


def _places(b: Array, laid: NDArray[np.bool_], levels: tuple[Level, ...]) -> tuple[Place, ...]:
    """The worst places, each with how many levels it is about as bad on."""
    level_of = np.full(len(b), -1)
    for i, level in enumerate(levels):
        level_of[level.bins] = i
    error = np.where(laid, b[:, ERROR], -1.0)
    left = np.flatnonzero(error > max(0.1 * float(error.max(initial=0.0)), 1e-8))
    left = left[np.argsort(-error[left], kind="stable")]
    out: list[Place] = []
    while len(left) and len(out) < MOST_PLACES:
        top = left[0]
        near = np.hypot(b[left, X] - b[top, X], b[left, Y] - b[top, Y]) < APART_M
        alike = left[near & (error[left] >= SAME_SHARE * error[top])]
        row = b[top]
        at = (float(row[X]), float(row[Y]), float(row[Z]))
        axis = "x" if row[ALONG_X] > 0.5 else "y"
        levels_alike = len(np.unique(level_of[alike]))
        out.append(
            Place(
                len(out) + 1, float(row[ERROR]), at, int(row[LINE]), float(row[TIME]), float(row[SPEED]), axis,
                float(row[MACHINE]), levels_alike,
            )
        )  # fmt: skip
        left = left[~near]
    return tuple(out)
