"""One motion made ready for many models: stretches, steps and commands are worked out once, and a run leaves only what it
is judged by. The step loop is that of `run`, fed the same numbers in the same order, so that both see the same. SI units.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import CancelledError
from dataclasses import dataclass, replace
from threading import Event

import numpy as np
from numpy.typing import NDArray

from ..model.system import Array, System
from ..parts.design import MotorSpec
from ..plan.plan import Plan, PlanStretch
from .commands import TABLE_TOP_RAD_S, Chunk, Extremes, State, make_chunk, out_width, torque_limits, torque_table
from .generated import GeneratedLoop
from .run import ran_away, stretch_s
from .steps import grid

#: Of a motion of at most so many steps the commands are kept, 200 bytes each; of longer ones they are worked out anew for
#: each model.
MOST_KEPT = 40_000
#: Torque limits of so many kinds of motors are kept: machines drawn within bands have each a kind of its own.
MOST_MOTORS = 8
#: Rows wanted: (k, 2) s, from when to when, in order.
Spans = NDArray[np.float64]


@dataclass(frozen=True)
class Seen:
    """What one run leaves. low, high: (stretches, n_extremes).  slack: (belts,) s.  turns: (m, 4), see `Extremes`.

    t, commanded, out: rows recorded in the spans wanted: (n,) s, (n, 3) m, (n, out_width).  stopped_s: when the
    motion grew without bound, else None; stretches from there on, and rows, hold nothing.
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

    stretches: the plan's own, cut no longer than `stretch_s`; of a long plan they are made anew each time.  like: one of those
    models.  dt_s: the step, a whole part of record_s.  wanted: spans in which rows are recorded; None: every row.
    t, commanded: of those rows, (n,) s and (n, 3) m.  count: how many stretches there are.
    kept: of how many steps the commands are.
    """

    def __init__(
        self, plan: Plan, stretches: Sequence[PlanStretch], like: System, dt_s: float, record_s: float,
        wanted: Spans | None,
    ) -> None:  # fmt: skip
        self.plan, self.like, self.dt_s, self.record_s, self.wanted = plan, like, dt_s, record_s, wanted
        self.count = len(stretches)
        self._by_motors: dict[tuple[MotorSpec | None, ...], list[Chunk]] = {}
        rows: list[tuple[Array, Array]] = []
        kept: list[Chunk] = []
        table = torque_table(like)
        self._whole = plan.duration_s / dt_s < MOST_KEPT
        self.kept = 0
        for stretch in stretches:
            chunk = self._chunk(stretch, like, table)
            mine = chunk.record >= 0
            rows.append((chunk.times[mine], chunk.tool[mine]))
            if self._whole:
                kept.append(chunk)
                self.kept += len(chunk.times)
        self.t = np.concatenate([t for t, _ in rows])
        self.commanded = np.concatenate([place for _, place in rows])
        if self._whole:
            self._by_motors[_specs(like)] = kept

    def _chunk(self, stretch: PlanStretch, system: System, table: Array) -> Chunk:
        last = stretch.t1 >= self.plan.duration_s - 1e-9
        edges, numbers = grid(stretch, self.dt_s, self.record_s)
        if self.wanted is not None:
            numbers = np.where(_within(edges, self.wanted), numbers, -1)
        return make_chunk(system, stretch, edges, numbers, last, table)

    def chunks(self, system: System) -> Iterable[Chunk]:
        """What a model's loop is fed, stretch by stretch: the commands of all, and its own motors' torque."""
        specs = _specs(system)
        found = self._by_motors.get(specs)
        if found is not None:
            return found
        table = torque_table(system)
        if not self._whole:
            return (self._chunk(w, self.like, table) for w in self.plan.stretches(stretch_s(self.plan, self.dt_s)))
        others = next(iter(self._by_motors.values()))
        made = [replace(c, limit=torque_limits(c.omega, table, TABLE_TOP_RAD_S)) for c in others]
        self._by_motors[specs] = made
        while (kinds := len(self._by_motors)) > MOST_MOTORS or (kinds > 2 and kinds * self.kept > MOST_KEPT):
            # All others are made from the first.
            self._by_motors.pop(list(self._by_motors)[1], None)
        return made


def _specs(system: System) -> tuple[MotorSpec | None, ...]:
    return tuple(m.spec for m in system.motors)


def _within(t: Array, spans: Spans) -> NDArray[np.bool_]:
    """Whether each time lies in one of some spans, ends included."""
    if not len(spans):
        return np.zeros(len(t), np.bool_)
    near = np.searchsorted(spans[:, 0], t, side="right") - 1
    return np.asarray((near >= 0) & (t <= spans[np.maximum(near, 0), 1] + 1e-9))


def run_over(feed: Feed, system: System, start: Array, loop: GeneratedLoop, given_up: Event | None = None) -> Seen:
    """One model over a motion, from rest. system, start: as `run.at_rest` gives them.

    given_up: once it is set, CancelledError is raised within a stretch.
    """
    state = State(start.copy(), np.zeros(system.n), np.zeros(len(system.frictions)), 0.0)
    fresh = Extremes.fresh(system)
    low = np.full((feed.count, len(fresh.low)), np.inf)
    high = np.full((feed.count, len(fresh.low)), -np.inf)
    out = np.empty((len(feed.t), out_width(system)))
    stopped, row = None, 0
    for k, chunk in enumerate(feed.chunks(system)):
        if given_up is not None and given_up.is_set():
            raise CancelledError
        # Slack and turns go on from stretch to stretch.
        seen = Extremes(low[k], high[k], fresh.slack, fresh.turns)
        loop.advance(system, state, chunk, out[row : row + chunk.rows], seen)
        row += chunk.rows
        if ran_away(state):
            stopped = state.t
            break
    return Seen(low, high, fresh.slack, fresh.turns, feed.t, feed.commanded, out, stopped)
