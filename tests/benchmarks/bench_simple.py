"""How fast detail `simple` runs, how exact it is, and how that stands beside general-purpose tools, all in one run.

    python -m tests.benchmarks.bench_simple          from the repository's folder; needs PyPI mujoco and scikit-sundae

The machine is the shipped desk-corexy: six coordinates, a square of 60 mm with a full stop at each corner. Times are
processor seconds of one thread, best of several: on a shared computer absolute figures vary, ratios much less.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
from beltspring.sim.model.system import System
from beltspring.sim.plan.build import MotionPlan
from beltspring.sim.simulate import reference
from beltspring.sim.simulate.commands import Chunk, Extremes, State, make_chunk, out_width, torque_table
from beltspring.sim.simulate.generated import GeneratedLoop
from beltspring.sim.simulate.run import Loop, run
from beltspring.sim.simulate.steps import grid, longest_step
from mujoco import MjData, mj_getState, mj_stateSize, mjtState, rollout
from numba import carray, njit

from tests.benchmarks.bench_full import doubles
from tests.benchmarks.cvode import ADAMS, BDF, Cvode
from tests.equations import Equations
from tests.mujoco_corexy import MASSLESS, peer_of
from tests.support import (
    Array,
    EvenMotion,
    linear,
    model_of,
    plan_of,
    square_points,
    textbook,
    trapezoids,
    without_friction,
)

NAME = "desk-corexy"
STOPS: dict[str, Any] = {"motion.corner_speed_step_mm_s": 0}


def seconds(work: Callable[[], object], least_s: float = 0.5) -> float:
    """Best processor time of a call, s: as often as fits into `least_s`, three times at least."""
    best, spent, count = np.inf, 0.0, 0
    while spent < least_s or count < 3:
        began = time.thread_time()
        work()
        took = time.thread_time() - began
        best, spent, count = min(best, took), spent + took, count + 1
    return best


def show(what: str, *values: str) -> None:
    print(f"{what:<84}" + "".join(f"{v:>15}" for v in values), flush=True)


def motion_of(scenario: Any, middle: Array) -> list[EvenMotion]:
    """The scenario's square as textbook trapezoids."""
    file = scenario.file
    return trapezoids(
        square_points(middle, (file.move.size_mm or 60) / 1e3),
        file.motion.speed_mm_s / 1e3,
        file.motion.acceleration_mm_s2 / 1e3,
        file.move.settle_ms / 1e3,
    )


def chunks_of(system: System, plan: MotionPlan, dt_s: float) -> list[Chunk]:
    """What the loops are fed, stretch by stretch."""
    table = torque_table(system)
    stretches = list(plan.stretches(4.0))
    return [make_chunk(system, w, *grid(w, dt_s, 1e-3), last=w is stretches[-1], table=table) for w in stretches]


def by_loop(system: System, plan: MotionPlan, chunks: list[Chunk], advance: Loop) -> Array:
    """Tool (rows, 2), m, by a step loop fed beforehand: the loop alone."""
    state = State(system.rest(plan.start), np.zeros(system.n), np.zeros(len(system.frictions)), 0.0)
    parts = []
    for chunk in chunks:
        out = np.empty((chunk.rows, out_width(system)))
        advance(system, state, chunk, out, Extremes.fresh(system))
        parts.append(out[:, : system.n])
    return np.asarray(system.middle[:2] + np.concatenate(parts) @ system.tool_rows[:2].T)


class ByCvode:
    """The same move by CVODE, friction off, with a right side that numba compiled for this one machine."""

    def __init__(self, system: System, motion: list[EvenMotion], times: Array) -> None:
        self.system, self.motion, self.times = system, motion, times
        n, m, r = system.n, len(system.motors), len(system.runs)
        e = Equations(system)
        self.command = np.zeros((4, m))  # angle, speed and acceleration at the start of a stretch; its start
        at = self.command.ctypes.data
        inverse, frame, drag = e.inverse, system.stiffness, system.damping
        rows, reach, free, ea, taut, lag = e.rows, e.reach, e.free, e.ea, e.taut, e.lag
        turns, teeth, pull, rub = e.turns, e.teeth.astype(float), e.pull, e.drag
        detent, winding = e.detent, e.winding

        # Arrays taken from outside are constants to numba: sizes and numbers are known to the compiler.
        @njit(fastmath={"contract", "nsz", "arcp", "reassoc"}, error_model="numpy")
        def rate(t, y, out):  # type: ignore[no-untyped-def]
            c = carray(doubles(at), (4, m))
            d = t - c[3, 0]
            force = np.zeros(n)
            for i in range(n):
                out[i] = y[n + i]
                for j in range(n):
                    force[i] -= frame[i, j] * y[j] + drag[i, j] * y[n + j]
            for k in range(r):
                x = v = grown = 0.0
                for i in range(n):
                    x += rows[k, i] * y[i]
                    v += rows[k, i] * y[n + i]
                    grown += reach[k, i] * y[i]
                length = free[k] + grown
                tension = max(0.0, taut[k] + ea[k] * (x + lag[k] * v) / length)
                strain = max(x / length, -taut[k] / ea[k])
                for i in range(n):
                    force[i] += reach[k, i] * (0.5 * ea[k] * strain * strain) - rows[k, i] * tension
            for j in range(m):
                lead = -(c[0, j] + d * (c[1, j] + 0.5 * d * c[2, j]))
                slip = -(c[1, j] + d * c[2, j])
                for i in range(n):
                    lead += turns[j, i] * y[i]
                    slip += turns[j, i] * y[n + i]
                turn = 0.0
                for i in range(n):
                    turn += turns[j, i] * y[i]
                torque = -pull[j] * np.sin(teeth[j] * lead) - detent[j] * np.sin(4.0 * teeth[j] * turn)
                torque -= rub[j] * slip * max(0.0, np.cos(teeth[j] * lead)) / (1.0 + (slip * winding[j]) ** 2)
                for i in range(n):
                    force[i] += turns[j, i] * torque
            for i in range(n):
                a = 0.0
                for j in range(n):
                    a += inverse[i, j] * force[j]
                out[n + i] = a

        self.rate = rate

    def solver(self, rtol: float, method: int) -> Callable[[], Array]:
        """A call that makes the whole move: tool (rows, 2), m."""
        s, n = self.system, self.system.n
        y = np.zeros(2 * n)
        peer = Cvode(self.rate, y, rtol, rtol * 1e-4, method)

        def go() -> Array:
            y[:] = 0.0
            y[:n] = s.rest(self.motion[0].p)
            out = np.empty((len(self.times), 2))
            row = 0
            for move in self.motion:
                self.command[0] = s.motor_travel @ (move.p - s.middle)
                self.command[1], self.command[2] = s.motor_travel @ move.v, s.motor_travel @ move.a
                self.command[3] = move.t0
                peer.restart(move.t0, move.t1)
                while row < len(self.times) and self.times[row] <= move.t1 + 1e-9:
                    if self.times[row] > move.t0 + 1e-12:
                        peer.go(min(self.times[row], move.t1))
                    out[row] = s.middle[:2] + s.tool_rows[:2] @ y[:n]
                    row += 1
                if row == 0 or self.times[row - 1] < move.t1 - 1e-12:
                    peer.go(move.t1)
            return out

        return go


def loops() -> None:
    """Our own loops: speed, and error against scipy's DOP853 at 1e-10 (with friction 1e-9)."""
    show("", "x real time", "ns a step", "tool error")
    for words, changes in (("as shipped, guide friction on", {}), ("guide friction off", without_friction("corexy"))):
        scenario = textbook(NAME, STOPS | changes)
        system = model_of(scenario)
        plan = plan_of(scenario, system)
        chunks = chunks_of(system, plan, longest_step(system, 1e-3))
        steps = sum(len(c.lengths) - 1 for c in chunks)
        loop = GeneratedLoop(system)
        tool = by_loop(system, plan, chunks, loop.advance)
        e = Equations(system)
        exact = e.tool(
            e.solve(
                motion_of(scenario, system.middle), 1e-3 * np.arange(len(tool)), 1e-9 if system.frictions else 1e-10
            )
        )[:, :2]
        error = f"{1e9 * np.abs(tool - exact).max():.1f} nm"
        for name, work in (
            ("generated loop", lambda s=system, p=plan, c=chunks, g=loop: by_loop(s, p, c, g.advance)),
            ("whole run(): plan sampled, fed, stepped, kept", lambda s=system, p=plan: run(s, p)),
        ):
            t = seconds(work)
            show(f"{name}, {words}", f"{plan.duration_s / t:.0f}", f"{1e9 * t / steps:.0f}", error)
    short = chunks[:2]
    t = seconds(lambda: by_loop(system, plan, short, reference.advance), 0.1)
    span = sum(float(c.lengths.sum()) for c in short)
    count = sum(len(c.lengths) - 1 for c in short)
    show("readable loop, guide friction off", f"{span / t:.1f}", f"{1e9 * t / count:.0f}", error)


def solvers() -> None:
    """General-purpose integrators on the same nonlinear equations, friction off."""
    scenario = textbook(NAME, STOPS | without_friction("corexy"))
    system = model_of(scenario)
    plan = plan_of(scenario, system)
    chunks = chunks_of(system, plan, longest_step(system, 1e-3))
    loop = GeneratedLoop(system)
    tool = by_loop(system, plan, chunks, loop.advance)
    ours = seconds(lambda: by_loop(system, plan, chunks, loop.advance))
    motion = motion_of(scenario, system.middle)
    times = 1e-3 * np.arange(len(tool))
    e = Equations(system)
    exact = e.tool(e.solve(motion, times, 1e-10))[:, :2]
    show("\nsolver, output every millisecond", "ms", "tool error", "ours faster by")
    show("beltspring, generated loop", f"{1e3 * ours:.2f}", f"{1e9 * np.abs(tool - exact).max():.1f} nm", "1")
    peer = ByCvode(system, motion, times)
    for name, method in (("Adams", ADAMS), ("BDF", BDF)):
        # The loosest tolerance that keeps the tool within 0.1 um, as the loop is asked to.
        for rtol in 10.0 ** -np.arange(3, 11):
            go = peer.solver(float(rtol), method)
            error = float(np.abs(go() - exact).max())
            if error <= 0.1e-6:
                break
        t = seconds(go)
        show(
            f"CVODE {name}, compiled right side, rtol {rtol:.0e}",
            f"{1e3 * t:.2f}", f"{1e9 * error:.1f} nm", f"{t / ours:.0f}",
        )  # fmt: skip
    for rtol in (1e-6, 1e-7, 1e-8):
        found = e.tool(e.solve(motion, times, rtol))[:, :2]
        error = float(np.abs(found - exact).max())
        if error <= 0.1e-6:
            break
    t = seconds(lambda: e.solve(motion, times, rtol), 0.0)
    show(
        f"scipy DOP853, numpy right side, rtol {rtol:.0e}", f"{1e3 * t:.0f}", f"{1e9 * error:.1f} nm", f"{t / ours:.0f}"
    )


def multibody() -> None:
    """MuJoCo on the linear machine, each at the longest step that keeps the tool within 0.1 um."""
    scenario = textbook(NAME, STOPS | MASSLESS)
    real = model_of(scenario)
    system = linear(real)
    plan = plan_of(scenario, system)
    motion = motion_of(scenario, system.middle)
    chunks = chunks_of(system, plan, longest_step(system, 1e-3))
    loop = GeneratedLoop(system)
    tool = by_loop(system, plan, chunks, loop.advance)
    ours = seconds(lambda: by_loop(system, plan, chunks, loop.advance))
    times = 1e-3 * np.arange(len(tool))
    e = Equations(system)
    exact = e.tool(e.solve(motion, times, 1e-10))[:, :2]
    show("\nlinear machine", "ms", "tool error", "ours faster by")
    show("beltspring, generated loop", f"{1e3 * ours:.2f}", f"{1e9 * np.abs(tool - exact).max():.1f} nm", "1")
    ends = np.array([move.t1 for move in motion])
    # The servos hold their command through a step; the value at its middle makes that second order.
    for parts in (4, 8, 16, 32, 64):
        step = 1e-3 / parts
        peer = peer_of(real, step)
        count = parts * (len(times) - 1)
        middles = step * (np.arange(count) + 0.5)
        which = np.minimum(np.searchsorted(ends, middles), len(motion) - 1)
        told = np.array([peer.command(motion[w], t) for w, t in zip(which, middles, strict=True)])[None]
        data = peer.start(motion[0].p)
        kind = mjtState.mjSTATE_FULLPHYSICS
        start = np.empty((1, mj_stateSize(peer.model, kind)))
        mj_getState(peer.model, data, start[0], kind)
        room = np.empty((1, count, start.shape[1]))

        def go(peer=peer, start=start, told=told, room=room) -> Array:  # type: ignore[no-untyped-def]
            state, _ = rollout.rollout(peer.model, MjData(peer.model), start, told, state=room, skip_checks=False)
            return np.asarray(peer.tool(state[0][:, 1 : 1 + peer.model.nq]))

        error = float(np.abs(go()[parts - 1 :: parts] + system.middle[:2] - exact[1:]).max())
        if error <= 0.1e-6:
            break
    t = seconds(go)
    show(f"mujoco, RK4, {1e6 * step:.1f} us a step", f"{1e3 * t:.2f}", f"{1e9 * error:.1f} nm", f"{t / ours:.0f}")


def main() -> None:
    """Print the table."""
    loops()
    solvers()
    multibody()


if __name__ == "__main__":
    main()
