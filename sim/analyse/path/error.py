"""Path error: how far the tool is from the asked path, across it and along it, in XY.

Across is the distance from the tool to the asked path as a curve, so a tool that overshoots a corner counts with its
whole overshoot; which of several passes of the path is meant, `foot` says. Once the tool has come to where it is to
stand still, all that it still swings counts as across. Along is the length of path between the asked place and the
tool's: positive where the tool lags; most of it is the shapers' delay where there are shapers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...plan.plan import Plan
from .foot import ACROSS, ALONG, FOOT_X, FOOT_Y, WAY_X, WAY_Y, WIDTH

Array = NDArray[np.float64]


@dataclass(frozen=True)
class PathError:
    """across_m, along_m: (n,) at the trace's times.  Largest and time-weighted rms of each over the whole run, m.

    worst_s: when the distance across is largest.
    foot_m, direction: (n, 2) the tool's place on the asked path and its direction there; asked_m: (k, 2) corners of the
    asked path, as far as the run went.
    height_m: largest and time-weighted rms of how far the tool is off its commanded height, where arms carry it.
    own_max_m: largest lag of the tool behind the commanded motion; delay_max_m: of that behind the asked one, by shapers.
    """

    across_m: Array
    along_m: Array
    across_max_m: float
    across_rms_m: float
    along_max_m: float
    along_rms_m: float
    worst_s: float
    foot_m: Array
    direction: Array
    asked_m: Array
    own_max_m: float = 0.0
    height_m: tuple[float, float] | None = None
    delay_max_m: float = 0.0


class MeanSquare:
    """Time-weighted mean of the squares of rows (n, k) that come in pieces, straight lines between them."""

    def __init__(self, columns: int) -> None:
        self._total, self._first_s, self._last_s = np.zeros(columns), 0.0, 0.0
        self._last: Array | None = None

    def add(self, t: Array, values: Array) -> None:
        """Take in rows, (n,) s and (n, k), later than those before; at least one."""
        square = values**2
        if self._last is None:
            self._first_s = float(t[0])
        else:
            t, square = np.append(self._last_s, t), np.concatenate([self._last, square])
        self._total += 0.5 * np.diff(t) @ (square[1:] + square[:-1])
        self._last_s, self._last = float(t[-1]), square[-1:]

    def root(self) -> Array:
        """Square root of the mean so far, (k,); zeros before any row."""
        if self._last is None:
            return np.zeros(len(self._total))
        took = self._last_s - self._first_s
        return np.asarray(np.sqrt(self._total / took if took > 0.0 else self._last[0]))


class Tally:
    """What is told of the path error of all rows, taken in piece by piece, whichever of them stay in memory.

    delay_s: by how much the shapers make the motion late; 0: what the command is late by then is the rounding of corners.
    """

    def __init__(self, delay_s: float) -> None:
        self.delay_s = delay_s
        self.across_max, self.along_max, self.worst_s = 0.0, 0.0, 0.0
        self.own_max, self.delay_max = 0.0, 0.0
        self._square = MeanSquare(2)

    def add(self, t: Array, off: Array, own: Array) -> None:
        """Take in rows: times (n,) s, off (n, 6) as `foot.feet` fills it, own (n,): the lag without the shapers', m."""
        across, along = off[:, ACROSS], off[:, ALONG]
        self._square.add(t, off[:, [ACROSS, ALONG]])
        worst = int(np.argmax(across))
        if across[worst] > self.across_max:
            self.across_max, self.worst_s = float(across[worst]), float(t[worst])
        self.along_max = max(self.along_max, float(np.abs(along).max()))
        if not self.delay_s:
            own = along
        self.own_max = max(self.own_max, float(np.abs(own).max()))
        self.delay_max = max(self.delay_max, float((along - own).max()))

    def error(self, off: Array, asked_m: Array) -> PathError:
        """The path error of the whole run. off: of the rows that stay in memory.  asked_m: corners of the asked path."""
        off = off if len(off) else np.zeros((0, WIDTH))
        across_rms, along_rms = self._square.root()
        return PathError(
            across_m=off[:, ACROSS],
            along_m=off[:, ALONG],
            across_max_m=self.across_max,
            across_rms_m=float(across_rms),
            along_max_m=self.along_max,
            along_rms_m=float(along_rms),
            worst_s=self.worst_s,
            foot_m=off[:, FOOT_X : FOOT_Y + 1],
            direction=off[:, WAY_X : WAY_Y + 1],
            asked_m=asked_m,
            own_max_m=self.own_max,
            delay_max_m=self.delay_max,
        )


def shaping_delay_s(plan: Plan) -> float:
    """How much later than asked the shapers make the motion, s; 0 without any."""
    shaping = getattr(plan, "shaping", None)
    return float(shaping.delay_s) if shaping is not None else 0.0
