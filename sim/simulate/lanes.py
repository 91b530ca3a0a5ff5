"""Eight machines of one topology over one motion at once, one in each lane of the processor's registers.

The block of forces is the same text as in the loop of a single machine (`array_loop`), each of its numbers eight of them;
round it stands a loop that does what `reference.advance` does for each lane. What comes out for a machine does not depend
on which others go with it, and lies within rounding of what its own loop says.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import CancelledError
from dataclasses import dataclass
from threading import Event

import numpy as np

from ..compiled import switched_off
from ..model.system import Array, System
from .array_loop import PUSHED, STAGES, WEIGHED, array_source
from .commands import TABLE_TOP_RAD_S, Chunk, Extremes, State, out_width, torque_limits, torque_table
from .feed import Feed, Seen
from .generated import HEAD
from .kernel_cache import load_kernel
from .run import ran_away

LANES = 8

LOOP = (
    '''
push = straight(PUSH, ("P", "X", "U", "C", "Y", "A", "T"), 8)
slide = straight(SLIDE, ("P", "U", "V"), 8)
place = straight(PLACE, ("P", "X", "D"), 8)
L = 8


@njit(fastmath=FAST, error_model="numpy")
def bristles(G, V, Y, Z, ZH, ZE, h, guides):
    """Level of each guide's friction, and its bristles at the middle and the end of the step."""
    for g in range(guides):
        for i in range(L):
            v = V[g * L + i]
            c = v * G[g, 3, i]
            y = G[g, 0, i] / (G[g, 1, i] + G[g, 2, i] * decay(c * c))
            Y[g * L + i] = Z[g * L + i]
            Y[(guides + g) * L + i] = y
            c = 0.5 * h * abs(v) * y
            e = decay(c)
            b = v * 0.5 * h * ((1.0 - e) / c if c > 1e-6 else 1.0 - 0.5 * c)
            ZH[g * L + i] = Z[g * L + i] * e + b
            ZE[g * L + i] = ZH[g * L + i] * e + b


@njit(fastmath=FAST, error_model="numpy")
def look(k, h, ZERO, T, D, TIME, TOOL, LO, HI, SLACK, TURNS, runs, motors, ELECTRIC):
    """Extremes, slack and turns lost at the start of a step."""
    for a in range(3):
        b, c = (a + 1) % 3, (a + 2) % 3
        for i in range(L):
            y = ZERO[a, i] + D[a * L + i]
            y += D[b * L + i] * D[(3 + c) * L + i] - D[c * L + i] * D[(3 + b) * L + i]
            if not MOVES[a]:
                y = TOOL[k, a]
            off = y - TOOL[k, a]
            LO[a * L + i] = min(LO[a * L + i], y)
            HI[a * L + i] = max(HI[a * L + i], y)
            LO[(3 + a) * L + i] = min(LO[(3 + a) * L + i], off)
            HI[(3 + a) * L + i] = max(HI[(3 + a) * L + i], off)
    for j in range(T.shape[0]):
        LO[6 * L + j] = min(LO[6 * L + j], T[j])
        HI[6 * L + j] = max(HI[6 * L + j], T[j])
    belts = SLACK.shape[0] // L
    for b in range(belts):
        for i in range(L):
            slack = False
            for r in range(runs):
                if BELT[r] == b and T[r * L + i] <= 0.0:
                    slack = True
            if slack:
                SLACK[b * L + i] += h
    for j in range(motors):
        for i in range(L):
            count_turns(TURNS, j * L + i, T[(runs + motors + j) * L + i] * ELECTRIC[j, i], TIME[k])


@njit(nogil=True, fastmath=FAST, error_model="numpy")
def advance(stages, P, Q, W, Z, TIME, H, TH, OM, AM, TOOL, REC, OUT, LO, HI, SLACK, TURNS):
    n = Q.shape[0]
    motors, guides, runs = TH.shape[2], Z.shape[0] // L, RUNS
    X, U, A, T = np.zeros(n), np.zeros(n), np.zeros(n), np.zeros((runs + 2 * motors) * L)
    SQ, SW = np.zeros(n), np.zeros(n)
    C, Y = np.zeros(3 * motors * L), np.zeros(2 * guides * L)
    ZH, ZE, V, D = np.zeros(guides * L), np.zeros(guides * L), np.zeros(guides * L), np.zeros(6 * L)
    for k in range(H.shape[0]):
        h = H[k]
        for i in range(n):
            U[i] = W[i] + 0.5 * h * A[i]
        if CARRIES:
            for j in range(motors):
                for d in range(n // L):
                    for i in range(L):
                        U[d * L + i] -= J[d, j, i] * OM[k, 1, j]
        slide(P, U, V)
        bristles(G, V, Y, Z, ZH, ZE, h, guides)
'''
    + STAGES
    + """\
            for j in range(motors):
                for i in range(L):
                    C[j * L + i] = TH[k, m, j]
                    C[(motors + j) * L + i] = OM[k, m, j]
                    C[(2 * motors + j) * L + i] = AM[k, m, j * L + i]
                if CARRIES:
                    for d in range(n // L):
                        for i in range(L):
                            U[d * L + i] -= J[d, j, i] * OM[k, m, j]
            if s == 1:
                for g in range(guides * L):
                    Y[g] = ZH[g]
            elif s == 3:
                for g in range(guides * L):
                    Y[g] = ZE[g]
"""
    + PUSHED
    + """\
                    for i in range((runs + motors) * L):
                        OUT[rec, 2 * n + i] = T[i]
"""
    + WEIGHED
    + """\
        for g in range(guides * L):
            Z[g] = ZE[g]
"""
)


@dataclass(frozen=True)
class Lane:
    """A machine ready to go with others. text: of the kernel, equal where they have one topology.  parameters: its own."""

    text: str
    parameters: Array


def lane_of(system: System) -> Lane:
    """What a model needs to go with others."""
    return Lane(*array_source(HEAD, system, LOOP, LANES)[:2])


def lanes_there() -> bool:
    """Whether anything can go eight at a time: with numba switched off it cannot."""
    return not switched_off()


def run_over_lanes(
    feed: Feed, machines: Sequence[tuple[System, Array, Lane]], given_up: Event | None = None
) -> Iterator[Seen]:
    """Up to eight models of one topology over a motion, from rest: what `feed.run_over` says of each, in their order.

    All have run when this returns; what each left is taken out of the lanes when it is asked for, as it is megabytes.
    machines: each model, its start as `run.at_rest` gives them, and its lane.  given_up: as there.
    """
    systems = [system for system, _, _ in machines]
    kernel, _ = load_kernel(machines[0][2].text)
    # Lanes nobody asked for go along with the last model: a lane takes its time whether it is used or not.
    lanes = [min(i, len(machines) - 1) for i in range(LANES)]
    parameters = _side_by_side([machines[i][2].parameters for i in lanes])
    one = systems[0]
    fresh = Extremes.fresh(one)
    channels, belts, motors = len(fresh.low), len(fresh.slack), len(one.motors)
    q, w, z = (
        _side_by_side([machines[i][1] for i in lanes]),
        np.zeros(one.n * LANES),
        np.zeros(len(one.frictions) * LANES),
    )
    low = np.full((feed.count, channels * LANES), np.inf)
    high = np.full((feed.count, channels * LANES), -np.inf)
    slack, turns = np.zeros(belts * LANES), np.repeat(fresh.turns, LANES, axis=0)
    out = np.empty((len(feed.t), out_width(one) * LANES))
    stopped: list[float | None] = [None] * LANES
    row = 0
    for k, (chunk, limit) in enumerate(_chunks(feed, [systems[i] for i in lanes])):
        if given_up is not None and given_up.is_set():
            raise CancelledError
        kernel(
            4, parameters, q, w, z, chunk.times, chunk.lengths, chunk.theta, chunk.omega, limit, chunk.tool, chunk.record,
            out[row : row + chunk.rows], low[k], high[k], slack, turns,
        )  # fmt: skip
        row += chunk.rows
        for i in range(LANES):
            state = State(q.reshape(-1, LANES)[:, i], w, z, float(chunk.times[-1]))
            if stopped[i] is None and ran_away(state):
                stopped[i] = state.t
                low.reshape(feed.count, -1, LANES)[k + 1 :, :, i] = np.inf
        if all(t is not None for t in stopped):
            break

    def own(values: Array, i: int) -> Array:
        return np.ascontiguousarray(values.reshape(*values.shape[:-1], -1, LANES)[..., i])

    return (
        Seen(
            own(low, i), own(high, i), own(slack, i), turns.reshape(motors, LANES, -1)[:, i].copy(), feed.t,
            feed.commanded, own(out, i), stopped[i],
        )
        for i in range(len(machines))
    )  # fmt: skip


def _side_by_side(values: Sequence[Array]) -> Array:
    """The same numbers of eight machines, (k,) each, as (8 k,): those of one kind beside each other."""
    return np.ascontiguousarray(np.stack(values, axis=-1).ravel())


def _chunks(feed: Feed, systems: Sequence[System]) -> Iterable[tuple[Chunk, Array]]:
    """What the loop is fed, stretch by stretch, and the torque limits of every lane, (k, 3, 8 m)."""
    specs = [tuple(motor.spec for motor in system.motors) for system in systems]
    tables = {spec: torque_table(system) for spec, system in zip(specs, systems, strict=True)}
    for chunk in feed.chunks(feed.like):
        found = {spec: torque_limits(chunk.omega, table, TABLE_TOP_RAD_S) for spec, table in tables.items()}
        limit = np.stack([found[spec] for spec in specs], axis=-1)
        yield chunk, np.ascontiguousarray(limit.reshape(*limit.shape[:2], -1))
