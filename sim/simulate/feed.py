"""One motion made ready for many models: windows, steps and commands are worked out once, and a run leaves only what it
is judged by. The step loop is that of `run`, fed the same numbers in the same order, so that both see the same. SI units.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..model.system import Array, System
from ..parts.design import MotorSpec
from ..plan.plan import Plan, PlanWindow
from .commands import Chunk, Extremes, State, make_chunk, out_width
from .generated import GeneratedLoop
from .prepare import TABLE_TOP_RAD_S, torque_limits, torque_table
from .run import ran_away, window_s
from .steps import grid

#: Of a motion of at most so many steps the commands are kept; of longer ones they are worked out anew for each model.
MOST_KEPT = 200_000
#: Rows wanted: (k, 2) s, from when to when, in order.
Stretches = NDArray[np.float64]


@dataclass(frozen=True)
class Seen:
    """What one run leaves. low, high: (windows, n_extremes).  slack: (belts,) s.  turns: (m, 4), see `Extremes`.

    t, commanded, out: rows recorded in the stretches wanted: (n,) s, (n, 3) m, (n, out_width).  stopped_s: when the
    motion grew without bound, else None; windows from there on hold nothing.
    """

    low: Array
    high: Array
    slack: Array
    turns: Array
    t: Array
    commanded: Array
    out: Array
    stopped_s: float | None


class Feed:
    """A plan as a step loop is fed it, for every model whose motors travel alike.

    dt_s: the step, a whole part of record_s.  like: one of those models.  wanted: stretches in which rows are recorded;
    None: every row.
    """

    def __init__(self, plan: Plan, like: System, dt_s: float, record_s: float, wanted: Stretches | None) -> None:
        self.plan, self.like, self.dt_s, self.record_s, self.wanted = plan, like, dt_s, record_s, wanted
        self.windows: list[PlanWindow] = []
        self._chunks: list[Chunk] | None = []
        self._limits: dict[tuple[MotorSpec | None, ...], list[Array]] = {}
        steps = 0
        for window, chunk in self._made():
            steps += len(chunk.times)
            self.windows.append(window)
            if self._chunks is not None:
                self._chunks.append(chunk)
            if steps > MOST_KEPT:
                self._chunks, self.windows = None, []
                break
        self.steps = steps

    def _made(self) -> Iterator[tuple[PlanWindow, Chunk]]:
        table = torque_table(self.like)
        for window in self.plan.windows(window_s(self.plan, self.dt_s)):
            last = window.t1 >= self.plan.duration_s - 1e-9
            edges, numbers = grid(window, self.dt_s, self.record_s)
            if self.wanted is not None:
                numbers = np.where(_within(edges, self.wanted), numbers, -1)
            yield window, make_chunk(self.like, window, edges, numbers, last, table)

    def chunks(self, system: System) -> Iterator[Chunk]:
        """What a model's loop is fed, window by window: the commands of all, and its own motors' torque."""
        specs = tuple(m.spec for m in system.motors)
        mine = specs == tuple(m.spec for m in self.like.motors)
        if self._chunks is None:
            table = None if mine else torque_table(system)
            for _, chunk in self._made():
                limit = chunk.limit if table is None else torque_limits(chunk.omega, table, TABLE_TOP_RAD_S)
                yield replace(chunk, limit=limit)
            return
        if mine:
            yield from self._chunks
            return
        limits = self._limits.get(specs)
        if limits is None:
            table = torque_table(system)
            limits = self._limits[specs] = [torque_limits(c.omega, table, TABLE_TOP_RAD_S) for c in self._chunks]
        for chunk, limit in zip(self._chunks, limits, strict=True):
            yield replace(chunk, limit=limit)


def _within(t: Array, stretches: Stretches) -> NDArray[np.bool_]:
    """Whether each time lies in one of some stretches, ends included."""
    if not len(stretches):
        return np.zeros(len(t), np.bool_)
    near = np.searchsorted(stretches[:, 0], t, side="right") - 1
    return np.asarray((near >= 0) & (t <= stretches[np.maximum(near, 0), 1] + 1e-9))


def run_over(feed: Feed, system: System, start: Array, loop: GeneratedLoop) -> Seen:
    """One model over a motion, from rest. system, start: as `run.at_rest` gives them."""
    state = State(start.copy(), np.zeros(system.n), np.zeros(len(system.frictions)), 0.0)
    turns = Extremes.fresh(system).turns
    seen: list[Extremes] = []
    rows: list[tuple[Array, Array, Array]] = []
    stopped = None
    for chunk in feed.chunks(system):
        out = np.empty((chunk.rows, out_width(system)))
        now = Extremes.fresh(system, turns)
        loop.advance(system, state, chunk, out, now)
        seen.append(now)
        if chunk.rows:
            kept = chunk.record >= 0
            rows.append((chunk.times[kept], chunk.tool[kept], out))
        if ran_away(state):
            stopped = state.t
            break
    slack = np.sum([e.slack for e in seen], axis=0)
    return Seen(
        np.array([e.low for e in seen]), np.array([e.high for e in seen]), slack, turns,
        *_joined(rows, out_width(system)), stopped,
    )  # fmt: skip


def _joined(rows: Sequence[tuple[Array, Array, Array]], width: int) -> tuple[Array, Array, Array]:
    if not rows:
        return np.zeros(0), np.zeros((0, 3)), np.zeros((0, width))
    t, commanded, out = zip(*rows, strict=True)
    return np.concatenate(t), np.concatenate(commanded), np.concatenate(out)
