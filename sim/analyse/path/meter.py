"""Path error of a program, stretch by stretch: how far the tool is from the asked path, in constant memory.

What is measured is what `path` says, with the same search (`foot`). The path comes from the plan's own segments:
straight ones exactly, arcs as chords that stay within 0.1 um, rounded corners as the sharp ones that were asked for.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ...compiled import for_size
from ...plan.plan import Plan, PlanStretch
from ...plan.segments import ARC, BLEND, LINE, WAVE
from ...plan.stretches import Stretch
from ...simulate.keep import Keeper, Rows
from ...trace import StretchExtremes, Trace
from .error import PathError, length_asked, shaping_delay_s
from .foot import ACROSS, ALONG, FOOT_X, FOOT_Y, WAY_X, WAY_Y, WIDTH, feet

Array = NDArray[np.float64]

SAGITTA_M = 1e-7
SAME_PLACE_M = 1e-12
CHORDS_A_WAVE = 64
#: Corners kept of the asked path for pictures; beyond, those that matter least are let go.
MOST_CORNERS = 200_000
#: Path asked for this long before and after a moment is kept for its search.
NEAR_S = 0.1

Receiver = Callable[[Rows, Array], None]


def corners(stretch: Stretch) -> tuple[Array, Array]:
    """Corners of the asked path in a stretch: when they are reached, (k,) s, and where, (k, 3) m; its end not included."""
    s, starts, row = stretch.segments, stretch.start_s, stretch.segment
    k = np.flatnonzero(np.append(starts[1:], np.inf) > stretch.t0)
    k = k[starts[k] < stretch.t1]
    kind = s.kind[row[k]]
    # The pieces of one straight line (speeding up, steady, slowing down) lie in one line.
    again = np.append(False, (row[k][1:] == row[k][:-1]) & (kind[1:] == LINE))
    k, kind = k[~again], kind[~again]
    begin = np.maximum(starts[k], stretch.t0)
    end = np.minimum(np.append(starts, np.inf)[k + 1], stretch.t1)
    if not np.any((kind == ARC) | (kind == BLEND) | (kind == WAVE)):
        return begin, stretch.asked(begin)
    m, at = stretch.motion[k], starts[k]
    # Chords are even in time, so the fastest one counts; speed has its largest value at an end of a piece.
    way = np.maximum(_speed(m, end - at), _speed(m, begin - at)) * (end - begin)
    curvature = s.curvature[row[k]]
    chords = np.ones(len(k), np.int64)
    bent = kind == ARC
    chords[bent] = np.ceil(way[bent] * np.sqrt(curvature[bent] / (8.0 * SAGITTA_M))).astype(np.int64)
    wave = kind == WAVE
    hertz = s.geo[row[k], 7] / (2 * np.pi)
    chords[wave] = np.ceil((end - begin)[wave] * hertz[wave] * CHORDS_A_WAVE).astype(np.int64)
    chords = np.maximum(chords, 1)
    inner = np.arange(chords.sum()) - np.repeat(np.cumsum(chords) - chords, chords)
    times = np.repeat(begin, chords) + inner * np.repeat((end - begin) / chords, chords)
    points = stretch.asked(times)
    half = 0.5 * s.length_m[row[k]]
    first, last = _way(m, begin - at), _way(m, end - at)
    sharp = np.flatnonzero((kind == BLEND) & (first < half) & (last >= half))
    if len(sharp):
        g = s.geo[row[k[sharp]]]
        reach = np.tan(g[:, 12] * half[sharp])[:, None]
        when = begin[sharp] + (end - begin)[sharp] * (half - first)[sharp] / (last - first)[sharp]
        times = np.append(times, when)
        points = np.concatenate([points, g[:, 0:3] + g[:, 3:6] + g[:, 6:9] * reach])
        order = np.argsort(times, kind="stable")
        times, points = times[order], points[order]
    return times, points


def _way(motion: Array, tau: Array) -> Array:
    """Way along a segment after tau, (k,) m."""
    return np.asarray(motion[:, 0] + tau * (motion[:, 1] + tau * (0.5 * motion[:, 2] + tau * motion[:, 3] / 6.0)))


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


def _speed(motion: Array, tau: Array) -> Array:
    """Speed along a segment after tau, (k,) m/s."""
    return np.asarray(motion[:, 1] + tau * (motion[:, 2] + 0.5 * tau * motion[:, 3]))


class PathMeter:
    """Stands before a keeper: works out the path error of every row, then hands the row on.

    plan: made by `build_plan`.
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
        self.count, self.across_square, self.along_square = 0, 0.0, 0.0
        self.across_max, self.along_max, self.worst_s = 0.0, 0.0, 0.0
        self.own_max, self.delay_max = 0.0, 0.0
        self._end: Array | None = None

    def add(self, rows: Rows, extremes: StretchExtremes, stretch: PlanStretch) -> None:
        """Take in a stretch, in order."""
        assert isinstance(stretch, Stretch)
        times, points = corners(stretch)
        self._grow(times, points)
        self._end = stretch.asked(np.array([stretch.t1]))
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

    def error(self, trace: Trace) -> PathError:
        """The path error of the whole run; its curves are those of the rows that the trace kept."""
        return PathError(
            across_m=trace.off_path[:, ACROSS],
            along_m=trace.off_path[:, ALONG],
            across_max_m=self.across_max,
            across_rms_m=float(np.sqrt(self.across_square / max(self.count, 1))),
            along_max_m=self.along_max,
            along_rms_m=float(np.sqrt(self.along_square / max(self.count, 1))),
            worst_s=self.worst_s,
            foot_m=trace.off_path[:, FOOT_X : FOOT_Y + 1],
            direction=trace.off_path[:, WAY_X : WAY_Y + 1],
            asked_m=np.concatenate(self._shape) if self._shape else np.zeros((0, 2)),
            own_max_m=self.own_max,
            delay_max_m=self.delay_max,
        )

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
            time, point, length = self._time, self._point, self._length
            if len(time) == 1:
                time, point, length = np.append(time, time), np.repeat(point, 2, axis=0), np.append(length, length)
            asked_length = length_asked(time, point, length, rows.t_s, rows.asked)
            self._asked = np.concatenate([self._asked, np.column_stack([rows.t_s, asked_length])])
            first = max(int(np.searchsorted(self._asked[:, 0], rows.t_s[0] - self.delay_s)) - 1, 0)
            self._asked = self._asked[first:]
            delayed = np.interp(rows.t_s - self.delay_s, *self._asked.T) if self.delay_s else asked_length
            resting = np.full(len(rows), stretch.resting[0] and stretch.resting[1])
            own = np.zeros(len(rows))
            self._arrived = for_size(feet, 40 * len(rows))(
                point, length, np.ascontiguousarray(rows.tool), rows.commanded, rows.asked, asked_length, delayed,
                resting, self._arrived, off, own,
            )  # fmt: skip
            self._count(rows.t_s, off, own)
            rows = replace(rows, off_path=off)
            for receive in self.receivers:
                receive(rows, asked_length)
        self.keeper.add(rows, extremes, stretch)

    def _count(self, t: Array, off: Array, own: Array) -> None:
        across, along = off[:, ACROSS], off[:, ALONG]
        self.count += len(t)
        self.across_square += float(across @ across)
        self.along_square += float(along @ along)
        worst = int(np.argmax(across))
        if across[worst] > self.across_max:
            self.across_max, self.worst_s = float(across[worst]), float(t[worst])
        self.along_max = max(self.along_max, float(np.abs(along).max()))
        if not self.delay_s:
            own = along  # what the command is late by then is the rounding of corners
        self.own_max = max(self.own_max, float(np.abs(own).max()))
        self.delay_max = max(self.delay_max, float((along - own).max()))


class _KeepNothing:
    """For measuring a trace that is there already."""

    thinned = False

    def __init__(self) -> None:
        self.off: list[Array] = []

    def add(self, rows: Rows, extremes: StretchExtremes, stretch: PlanStretch) -> None:
        self.off.append(rows.off_path)

    def done(self) -> tuple[list[Rows], list[StretchExtremes]]:
        return [], []


def measure(trace: Trace, plan: Plan) -> PathError:
    """The path error of a whole trace, measured afterwards. plan: made by `build_plan`."""
    collect = _KeepNothing()
    meter = PathMeter(plan, collect)
    n = len(trace.t_s)
    begin = 0
    nothing = np.zeros((0,))
    for stretch in plan.stretches():
        if begin >= n:
            break
        end = n if stretch.t1 >= trace.t_s[-1] else int(np.searchsorted(trace.t_s, stretch.t1 - 1e-9))
        part = slice(begin, end)
        none = np.zeros((end - begin, 0))
        rows = Rows(
            trace.t_s[part], trace.asked[part], trace.commanded[part], trace.tool[part], none, none, none, none, none,
            none, trace.depositing[part], np.zeros(end - begin, np.int32), none,
        )  # fmt: skip
        meter.add(rows, StretchExtremes(stretch.t0, stretch.t1, stretch.resting, nothing, nothing), stretch)
        begin = end
    meter.done()
    whole = [off for off in collect.off if off.shape[1] == WIDTH]
    return meter.error(replace(trace, off_path=np.concatenate(whole) if whole else np.zeros((0, WIDTH))))
