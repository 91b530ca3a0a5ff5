"""One run: a model follows a plan, step by step, and leaves a trace."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from ..caches import trouble
from ..errors import RunError
from ..model.statics import equilibrium
from ..model.system import Array, System
from ..plan.plan import Plan, PlanStretch
from ..trace import Ending, Rows, Slip, StretchExtremes, Trace
from . import reference
from .commands import Chunk, Extremes, State, extreme_names, make_chunk, out_width, torque_table
from .generated import GeneratedLoop
from .interrupt import Interruptible
from .keep import KeepAll, Keeper, rows_of
from .steps import grid, longest_step, whole_part
from .wheels import WheelWatch

Progress = Callable[[float, float], None]
Watcher = Callable[[Rows], None]
#: Beyond this the numbers mean nothing any more: the tool cannot be a hundred reaches away.
RUNAWAY_M = 100.0
#: Electrical turns passed beyond which nothing was counted but numbers that grew without bound.
COUNTED = 1e9
#: Places of which is remembered where a model stands before a move from there.
MOST_STARTS = 16
#: Longest stretch of a run, s; runs beyond LONG_S take longer ones, which saves a fifth of their time.
STRETCH_S, LONG_S, LONG_STRETCH_S = 1.0, 120.0, 4.0
#: No stretch is longer than so many steps, so that memory stays bounded and Ctrl-C is answered within a second.
MOST_STEPS = 100_000


class Loop(Protocol):
    """A step loop: `reference.advance` or `GeneratedLoop.advance`."""

    def __call__(self, system: System, state: State, chunk: Chunk, out: Array, seen: Extremes) -> None:
        """Run one chunk, changing state, out and seen in place."""


def run(
    system: System,
    plan: Plan,
    record_s: float = 1e-3,
    progress: Progress | None = None,
    loop: Literal["generated", "reference"] = "generated",
    step_s: float | None = None,
    keep: Keeper | None = None,
    watchers: Sequence[Watcher] = (),
) -> Trace:
    """Simulate a plan from rest at its first point.

    record_s: spacing of the recorded channels, s.  progress(t, duration): called after each stretch, about once a
    simulated second.  step_s: a smaller longest step than the rule gives, s (larger is refused with RunError).
    keep: what stays in memory; None: every row.  watchers: each is handed every row, stretch by stretch.
    A run that cannot go on, or Ctrl-C, ends early with what there is; `Trace.ending` says why. The first Ctrl-C waits
    for the end of the stretch (a moment), a second one does not.
    """
    notes: list[str] = []
    rule = longest_step(system, record_s)
    if step_s is not None and step_s > rule * (1 + 1e-12):
        raise RunError(
            f"step {step_s * 1e6:.1f} us is longer than this model allows ({rule * 1e6:.1f} us): the result would be wrong"
        )
    dt = whole_part(record_s, rule) if step_s is None else step_s
    system, start = at_rest(system, plan.start)
    if loop == "generated":
        compiled = GeneratedLoop(system)
        notes += compiled.notes
        advance: Loop = compiled.advance
        # Compiling is not simulating: steps of no length make (or load) the machine code before the clock starts.
        _warm(system, compiled)
    else:
        advance = reference.advance
    _warm_feed(system, plan)
    if (said := trouble()) and said not in notes:
        notes.append(said)
    state = State(start, np.zeros(system.n), np.zeros(len(system.frictions)), 0.0)
    gather = _Gather(system, plan, record_s, KeepAll() if keep is None else keep, watchers)
    ending, stopped = Ending.COMPLETE, None
    began = time.perf_counter()
    with Interruptible() as wish:
        for stretch in plan.stretches(stretch_s(plan, dt)):
            gather.stretch(stretch, state, dt, advance)
            if ran_away(state):
                ending, stopped = Ending.RUNAWAY, state.t
                break
            try:
                if progress is not None:
                    progress(state.t, plan.duration_s)
            except KeyboardInterrupt:
                wish.stop = True
            if wish.stop and state.t < plan.duration_s - 1e-9:
                ending, stopped = Ending.INTERRUPTED, state.t
                break
    wall = time.perf_counter() - began
    return gather.trace(ending, stopped, notes, wall)


def at_rest(system: System, place: Array) -> tuple[System, Array]:
    """A model whose tool reads `place` (3,), m, where it stands before the move, and its coordinates there, (n,).

    What sags before the move starts is no error of the move. Raises RunError where there is no equilibrium.
    """
    known, key = system.once(_starts), np.asarray(place, float).tobytes()
    found = known.get(key)  # asked once: other threads may forget what is known
    if found is None:
        if len(known) >= MOST_STARTS:
            known.clear()
        found = known[key] = equilibrium(system, place)
    start = found.copy()
    sag = np.where(system.tool_moves, system.tool_at(start) - place, 0.0)
    return system.with_zero(system.tool_zero - sag), start


def _starts(system: System) -> dict[bytes, Array]:
    """Where a model stands before its moves, by the tool's place: a run and the runs that judge it begin at the same one."""
    return {}


def stretch_s(plan: Plan, dt: float) -> float:
    """Longest stretch that a plan is cut into, s."""
    return min(STRETCH_S if plan.duration_s < LONG_S else LONG_STRETCH_S, MOST_STEPS * dt)


def ran_away(state: State) -> bool:
    """Whether the numbers mean nothing any more."""
    return not meaningful(state.q[None])[0]


def meaningful(q: Array) -> NDArray[np.bool_]:
    """Which rows of coordinates, (n, n_dof), are those of a machine still; (n,). Of what is no number neither."""
    return np.asarray(np.abs(q).max(axis=1, initial=0.0) < RUNAWAY_M * 100)


def slips_of(system: System, turns: Array, places: dict[int, tuple[float, float, float]]) -> list[Slip]:
    """Motors that fell out of step; a motion that grew without bound leaves no turns to count.

    turns: as `Extremes` has them at the end of a run.  places: by number of the motor, where the tool was to be, m.
    """
    out = []
    for j, (now, most, passed, first) in enumerate(turns):
        if first >= 0 and passed < COUNTED:
            lost, off = 4 * abs(int(now)), 4 * int(most)
            out.append(Slip(system.motors[j].name, float(first), lost, off, int(passed), places.get(j)))
    return out


def _warm(system: System, compiled: GeneratedLoop) -> None:
    """One step of no length: makes (or loads) the machine code and changes nothing."""
    m = len(system.motors)
    feed = np.zeros((1, 3, m))
    chunk = Chunk(np.zeros(1), np.zeros(1), feed, feed, feed, np.zeros((1, 3)), np.full(1, -1, dtype=np.int64), 0)
    state = State(np.zeros(system.n), np.zeros(system.n), np.zeros(len(system.frictions)), 0.0)
    compiled.advance(system, state, chunk, np.zeros((0, out_width(system))), Extremes.fresh(system))


#: Whether feeding a loop has its machine code in this process.
_fed: list[bool] = []


def _warm_feed(system: System, plan: Plan) -> None:
    """The compiled part of feeding a loop, on no time at all of the plan's first stretch: once in a process, it is the same
    for every model."""
    stretch = None if _fed else next(iter(plan.stretches(STRETCH_S)), None)
    if stretch is not None:
        _fed.append(True)
        edges = np.array([stretch.t0, stretch.t0])
        make_chunk(system, stretch, edges, np.full(2, -1, dtype=np.int64), False, torque_table(system))


class _Gather:
    """What a run gathers beside the rows, stretch by stretch."""

    def __init__(self, system: System, plan: Plan, record_s: float, keep: Keeper, watchers: Sequence[Watcher]) -> None:
        self.s, self.plan, self.record_s = system, plan, record_s
        self.keep, self.watchers = keep, watchers
        self.table = torque_table(system)
        self.start = system.motor_command(plan.start)
        self.slack = np.zeros(len({r.belt for r in system.runs}))
        self.turns = Extremes.fresh(system).turns
        self.passed_at: dict[int, tuple[float, float, float]] = {}
        self.wheels = WheelWatch(system)
        self.steps, self.rows, self.longest = 0, 0, 0.0

    def stretch(self, stretch: PlanStretch, state: State, dt: float, advance: Loop) -> None:
        last = stretch.t1 >= self.plan.duration_s - 1e-9
        edges, numbers = grid(stretch, dt, self.record_s)
        chunk = make_chunk(self.s, stretch, edges, numbers, last, self.table)
        out = np.empty((chunk.rows, out_width(self.s)))
        before = self.turns[:, 3].copy()
        seen = Extremes.fresh(self.s, self.turns)
        advance(self.s, state, chunk, out, seen)
        recorded = chunk.record >= 0
        t = chunk.times[recorded]
        rows = rows_of(self.s, self.start, t, stretch.asked(t), chunk.tool[recorded], out, stretch)
        if ran_away(state):
            # From the first on that means nothing the rest does not: what came of it must stay readable, and drawable.
            rows = rows[: int(np.logical_and.accumulate(meaningful(rows.q)).sum())]
        self.slack += seen.slack
        for j in np.flatnonzero((before < 0) & (self.turns[:, 3] >= 0)):
            x, y, z = stretch.commanded(self.turns[j : j + 1, 3])[0]
            self.passed_at[int(j)] = (float(x), float(y), float(z))
        self.steps += len(edges) - 1
        self.rows += len(rows)
        self.longest = max(self.longest, float(chunk.lengths.max()))
        extremes = StretchExtremes(stretch.t0, stretch.t1, stretch.resting, seen.low, seen.high, stretch.breakpoints)
        self.wheels(rows)
        for watcher in self.watchers:
            watcher(rows)
        self.keep.add(rows, extremes, stretch)

    def trace(self, ending: Ending, stopped: float | None, notes: list[str], wall: float) -> Trace:
        s = self.s
        parts, stretches = self.keep.done()
        kept = self._nothing() if not parts else parts[0] if len(parts) == 1 else Rows.join(parts)
        belts = list(dict.fromkeys(run.belt for run in s.runs))
        return Trace(
            **vars(kept),
            motors=tuple(m.name for m in s.motors),
            runs=tuple((run.belt, run.name) for run in s.runs),
            dof_names=s.dof_names,
            extreme_names=extreme_names(s),
            stretches=stretches,
            slack_s={belt: float(t) for belt, t in zip(belts, self.slack, strict=True)},
            slips=slips_of(s, self.turns, self.passed_at),
            ending=ending,
            stopped_at_s=stopped,
            planned_s=self.plan.duration_s,
            steps=self.steps,
            step_s=self.longest,
            wall_s=wall,
            notes=[*notes, *self.wheels.notes()],
            rows=self.rows,
            thinned=self.keep.thinned,
        )

    def _nothing(self) -> Rows:
        none, places = np.zeros(0), np.zeros((0, 3))
        return rows_of(self.s, self.start, none, places, places, np.zeros((0, out_width(self.s))), None)
