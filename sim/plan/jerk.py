"""Look-ahead with limited jerk.

Along the path the speed is made of fastest moves (`ramps`) from knot to knot; at a knot the acceleration is 0. Knots
are put only where they are needed: the way from stop to stop starts as one move; where that would be too fast for a
corner or a slow stretch, the lowest speed limit it breaks becomes a knot, the speeds at all knots are lowered to what
ramps can reach and leave in time, and so on until nothing is broken. A single move comes out time-optimal, and ramps
run across as many short segments as they need.

The jerk limit is one along the path. Into a corner taken within the corner speed step, and into an arc, the
acceleration across the path steps, as the geometry makes it.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..compiled import compiled, for_size, formula
from .lookahead import corner_caps
from .profile import Pieces
from .ramps import phases, ramp_distance, ramp_reach, time_to, top_speed
from .segments import HOLD, WAVE, Segments

Array = NDArray[np.float64]

# On a curve this share of the acceleration limit may turn the tool, which leaves 0.6 of it for changing speed.
CURVE_SHARE = 0.8
# Without a stop, the path is planned this many segments at a time.
MOST_SEGMENTS = 4096


@formula
def _speed_at(move: Array, count: int, v0: float, way: float) -> Any:
    """Speed after a way into a move of `count` phases that starts with speed v0, m/s."""
    v, s = v0, 0.0
    for n in range(count):
        t, a, j = move[n, 0], move[n, 1], move[n, 2]
        run = t * (v + t * (0.5 * a + t * j / 6.0))
        if s + run >= way:
            t = time_to(way - s, v, a, j, t)
            return v + t * (a + 0.5 * t * j)
        s += run
        v += t * (a + 0.5 * t * j)
    return v


@formula
def _sure_knots(at: Array, cap: Array, limit: Array, most: Array, jerk: float, knot: NDArray[np.bool_]) -> None:
    """Put knots where they are needed in any case: at limits with no lower one within the way it takes to stop.

    There the tool passes at that very speed, and does not speed up or slow down: it could stop in time for anything
    lower, and came from nothing slower that is nearer. Not needed for the result, but most knots are found so at once.
    """
    n = len(limit)
    weakest = most[0]
    for i in range(1, n):
        weakest = min(weakest, most[i])
    for i in range(1, n):
        if cap[i] >= limit[i - 1] and cap[i] >= limit[i]:
            continue
        room = ramp_distance(cap[i], 0.0, weakest, jerk)
        k, sure = 1, True
        left, right = True, True
        while sure and (left or right):
            left = left and i - k >= 0 and at[i] - at[i - k] <= room
            right = right and i + k <= n and at[i + k] - at[i] <= room
            if (left and cap[i - k] < cap[i]) or (right and cap[i + k] < cap[i]):
                sure = False
            k += 1
        if sure:
            knot[i] = True


@formula
def _put_knot(knot: NDArray[np.bool_], limit: Array, p: int, q: int, where: int, within: bool, lowest: float) -> None:
    """Put a knot at the lowest limit that a move from p to q breaks: at a node, or at both ends of the segments within."""
    if not within:
        knot[where] = True
        return
    first, last = where, where + 1
    while first > p and limit[first - 1] == lowest:
        first -= 1
    while last < q and limit[last] == lowest:
        last += 1
    knot[first], knot[last] = True, True


@compiled
def find_knots(
    at: Array, cap: Array, limit: Array, most: Array, jerk: float, knot: NDArray[np.bool_], x: Array
) -> bool:
    """Put knots into one way from stop to stop, and find the speeds at them.

    at: (n + 1,) distance of each segment end.  cap: (n + 1,) speed limit there.  limit: (n,) speed limit within.
    most: (n,) acceleration.  knot: (n + 1,), in and out; both ends are knots.  x: (n + 1,), out: speed at knots.
    Returns whether the speed at the start is cap[0]: it is given, and false says that these knots cannot keep it.
    """
    n = len(limit)
    move = np.zeros((7, 3))
    weakest = np.zeros(n + 1)  # smallest acceleration limit from a knot to the next
    fine = np.zeros(n + 1, np.bool_)  # whether the move that starts at a knot was found to break nothing
    seen_from, seen_to = np.full(n + 1, -1.0), np.full(n + 1, -1.0)
    following = np.zeros(n + 1, np.int64)
    _sure_knots(at, cap, limit, most, jerk, knot)
    while True:
        p = 0
        while p < n:
            q, a = p + 1, most[p]
            while not knot[q]:
                a = min(a, most[q])
                q += 1
            following[p], weakest[p] = q, a
            p = q
        x[n] = cap[n]
        for p in range(n - 1, -1, -1):
            if knot[p]:
                q = following[p]
                x[p] = min(cap[p], ramp_reach(x[q], at[q] - at[p], weakest[p], jerk))
        if x[0] < cap[0] * (1.0 - 1e-12):
            return False
        p = 0
        while p < n:
            q = following[p]
            x[q] = min(x[q], ramp_reach(x[p], at[q] - at[p], weakest[p], jerk))
            p = q
        broken = False
        p = 0
        while p < n:
            q = following[p]
            if fine[p] and seen_from[p] == x[p] and seen_to[p] == x[q]:
                p = q
                continue
            seen_from[p], seen_to[p] = x[p], x[q]
            whole = at[q] - at[p]
            fastest = 0.0
            for i in range(p, q):
                fastest = max(fastest, limit[i])
            top = top_speed(x[p], x[q], whole, max(fastest, max(x[p], x[q])), weakest[p], jerk)
            count = phases(x[p], top, x[q], whole, weakest[p], jerk, move)
            up = ramp_distance(x[p], top, weakest[p], jerk)
            down = whole - ramp_distance(top, x[q], weakest[p], jerk)
            # The lowest limit that this move breaks; of equal ones the middlemost, so that halves stay alike.
            lowest, where, within, middle = np.inf, -1, False, 0.5 * (p + q)
            for i in range(p, q):
                if limit[i] < top * (1.0 - 1e-12) and at[i + 1] - at[p] > up and at[i] - at[p] < down:
                    nearer = limit[i] == lowest and abs(i - middle) < abs(where - middle)
                    if limit[i] < lowest or nearer:
                        lowest, where, within = limit[i], i, True
                if i > p and cap[i] < top:
                    nearer = cap[i] == lowest and abs(i - middle) < abs(where - middle)
                    if (cap[i] < lowest or nearer) and _speed_at(move, count, x[p], at[i] - at[p]) > cap[i] * (
                        1.0 + 1e-12
                    ):
                        lowest, where, within = cap[i], i, False
            fine[p] = where < 0
            if where >= 0:
                broken = True
                _put_knot(knot, limit, p, q, where, within, lowest)
            p = q
        if not broken:
            return True


@compiled
def jerk_pieces(
    at: Array, limit: Array, most: Array, jerk: float, knot: NDArray[np.bool_], x: Array, row: int, t: float,
    start_s: Array, segment: NDArray[np.int64], motion: Array,
) -> tuple[int, float]:  # fmt: skip
    """Pieces of the moves between knots; returns how many, and when they end. row: of the first segment."""
    n, m = len(limit), 0
    move = np.zeros((7, 3))
    p = 0
    while p < n:
        q, a, fastest = p + 1, most[p], limit[p]
        while not knot[q]:
            a, fastest = min(a, most[q]), max(fastest, limit[q])
            q += 1
        whole = at[q] - at[p]
        top = top_speed(x[p], x[q], whole, max(fastest, max(x[p], x[q])), a, jerk)
        count = phases(x[p], top, x[q], whole, a, jerk, move)
        i, s, v = p, 0.0, x[p]
        for k in range(count):
            left, acc, j = move[k, 0], move[k, 1], move[k, 2]
            while True:
                start_s[m], segment[m] = t, row + i
                motion[m, 0], motion[m, 1], motion[m, 2], motion[m, 3] = s - (at[i] - at[p]), v, acc, j
                way = at[i + 1] - at[p] - s
                step = left
                if i + 1 < q and left * (v + left * (0.5 * acc + left * j / 6.0)) > way:
                    step = time_to(way, v, acc, j, left)
                if step > 0.0:
                    m += 1
                t += step
                s += step * (v + step * (0.5 * acc + step * j / 6.0))
                v += step * (acc + 0.5 * step * j)
                acc += step * j
                left -= step
                if left <= 0.0:
                    break
                i += 1
                s = at[i] - at[p]
        # What rounding leaves of the last segments would be shorter than a piece; they are passed in no time.
        p = q
    return m, t


class JerkPlanner:
    """Look-ahead with limited jerk, for a stream of segments. See `timing.SpeedPlanner`."""

    def __init__(self, corner_step_m_s: float, jerk_m_s3: float) -> None:
        self.corner_step_m_s, self.jerk_m_s3 = corner_step_m_s, jerk_m_s3
        self._waiting = Segments.empty()
        self._speed, self._time_s = 0.0, 0.0
        # A way that ends with a stop and goes on from the waiting segments: (how many, knots, speeds). It is there to
        # fall back on, should a plan further ahead not be able to keep the speed it hands over.
        self._spare: tuple[int, NDArray[np.bool_], Array] | None = None

    def feed(self, new: Segments, final: bool = False) -> tuple[Segments, Pieces]:
        """Segments that are timed once `new` is known; with `final`, all of them."""
        s = Segments.join([self._waiting, new])
        square = s.speed_m_s**2
        curved = s.curvature > 0.0
        square[curved] = np.minimum(square[curved], CURVE_SHARE * s.acceleration_m_s2[curved] / s.curvature[curved])
        across = s.curvature * square
        most = np.sqrt(np.maximum(s.acceleration_m_s2**2 - across**2, 0.0))
        cap = np.sqrt(corner_caps(s, square, self.corner_step_m_s))
        limit = np.sqrt(square)
        parts: list[Pieces] = []
        first, n = 0, len(s)
        stops = np.flatnonzero(cap == 0.0)
        while first < n:
            after = stops[np.searchsorted(stops, first, side="right") :]
            stop = int(after[0]) if len(after) else n
            # The end of what is known counts as a stop only if nothing follows.
            known = stop < n or final
            if not known and n - first < MOST_SEGMENTS:
                break
            last = min(stop, first + MOST_SEGMENTS) if known else first + MOST_SEGMENTS
            first = self._plan(s, first, last, last == stop and known, cap, limit, most, parts)
        self._waiting = s[first:]
        done = s[:first]
        if not parts:
            return done, Pieces(np.zeros(0), self._time_s, np.zeros(0, np.int64), np.zeros((0, 4)))
        return done, Pieces(
            np.concatenate([p.start_s for p in parts]),
            self._time_s,
            np.concatenate([p.segment for p in parts]),
            np.concatenate([p.motion for p in parts]),
        )

    def _plan(
        self,
        s: Segments,
        first: int,
        last: int,
        stops: bool,
        cap: Array,
        limit: Array,
        most: Array,
        parts: list[Pieces],
    ) -> int:
        """Plan segments first to last; returns up to where they are settled. stops: the way ends at `last`."""
        if s.kind[first] in (HOLD, WAVE):
            parts.append(Pieces(np.array([self._time_s]), 0.0, np.array([first]), np.zeros((1, 4))))
            self._time_s += float(s.hold_s[first])
            return first + 1
        rows = slice(first, last)
        n = last - first
        at = np.concatenate([[0.0], np.cumsum(s.length_m[rows])])
        here = cap[first : last + 1].copy()
        here[0], here[-1] = self._speed, 0.0
        knot, x = np.zeros(n + 1, np.bool_), np.zeros(n + 1)
        knot[0] = knot[-1] = True
        if not for_size(find_knots, n)(at, here, limit[rows], most[rows], self.jerk_m_s3, knot, x):
            if self._spare is None:
                raise AssertionError("the first way of a path starts at rest, which knots can always keep")
            n, knot, x = self._spare
            stops, last, at = True, first + n, at[: n + 1]
        ready = n
        self._spare = None
        if not stops:
            # Settled is what lies further ahead of the end than the tool needs to stop, up to a knot that is held back
            # by its own limit rather than by the end.
            room = ramp_distance(float(limit[rows].max()), 0.0, float(most[rows].min()), self.jerk_m_s3)
            good = np.flatnonzero(knot & (at <= at[-1] - room) & (x >= here * (1.0 - 1e-12)))
            if len(good) and good[-1] > 0:
                ready = int(good[-1])
                self._spare = (n - ready, knot[ready:].copy(), x[ready:].copy())
        self._emit(at[: ready + 1], limit[first : first + ready], most[first : first + ready], knot, x, first, parts)
        self._speed = float(x[ready])
        return first + ready

    def _emit(
        self, at: Array, limit: Array, most: Array, knot: NDArray[np.bool_], x: Array, first: int, parts: list[Pieces]
    ) -> None:
        n = len(limit)
        room = n + 8 * int(np.count_nonzero(knot[: n + 1]))
        start, index, motion = np.zeros(room), np.zeros(room, np.int64), np.zeros((room, 4))
        loop = for_size(jerk_pieces, n)
        m, end = loop(at, limit, most, self.jerk_m_s3, knot, x, first, self._time_s, start, index, motion)
        parts.append(Pieces(start[:m], end, index[:m], motion[:m]))
        self._time_s = end
