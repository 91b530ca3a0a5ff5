"""One run: a model follows a plan, step by step, and leaves a trace."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from ..errors import RunError
from ..model.statics import equilibrium
from ..model.system import Array, System
from ..plan.plan import Plan, PlanWindow
from ..trace import Slip, Trace, WindowExtremes
from . import reference
from .commands import Chunk, Extremes, State, extreme_names, make_chunk, out_width
from .generated import GeneratedLoop
from .prepare import torque_table
from .steps import grid, longest_step

Progress = Callable[[float, float], None]
#: Beyond this the numbers mean nothing any more: the tool cannot be a hundred reaches away.
RUNAWAY_M = 100.0


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
) -> Trace:
    """Simulate a plan from rest at its first point.

    record_s: spacing of the recorded channels, s.  progress(t, duration): called after each window, about once a
    simulated second.  step_s: a smaller longest step than the rule gives, s (larger is refused with RunError).
    A run that cannot go on, or Ctrl-C, ends early with what there is; `Trace.ended` says why.
    """
    notes: list[str] = []
    rule = longest_step(system, record_s)
    if step_s is not None and step_s > rule * (1 + 1e-12):
        raise RunError(
            f"step {step_s * 1e6:.1f} us is longer than this model allows ({rule * 1e6:.1f} us): the result would be wrong"
        )
    dt = rule if step_s is None else step_s
    start = equilibrium(system, plan.start)
    # The tool reads zero at static equilibrium: what sags before the move starts is no error of the move.
    system = replace(
        system, tool_zero=system.tool_zero - np.where(system.tool_moves, system.tool_at(start) - plan.start, 0.0)
    )
    if loop == "generated":
        compiled = GeneratedLoop(system)
        notes += compiled.notes
        advance: Loop = compiled.advance
        # Compiling is not simulating: a chunk of no steps makes the machine code before the clock starts.
        _warm(system, compiled)
    else:
        advance = reference.advance
    state = State(start, np.zeros(system.n), np.zeros(len(system.frictions)), 0.0)
    keep = _Keep(system, plan, record_s)
    ended, stopped = "complete", None
    began = time.perf_counter()
    try:
        for window in plan.windows(1.0):
            keep.window(window, state, dt, advance)
            if not (np.all(np.isfinite(state.q)) and np.all(np.abs(state.q) < RUNAWAY_M * 100)):
                stopped = state.t
                ended = (
                    f"stopped at t = {stopped:.3f} s: the motion grew without bound;"
                    " lower motion.acceleration_mm_s2, or look for a mass or stiffness that cannot be meant"
                )
                break
            if progress is not None:
                progress(state.t, plan.duration_s)
    except KeyboardInterrupt:
        stopped = state.t
        ended = f"interrupted at t = {stopped:.3f} s of {plan.duration_s:.3f} s; everything up to there is whole"
    wall = time.perf_counter() - began
    return keep.trace(ended, stopped, notes, wall)


def _warm(system: System, compiled: GeneratedLoop) -> None:
    """One step of no length: makes (or loads) the machine code and changes nothing."""
    m = len(system.motors)
    feed = np.zeros((1, 3, m))
    chunk = Chunk(np.zeros(1), np.zeros(1), feed, feed, feed, np.zeros((1, 3)), np.full(1, -1, dtype=np.int64), 0)
    state = State(np.zeros(system.n), np.zeros(system.n), np.zeros(len(system.frictions)), 0.0)
    compiled.advance(system, state, chunk, np.zeros((0, out_width(system))), Extremes.fresh(system))


class _Keep:
    """What a run gathers, window by window."""

    def __init__(self, system: System, plan: Plan, record_s: float) -> None:
        self.s, self.plan, self.record_s = system, plan, record_s
        self.table = torque_table(system)
        self.out: list[Array] = []
        self.t: list[Array] = []
        self.asked: list[Array] = []
        self.commanded: list[Array] = []
        self.depositing: list[NDArray[np.bool_]] = []
        self.windows: list[WindowExtremes] = []
        self.slack = np.zeros(len({r.belt for r in system.runs}))
        self.slip = np.full(len(system.motors), -1.0)
        self.steps, self.longest = 0, 0.0

    def window(self, window: PlanWindow, state: State, dt: float, advance: Loop) -> None:
        last = window.t1 >= self.plan.duration_s - 1e-9
        edges, numbers = grid(window, dt, self.record_s)
        chunk = make_chunk(self.s, window, edges, numbers, last, self.table)
        out = np.empty((chunk.rows, out_width(self.s)))
        seen = Extremes.fresh(self.s)
        advance(self.s, state, chunk, out, seen)
        times = chunk.times[chunk.record >= 0]
        self.out.append(out)
        self.t.append(times)
        self.asked.append(window.asked(times))
        self.commanded.append(window.commanded(times))
        self.depositing.append(window.depositing(times))
        self.windows.append(WindowExtremes(window.t0, window.t1, window.resting, seen.low, seen.high))
        self.slack += seen.slack
        fresh = (self.slip < 0) & (seen.slip >= 0)
        self.slip[fresh] = seen.slip[fresh]
        self.steps += len(edges) - 1
        self.longest = max(self.longest, float(chunk.lengths.max()))

    def trace(self, ended: str, stopped: float | None, notes: list[str], wall: float) -> Trace:
        s = self.s
        out = np.concatenate(self.out) if self.out else np.zeros((0, out_width(s)))
        n, r = s.n, len(s.runs)
        q, w, tension, torque = out[:, :n], out[:, n : 2 * n], out[:, 2 * n : 2 * n + r], out[:, 2 * n + r :]
        commanded = _join(self.commanded, 3)
        tool = commanded.copy()
        moved = s.tool_at(q)
        for axis in range(3):
            if s.tool_moves[axis]:
                tool[:, axis] = moved[:, axis]
        theta = s.motor_command(commanded)
        angle = theta.copy()
        for j, motor in enumerate(s.motors):
            if motor.row is not None:
                angle[:, j] = q @ motor.row
        lag = angle - theta
        start = s.motor_command(self.plan.start)
        slips = []
        for j, motor in enumerate(s.motors):
            if motor.spec is not None and self.slip[j] >= 0 and len(lag):
                turn = 2 * np.pi / motor.spec.rotor_teeth
                lost = 4 * int(np.rint(lag[-1, j] / turn))
                if lost:
                    slips.append(Slip(motor.name, float(self.slip[j]), lost))
        belts = list(dict.fromkeys(run.belt for run in s.runs))
        return Trace(
            t_s=np.concatenate(self.t) if self.t else np.zeros(0),
            asked=_join(self.asked, 3),
            commanded=commanded,
            tool=tool,
            motor_rad=angle - start,
            motor_nm=torque,
            motor_lag_rad=lag,
            tension_n=tension,
            q=q,
            depositing=np.concatenate(self.depositing) if self.depositing else np.zeros(0, dtype=bool),
            motors=tuple(m.name for m in s.motors),
            runs=tuple((run.belt, run.name) for run in s.runs),
            dof_names=s.dof_names,
            extreme_names=extreme_names(s),
            windows=self.windows,
            slack_s={belt: float(t) for belt, t in zip(belts, self.slack, strict=True)},
            slips=slips,
            ended=ended,
            stopped_at_s=stopped,
            steps=self.steps,
            step_s=self.longest,
            wall_s=wall,
            notes=notes,
            meta={"speeds": w},
        )


def _join(parts: list[Array], width: int) -> Array:
    return np.concatenate(parts) if parts else np.zeros((0, width))
