"""Eight machines of one topology over one motion at once, one in each lane of the processor's registers.

The block of forces is the same text as in the loop of a single machine (`array_loop`), each of its numbers eight of them;
round it stands a loop that does what `reference.advance` does for each lane. What comes out for a machine does not depend
on which others go with it, and lies within rounding of what its own loop says.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import CancelledError
from dataclasses import dataclass
from threading import Event

import numpy as np

from ..compiled import switched_off
from ..model.system import Array, System
from .array_loop import array_source
from .both_loops import PUSHED
from .commands import TABLE_TOP_RAD_S, Chunk, Extremes, State, out_width, torque_limits, torque_table
from .feed import Feed, Seen
from .kernel_cache import beginning_a_line, load_kernel
from .run import ran_away
from .series import HEAD

LANES = 8

LOOP = (
    '''
push, slide, place = straight(PUSH, ("P",), ROOM, L), straight(SLIDE, ("P",), ROOM, L), straight(PLACE, ("P",), ROOM, L)
tell = straight(TELL, ("P", "OUT"), ROOM, L)


@njit(fastmath=FAST, error_model="numpy")
def turned(P, by, n, there, X):
    """To P from `there` on M . X of every lane; M (n, n, L) stands in P from `by` on."""
    for d in range(n):
        for i in range(L):
            P[there + d * L + i] = 0.0
        for e in range(n):
            for i in range(L):
                P[there + d * L + i] += P[by + (d * n + e) * L + i] * X[e * L + i]


@njit(fastmath=FAST, error_model="numpy")
def look(P, k, h, TIME, TOOL, LO, HI, SLACK, TURNS):
    """Extremes, slack and turns lost at the start of a step."""
    for a in range(3):
        b, c = AT_D + (a + 1) % 3 * L, AT_D + (a + 2) % 3 * L
        for i in range(L):
            y = P[AT_ZERO + a * L + i] + P[AT_D + a * L + i]
            y += P[b + i] * P[c + 3 * L + i] - P[c + i] * P[b + 3 * L + i]
            if not MOVES[a]:
                y = TOOL[k, a]
            off = y - TOOL[k, a]
            LO[a * L + i] = min(LO[a * L + i], y)
            HI[a * L + i] = max(HI[a * L + i], y)
            LO[(3 + a) * L + i] = min(LO[(3 + a) * L + i], off)
            HI[(3 + a) * L + i] = max(HI[(3 + a) * L + i], off)
    for j in range((RUNS + 2 * MOTORS) * L):
        LO[6 * L + j] = min(LO[6 * L + j], P[AT_T + j])
        HI[6 * L + j] = max(HI[6 * L + j], P[AT_T + j])
    for b in range(SLACK.shape[0] // L):
        for i in range(L):
            slack = False
            for r in range(RUNS):
                if BELT[r] == b and P[AT_T + r * L + i] <= 0.0:
                    slack = True
            if slack:
                SLACK[b * L + i] += h
    for j in range(MOTORS):
        for i in range(L):
            lag = P[AT_T + (RUNS + MOTORS + j) * L + i]
            count_turns(TURNS, j * L + i, lag * P[AT_ELECTRIC + j * L + i], TIME[k])


@njit(nogil=True, fastmath=FAST, error_model="numpy")
def advance(stages, P, Q, W, Z, TIME, H, TH, OM, AM, TOOL, REC, OUT, LO, HI, SLACK, TURNS):
    n = Q.shape[0]
    turned(P, AT_OWN, n // L, AT_QY, Q)
    turned(P, AT_OWN, n // L, AT_WY, W)
    for g in range(GUIDES * L):
        P[AT_Z + g] = Z[g]
    for k in range(H.shape[0]):
        h = H[k]
        for i in range(n):
            P[AT_U + i] = P[AT_WY + i] + 0.5 * h * P[AT_A + i]
        if CARRIES:
            for d in range(n // L):
                for j in range(MOTORS):
                    for i in range(L):
                        P[AT_U + d * L + i] -= P[AT_J + (d * MOTORS + j) * L + i] * OM[k, 1, j]
        slide(P)
        foresee_bristles(P, h)
        for i in range(n):
            P[AT_X + i] = P[AT_QY + i]
            P[AT_U + i] = P[AT_WY + i]
            P[AT_SQ + i] = 0.0
            P[AT_SW + i] = 0.0
        for s in range(stages):
            m = 0 if s == 0 else (2 if s == 3 else 1)
            for j in range(MOTORS):
                for i in range(L):
                    P[AT_C + j * L + i] = TH[k, m, j]
                    P[AT_C + (MOTORS + j) * L + i] = OM[k, m, j]
                    P[AT_C + (2 * MOTORS + j) * L + i] = AM[k, m, j * L + i]
            if CARRIES:
                for d in range(n // L):
                    for j in range(MOTORS):
                        for i in range(L):
                            P[AT_U + d * L + i] -= P[AT_J + (d * MOTORS + j) * L + i] * OM[k, m, j]
'''
    + PUSHED
    + """\
                    for i in range((RUNS + MOTORS) * L):
                        OUT[REC[k], 2 * n + i] = P[AT_T + i]
            weight = 0.16666666666666666 if (s == 0 or s == 3) else 0.3333333333333333
            at = h if s == 2 else 0.5 * h
            for i in range(n):
                P[AT_SQ + i] += weight * P[AT_U + i]
                P[AT_SW + i] += weight * P[AT_A + i]
                P[AT_X + i] = P[AT_QY + i] + at * P[AT_U + i]
                P[AT_U + i] = P[AT_WY + i] + at * P[AT_A + i]
            bristles(P, s)
        for i in range(n):
            P[AT_QY + i] += h * P[AT_SQ + i]
            P[AT_WY + i] += h * P[AT_SW + i]
    turned(P, AT_BACK, n // L, AT_X, P[AT_QY : AT_QY + n])
    turned(P, AT_BACK, n // L, AT_U, P[AT_WY : AT_WY + n])
    for i in range(n):
        Q[i], W[i] = P[AT_X + i], P[AT_U + i]
    for g in range(GUIDES * L):
        Z[g] = P[AT_Z + g]
"""
)


@dataclass(frozen=True)
class Lane:
    """A machine ready to go with others. text: of the kernel, equal where they have one topology.  parameters: its own."""

    text: str
    parameters: Array


def lane_of(system: System) -> Lane:
    """What a model needs to go with others."""
    text, parameters = array_source(HEAD, system, LOOP, LANES)[:2]
    # One text for all models that have it: a hundred machines of one design would hold it a hundred times.
    return Lane(sys.intern(text), parameters)


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
    last: dict[int, int] = {}
    row = 0
    for k, (chunk, limit) in enumerate(_chunks(feed, [systems[i] for i in lanes])):
        if given_up is not None and given_up.is_set():
            raise CancelledError
        kernel(
            4, beginning_a_line(parameters), q, w, z,
            chunk.times, chunk.lengths, chunk.theta, chunk.omega, limit, chunk.tool, chunk.record,
            out[row : row + chunk.rows], low[k], high[k], slack, turns,
        )  # fmt: skip
        row += chunk.rows
        for i in range(LANES):
            state = State(q.reshape(-1, LANES)[:, i], w, z, float(chunk.times[-1]))
            if stopped[i] is None and ran_away(state):
                stopped[i], last[i] = state.t, k
        if all(t is not None for t in stopped):
            break
    for i, k in last.items():
        # Such a lane goes on with the others; what is in it means nothing.
        for seen, nothing in ((low, np.inf), (high, -np.inf)):
            seen.reshape(feed.count, -1, LANES)[k + 1 :, :, i] = nothing

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
