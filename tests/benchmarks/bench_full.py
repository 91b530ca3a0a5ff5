"""How fast full detail runs, how exact it is, and how that stands beside general-purpose tools, all in one run.

    python -m tests.benchmarks.bench_full            from the repository's folder; needs PyPI mujoco, scikit-sundae

The machine is the shipped desk-corexy-slot: 26 coordinates, a square of 60 mm with a full stop at each corner. Times are
processor times of one thread, best of several, all in one run; on a shared computer they still vary, ratios much less.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from beltspring.sim.machine.build import machine_of as from_design
from beltspring.sim.machine.machine import Machine
from beltspring.sim.model.build import build_model
from beltspring.sim.model.facts import run_facts
from beltspring.sim.model.statics import equilibrium
from beltspring.sim.model.system import System
from beltspring.sim.simulate.commands import Chunk, Extremes, State, make_chunk, out_width, torque_table
from beltspring.sim.simulate.generated import GeneratedLoop, source
from beltspring.sim.simulate.kernel_cache import beginning_a_line
from beltspring.sim.simulate.relative import relative
from beltspring.sim.simulate.run import run
from beltspring.sim.simulate.steps import grid, longest_step
from numba import carray, njit, types
from numba.extending import intrinsic
from numpy.typing import NDArray

from tests.benchmarks.cvode import ADAMS, BDF, Cvode
from tests.benchmarks.sparse_loop import accelerate, advance, lists_of
from tests.benchmarks.timing import seconds
from tests.full.machines import desk
from tests.outside.test_full_mujoco import world
from tests.support import EvenMotion, machine_of, model_of, plan_of, shipped, square_points, trapezoids

Array = NDArray[np.float64]
NAME = "desk-corexy-slot"
STOPS: dict[str, Any] = {"motion.corner_speed_step_mm_s": 0, "motors.supply_v": 48}
SMOOTH: dict[str, Any] = {f"{part}.friction_n": 0 for part in ("carriage", "gantry", "bed")}


def show(what: str, value: str, reach: str = "") -> None:
    print(f"{what:<62}{value:>16}   {reach}", flush=True)


def chunks_of(system: System, plan: Any, dt_s: float) -> list[Chunk]:
    """What the loops are fed, stretch by stretch."""
    table = torque_table(system)
    stretches = list(plan.stretches(1.0))
    return [
        make_chunk(system, w, *grid(w, dt_s, 1e-3), last=w is stretches[-1], table=table)  # records every millisecond
        for w in stretches
    ]


def ours(system: System, loop: GeneratedLoop, chunks: list[Chunk], start: Array) -> Array:
    """q at every millisecond, (rows, n)."""
    state, parts = State(start.copy(), np.zeros(system.n), np.zeros(len(system.frictions)), 0.0), []
    for chunk in chunks:
        out = np.empty((chunk.rows, out_width(system)))
        loop.advance(system, state, chunk, out, Extremes.fresh(system))
        parts.append(out[:, : system.n])
    return np.concatenate(parts)


def generic(system: System, lists: Any, chunks: list[Chunk], start: Array) -> Array:
    """The same by the sparse loop."""
    q, w, parts = start.copy(), np.zeros(system.n), []
    for c in chunks:
        out = np.empty((c.rows, system.n))
        advance(*lists, q, w, c.lengths, c.theta, c.omega, c.limit, c.record, out)
        parts.append(out)
    return np.concatenate(parts)


@intrinsic
def doubles(typing_context, address):  # type: ignore[no-untyped-def]
    """A pointer to doubles at an address: numba takes arrays from outside as constants, and these change."""

    def generate(context, builder, signature, arguments):  # type: ignore[no-untyped-def]
        return builder.inttoptr(arguments[0], context.get_value_type(signature.return_type))

    return types.CPointer(types.float64)(types.int64), generate


class ByCvode:
    """The whole move by CVODE, friction off. printed: the right side is the block of the generated loop instead of the
    sparse lists, so that only the way of stepping differs."""

    def __init__(self, system: System, motion: list[EvenMotion], start: Array, printed: bool) -> None:
        self.system, self.motion, self.start = system, motion, start
        n, m, r = system.n, len(system.motors), len(system.runs)
        lists = lists_of(system)
        high = max(len(lists[0]) - 1, n)
        self.began, self.command, self.room = np.zeros(1), np.zeros((4, m)), np.zeros((6, high))
        self.command[3] = [motor.limit_nm for motor in system.motors]  # the move stays below the voltage limit
        b_at, c_at, r_at = (x.ctypes.data for x in (self.began, self.command, self.room))
        # The block works in coordinates of its own: so does CVODE then.
        own = relative(system)
        self.own, self.back = (own.own, own.back) if printed else (np.eye(n), np.eye(n))
        if printed:
            text, parameters = source(system)
            space: dict[str, Any] = {}
            exec(compile(text, "<kernel>", "exec"), space)
            push, at_x, at_u, at_a, at_c = (space[name] for name in ("push", "AT_X", "AT_U", "AT_A", "AT_C"))
            self.parameters = beginning_a_line(parameters)
            p_at, p_size = self.parameters.ctypes.data, len(parameters)

        @njit
        def by_lists(t, y, out):  # type: ignore[no-untyped-def]
            c, room = carray(doubles(c_at), (4, m)), carray(doubles(r_at), (6, high))
            d = t - carray(doubles(b_at), 1)[0]
            th, om = c[0] + d * (c[1] + 0.5 * d * c[2]), c[1] + d * c[2]
            accelerate(
                *lists,
                y[:n],
                y[n:],
                th,
                om,
                c[3],
                room[3, :n],
                room[4, :n],
                room[:3, : len(lists[0]) - 1],
            )
            out[:n] = y[n:]
            out[n:] = room[3, :n]

        @njit(fastmath={"contract", "nsz", "arcp", "reassoc"}, error_model="numpy")
        def by_block(t, y, out):  # type: ignore[no-untyped-def]
            c = carray(doubles(c_at), (4, m))
            d = t - carray(doubles(b_at), 1)[0]
            p = carray(doubles(p_at), p_size)
            for j in range(m):
                p[at_c + j] = c[0, j] + d * (c[1, j] + 0.5 * d * c[2, j])
                p[at_c + m + j] = c[1, j] + d * c[2, j]
                p[at_c + 2 * m + j] = c[3, j]
            for i in range(n):
                p[at_x + i] = y[i]
                p[at_u + i] = out[i] = y[n + i]
            push(p)
            for i in range(n):
                out[n + i] = p[at_a + i]

        self.rate = by_block if printed else by_lists
        assert 3 * m <= high
        assert r + 2 * m <= high

    def solver(self, rtol: float, method: int) -> Callable[[], Array]:
        """A function that gives q at every millisecond, (rows, n)."""
        n, s = self.system.n, self.system
        y = np.concatenate([self.own @ self.start, np.zeros(n)])
        cvode = Cvode(self.rate, y, rtol, rtol * 1e-3, method)

        def go() -> Array:
            y[:] = np.concatenate([self.own @ self.start, np.zeros(n)])
            rows, k = [y[:n].copy()], 1
            for move in self.motion:
                self.command[0] = s.motor_travel @ (move.p - s.middle)
                self.command[1], self.command[2] = s.motor_travel @ move.v, s.motor_travel @ move.a
                self.began[0] = move.t0
                cvode.restart(move.t0, move.t1)
                while k * 1e-3 <= move.t1 - 1e-9:
                    cvode.go(k * 1e-3)
                    rows.append(y[:n].copy())
                    k += 1
                cvode.go(move.t1)
                if abs(k * 1e-3 - move.t1) < 1e-9:
                    rows.append(y[:n].copy())
                    k += 1
            return np.array(rows) @ self.back.T

        return go


def tool_error(system: System, one: Array, other: Array) -> float:
    """Largest distance of the tool between two runs, m."""
    rows = min(len(one), len(other))
    return float(np.abs(system.tool_at(one[:rows]) - system.tool_at(other[:rows])).max())


def main() -> None:
    print(f"{NAME}, full detail; processor times of one thread, best of several, on a shared computer")
    scenario = shipped(NAME, STOPS | SMOOTH)
    system = model_of(scenario)
    plan = plan_of(scenario, system)
    file = scenario.file
    motion = trapezoids(
        square_points(system.middle, (file.move.size_mm or 0) / 1e3), file.motion.speed_mm_s / 1e3,
        file.motion.acceleration_mm_s2 / 1e3, file.move.settle_ms / 1e3,
    )  # fmt: skip
    start = equilibrium(system, plan.start)
    dt = longest_step(system, 1e-3)
    loop, lists, chunks = GeneratedLoop(system), lists_of(system), chunks_of(system, plan, dt)
    show("coordinates, step, motion", f"{system.n}, {dt * 1e6:.0f} us, {plan.duration_s:.2f} s")

    mine = ours(system, loop, chunks, start)
    lists_rate, block_rate = (ByCvode(system, motion, start, printed) for printed in (False, True))
    exact = lists_rate.solver(1e-12, ADAMS)()
    show("tool error of the generated loop, against CVODE at 1e-12", f"{tool_error(system, mine, exact) * 1e9:.2f} nm",
         "<= 30 nm")  # fmt: skip
    sparse = generic(system, lists, chunks, start)
    show("generated and sparse loop apart", f"{tool_error(system, mine, sparse) * 1e9:.1e} nm")

    own = seconds(lambda: ours(system, loop, chunks, start), 15)
    peer = seconds(lambda: generic(system, lists, chunks, start))
    steps = sum(len(c.lengths) for c in chunks)
    whole = seconds(lambda: run(system, plan), 15)
    before = seconds(lambda: (equilibrium(system, plan.start), longest_step(system, 1e-3), GeneratedLoop(system)), 15)
    show("generated loop", f"{own / steps * 1e9:.0f} ns/step", f"{plan.duration_s / own:.0f} x real time")
    show("run(): sampling of the plan and records included", f"{plan.duration_s / (whole - before):.0f} x",
         ">= 150 x real time")  # fmt: skip
    show("  and before its first step", f"{before * 1e3:.1f} ms", "equilibrium, step rule, printing")
    show("our own generic sparse loop", f"{peer / steps * 1e9:.0f} ns/step", f"{peer / own:.1f} x slower; >= 4")
    print(
        "to be at least as exact as the generated loop, of the rows below the first below its error; wanted: >= 45 x slower"
    )
    for rate, word in ((lists_rate, "sparse lists"), (block_rate, "printed block")):
        for method, way in ((ADAMS, "Adams"), (BDF, "BDF")):
            for rtol in (1e-4, 1e-5, 1e-6, 1e-8):
                go = rate.solver(rtol, method)
                far, taken = tool_error(system, go(), exact), seconds(go, 3)
                show(f"CVODE {way} {rtol:.0e}, right side from the {word}", f"{taken * 1e3:.0f} ms",
                     f"{taken / own:.0f} x slower at {far * 1e9:.2g} nm")  # fmt: skip

    against_mujoco()


def against_mujoco() -> None:
    """Free swinging of the linear, undamped machine of the check of 26 frequencies: both by classical RK4 at one step."""
    import mujoco

    machine = bare_desk()
    full = build_model(machine)
    system = replace(
        full,
        gravity=np.zeros(full.n),
        joints=tuple(replace(j, damping=np.zeros((6, 6))) for j in full.joints),
        runs=tuple(replace(r, lag_s=0.0) for r in full.runs),
        motors=tuple(replace(m, damping_nm_s=0.0, detent_nm=0.0) for m in full.motors),
        frictions=(),
    )
    dt, steps, push = 125e-6, 8000, 1e-3  # s; a second; m/s given to the carriage along X
    assert dt <= longest_step(system, 1e-3)
    text = world(machine, {(f.belt, f.name): f.stiffness_n_m for f in run_facts(system)})
    text = text.replace('<option gravity="0 0 0">', f'<option gravity="0 0 0" integrator="RK4" timestep="{dt}">')
    model = mujoco.MjModel.from_xml_string(text)
    data = mujoco.MjData(model)
    slide = mujoco.mj_name2id(model, mujoco.mjtObj.mjOBJ_JOINT, "carriage0")
    body = model.jnt_bodyid[slide]

    def theirs() -> Array:
        mujoco.mj_resetData(model, data)
        data.qvel[model.jnt_dofadr[slide]] = push
        out = np.empty((steps // 8, 3))
        for k in range(len(out)):
            mujoco.mj_step(model, data, nstep=8)
            out[k] = data.xipos[body]
        return out

    loop, m = GeneratedLoop(system), len(system.motors)
    limit = np.broadcast_to(np.array([x.limit_nm for x in system.motors]), (steps + 1, 3, m)).copy()
    still = np.zeros((steps + 1, 3, m))
    record = np.full(steps + 1, -1, dtype=np.int64)
    record[8::8] = np.arange(steps // 8)
    chunk = Chunk(np.arange(steps + 1) * dt, np.append(np.full(steps, dt), 0.0), still, still, limit,
                  np.zeros((steps + 1, 3)), record, steps // 8)  # fmt: skip
    x = system.dof_names.index("carriage x")

    def mine() -> Array:
        state = State(np.zeros(system.n), np.zeros(system.n), np.zeros(0), 0.0)
        state.w[x] = push
        out = np.empty((chunk.rows, out_width(system)))
        loop.advance(system, state, chunk, out, Extremes.fresh(system))
        return out[:, x : x + 3]

    centre = np.array(machine.body("carriage").centre)
    swing, apart = np.abs(mine()).max(), np.abs(mine() - (theirs() - centre)).max()
    own, other = seconds(mine, 15), seconds(theirs, 5)
    show("free swinging, apart from MuJoCo's", f"{apart * 1e9:.2g} nm", f"of {swing * 1e6:.2g} um")
    show("MuJoCo, RK4 at the same step", f"{other / steps * 1e6:.1f} us/step", f"{other / own:.0f} x slower; >= 45 x")


def bare_desk() -> Machine:
    """The machine of the check of 26 frequencies: belts, idlers and rods without mass."""
    design = machine_of(desk("corexy", {"belts.mass_g_m": 0, "idlers.inertia_g_mm2": 0, "motors.detent_nm": 0})).design
    light = {
        name: replace(table, guide=replace(table.guide, line_mass_kg_m=0.0))
        for name, table in (("carriage", design.carriage), ("gantry", design.gantry))
    }
    return from_design(replace(design, **light))  # type: ignore[arg-type]


if __name__ == "__main__":
    main()
