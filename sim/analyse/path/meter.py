"""The path error of a move, stretch by stretch and in constant memory, while it is simulated or afterwards.

What is measured `error` says, with the search of `foot`. The asked path comes from the plan's own segments as corners.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ...compiled import for_size
from ...plan.plan import Plan, PlanStretch
from ...simulate.keep import Keeper
from ...trace import Rows, StretchExtremes
from .error import PathError, Tally, shaping_delay_s
from .foot import WIDTH, feet

Array = NDArray[np.float64]

SAME_PLACE_M = 1e-12
#: Corners kept of the asked path for pictures; beyond, those that matter least are let go.
MOST_CORNERS = 200_000
#: Path asked for this long before and after a moment is kept for its search.
NEAR_S = 0.1

Receiver = Callable[[Rows, Array], None]


def _fewer(points: Array, grain_m: float) -> Array:
    """A polyline (k, 2) without every second corner that lies within `grain_m` of the line between its neighbours."""
    a, p, b = points[:-2:2], points[1:-1:2], points[2::2]
    run, gap = b - a, p - a
    square = np.maximum(np.sum(run**2, axis=1), 1e-30)
    share = np.clip(np.sum(gap * run, axis=1) / square, 0.0, 1.0)
    off = gap - share[:, None] * run
    keep = np.ones(len(points), np.bool_)
    keep[1:-1:2] = np.sum(off**2, axis=1) > grain_m**2
    return points[keep]


class PathMeter:
    """Stands before a keeper: works out the path error of every row, then hands the row on.

    receivers: each is handed rows and the path length (n,) m at which they were asked for, once their error is known.
    """

    def __init__(self, plan: Plan, keeper: Keeper, receivers: tuple[Receiver, ...] = ()) -> None:
        self.keeper, self.receivers = keeper, receivers
        self.thinned = keeper.thinned
        self.back_s = NEAR_S + max(plan.shaper_delay_s[:2], default=0.0)
        self.delay_s = shaping_delay_s(plan)
        self._asked = np.zeros((0, 2))
        self._arrived = False
        self._time, self._point, self._length = np.zeros(0), np.zeros((0, 3)), np.zeros(0)
        self._waiting: deque[tuple[Rows, StretchExtremes, PlanStretch]] = deque()
        self._shape: list[Array] = []
        self._shape_count, self._shape_grain_m = 0, 1e-6
        self.tally = Tally(self.delay_s)
        self._end: Array | None = None
        self._end_s = 0.0

    def add(self, rows: Rows, extremes: StretchExtremes, stretch: PlanStretch) -> None:
        """Take in a stretch, in order."""
        times, points = stretch.corners()
        self._grow(times, points)
        self._end, self._end_s = stretch.asked(np.array([stretch.t1])), stretch.t1
        self._waiting.append((rows, extremes, stretch))
        while self._waiting and self._waiting[0][2].t1 + NEAR_S <= stretch.t1:
            self._finish()

    def done(self) -> tuple[list[Rows], list[StretchExtremes]]:
        """Everything added is measured and handed on; what the keeper kept."""
        if self._end is not None and self._waiting:
            self._grow(np.array([self._waiting[-1][2].t1]), self._end)
        while self._waiting:
            self._finish()
        return self.keeper.done()

    def error(self, off: Array) -> PathError:
        """The path error of the whole run. off: `off_path` of the rows that stay in memory, (n, 6)."""
        return self.tally.error(off, np.concatenate([np.zeros((0, 2)), *self._shape]))

    def _grow(self, times: Array, points: Array) -> None:
        """Add corners to the path, and let go of those that no waiting row can be near to."""
        # Standing still, or moving in Z only, adds nothing to a path in XY.
        before = self._point[-1:] if len(self._time) else points[:1] + np.array([np.inf, 0.0, 0.0])
        steps = np.hypot(*np.diff(np.concatenate([before, points])[:, :2], axis=0).T)
        far = steps > SAME_PLACE_M
        times, points, steps = times[far], points[far], steps[far]
        if not len(points):
            return
        if not len(self._time):
            steps[0] = 0.0
        length = (self._length[-1] if len(self._time) else 0.0) + np.cumsum(steps)
        since = (self._waiting[0][2].t0 if self._waiting else float(times[0])) - self.back_s
        first = max(int(np.searchsorted(self._time, since)) - 1, 0)
        self._time = np.concatenate([self._time[first:], times])
        self._point = np.concatenate([self._point[first:], points])
        self._length = np.concatenate([self._length[first:], length])
        self._draw(points)

    def _so_far(self) -> tuple[Array, Array, Array]:
        """The path to the end of the last stretch: its last piece ends at no corner yet, and counts all the same."""
        time, point, length = self._time, self._point, self._length
        assert self._end is not None
        last = float(np.hypot(*(self._end[0] - point[-1])[:2]))
        if last > SAME_PLACE_M or len(time) == 1:
            return (
                np.append(time, self._end_s),
                np.concatenate([point, self._end]),
                np.append(length, length[-1] + last),
            )
        return time, point, length

    def _draw(self, points: Array) -> None:
        """Keep the path's shape for pictures, as finely as so many corners allow."""
        self._shape.append(points[:, :2].copy())
        self._shape_count += len(points)
        if self._shape_count > MOST_CORNERS:
            whole = np.concatenate(self._shape)
            while len(whole) > MOST_CORNERS // 2:
                whole = _fewer(whole, self._shape_grain_m)
                self._shape_grain_m *= 2.0
            self._shape, self._shape_count = [whole], len(whole)

    def _finish(self) -> None:
        """Measure the oldest stretch that waits and hand it on."""
        rows, extremes, stretch = self._waiting.popleft()
        if not len(rows):
            rows = replace(rows, off_path=np.zeros((0, WIDTH)))
        else:
            off = np.zeros((len(rows), WIDTH))
            time, point, length = self._so_far()
            asked_length = length_asked(time, point, length, rows.t_s, rows.asked)
            self._asked = np.concatenate([self._asked, np.column_stack([rows.t_s, asked_length])])
            first = max(int(np.searchsorted(self._asked[:, 0], rows.t_s[0] - self.delay_s)) - 1, 0)
            self._asked = self._asked[first:]
            delayed = np.interp(rows.t_s - self.delay_s, *self._asked.T) if self.delay_s else asked_length
            resting = np.full(len(rows), stretch.resting[0] and stretch.resting[1])
            own = np.zeros(len(rows))
            self._arrived = for_size(feet, 40 * len(rows))(
                point, length, np.ascontiguousarray(rows.tool), rows.commanded, rows.asked, asked_length, delayed,
                resting, self._arrived, off, own, np.zeros(WIDTH),
            )  # fmt: skip
            self.tally.add(rows.t_s, off, own)
            rows = replace(rows, off_path=off)
            for receive in self.receivers:
                receive(rows, asked_length)
        self.keeper.add(rows, extremes, stretch)


def length_asked(time: Array, point: Array, length: Array, t: Array, asked: Array) -> Array:
    """Path length of the place asked for at each time, (n,), m. time, point, length: of the path's corners."""
    i = np.clip(np.searchsorted(time, t, side="right") - 1, 0, len(time) - 2)
    beyond = np.hypot(asked[:, 0] - point[i, 0], asked[:, 1] - point[i, 1])
    return np.asarray(np.minimum(length[i] + beyond, length[i + 1]))
