"""The fast loop of a large model: its state in arrays, its forces as one printed block of straight arithmetic.

The loop itself is the same text for every machine; only the block (`emit.py`) and the sizes differ. It does what
`reference.advance` does, in the same order.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ..model.system import Array, System
from .commands import belt_index
from .print_forces import Names, print_forces, print_slides
from .printer import LANES, Printer, total

#: What the loops of one machine and of eight (`lanes.py`) share to the letter: how a step's stages begin, each stage's
#: forces and what is seen at the first, how the stages are weighed.
STAGES = """\
        for i in range(n):
            X[i] = Q[i]
            U[i] = W[i]
            SQ[i] = 0.0
            SW[i] = 0.0
        for s in range(stages):
            m = 0 if s == 0 else (2 if s == 3 else 1)
"""
PUSHED = """\
            push(P, X, U, C, Y, A, T)
            if s == 0:
                place(P, X, D)
                look(k, h, ZERO, T, D, TIME, TOOL, LO, HI, SLACK, TURNS, runs, motors, ELECTRIC)
                if REC[k] >= 0:
                    rec = REC[k]
                    for i in range(n):
                        OUT[rec, i] = X[i]
                        OUT[rec, n + i] = W[i]
"""
WEIGHED = """\
            weight = 0.16666666666666666 if (s == 0 or s == 3) else 0.3333333333333333
            at = h if s == 2 else 0.5 * h
            for i in range(n):
                SQ[i] += weight * U[i]
                SW[i] += weight * A[i]
                X[i] = Q[i] + at * U[i]
                U[i] = W[i] + at * A[i]
        for i in range(n):
            Q[i] += h * SQ[i]
            W[i] += h * SW[i]
"""

LOOP = (
    '''
push = straight(PUSH, ("P", "X", "U", "C", "Y", "A", "T"))
slide = straight(SLIDE, ("P", "U", "V"))
place = straight(PLACE, ("P", "X", "D"))


@njit(fastmath=FAST, error_model="numpy")
def level(G, g, v):
    """sigma0 / friction at speed v of guide g; G[g]: sigma0, coulomb, static - coulomb, 1 / stribeck."""
    c = v * G[g, 3]
    return G[g, 0] / (G[g, 1] + G[g, 2] * decay(c * c))


@njit(fastmath=FAST, error_model="numpy")
def look(k, h, tool, T, D, TIME, TOOL, LO, HI, SLACK, TURNS, runs, motors, ELECTRIC):
    """Extremes, slack and turns lost at the start of a step."""
    for a in range(3):
        b, c = (a + 1) % 3, (a + 2) % 3
        y = tool[a] + D[a] + (D[b] * D[3 + c] - D[c] * D[3 + b])
        if not MOVES[a]:
            y = TOOL[k, a]
        off = y - TOOL[k, a]
        LO[a] = min(LO[a], y)
        HI[a] = max(HI[a], y)
        LO[3 + a] = min(LO[3 + a], off)
        HI[3 + a] = max(HI[3 + a], off)
    for i in range(T.shape[0]):
        LO[6 + i] = min(LO[6 + i], T[i])
        HI[6 + i] = max(HI[6 + i], T[i])
    for b in range(SLACK.shape[0]):
        slack = False
        for i in range(runs):
            if BELT[i] == b and T[i] <= 0.0:
                slack = True
        if slack:
            SLACK[b] += h
    for j in range(motors):
        count_turns(TURNS, j, T[runs + motors + j] * ELECTRIC[j], TIME[k])


@njit(nogil=True, fastmath=FAST, error_model="numpy")
def advance(stages, P, Q, W, Z, TIME, H, TH, OM, AM, TOOL, REC, OUT, LO, HI, SLACK, TURNS):
    n = Q.shape[0]
    motors, guides, runs = TH.shape[2], Z.shape[0], RUNS
    X, U, A, T = np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(runs + 2 * motors)
    SQ, SW = np.zeros(n), np.zeros(n)
    C, Y = np.zeros(3 * motors), np.zeros(2 * guides)
    ZH, ZE, V, D = np.zeros(guides), np.zeros(guides), np.zeros(guides), np.zeros(6)
    for k in range(H.shape[0]):
        h = H[k]
        # Bristles at the middle and the end of the step, from the speed foreseen for its middle with the acceleration at
        # the end of the step before.
        for i in range(n):
            U[i] = W[i] + 0.5 * h * A[i]
        if CARRIES:
            for j in range(motors):
                for i in range(n):
                    U[i] -= J[i, j] * OM[k, 1, j]
        slide(P, U, V)
        for g in range(guides):
            Y[g] = Z[g]
            Y[guides + g] = level(G, g, V[g])
            c = 0.5 * h * abs(V[g]) * Y[guides + g]
            e = decay(c)
            b = V[g] * 0.5 * h * ((1.0 - e) / c if c > 1e-6 else 1.0 - 0.5 * c)
            ZH[g] = Z[g] * e + b
            ZE[g] = ZH[g] * e + b
'''
    + STAGES
    + """\
            for j in range(motors):
                C[j] = TH[k, m, j]
                C[motors + j] = OM[k, m, j]
                C[2 * motors + j] = AM[k, m, j]
                if CARRIES:
                    for i in range(n):
                        U[i] -= J[i, j] * OM[k, m, j]
            if s == 1:
                for g in range(guides):
                    Y[g] = ZH[g]
            elif s == 3:
                for g in range(guides):
                    Y[g] = ZE[g]
"""
    + PUSHED
    + """\
                    for i in range(runs + motors):
                        OUT[rec, 2 * n + i] = T[i]
"""
    + WEIGHED
    + """\
        for g in range(guides):
            Z[g] = ZE[g]
"""
)


def array_source(head: str, system: System, loop: str = LOOP, lanes: int = 1) -> tuple[str, Array, list[int]]:
    """(python source of the kernel, flat parameters, where among them `tool_zero` stands) for a large model.

    head: the functions both loops share.  loop, lanes: the text round the block, and for how many machines it is (`lanes.py`).
    """
    push = Printer(straight=True)
    n, m, f = system.n, len(system.motors), len(system.frictions)
    own = Names(system)
    limits = [f"am{j}" for j in range(m)]
    bristles = [f"zs{k}" for k in range(f)] + [f"y_{k}" for k in range(f)]
    for array, names in (("X", own.q), ("U", own.v), ("C", own.th + own.om + limits), ("Y", bristles)):
        _read(push, names, array)
    print_slides(push, system)
    print_forces(push, system)
    _accelerations(push, system)
    _write(push, "A", [f"a{d}" for d in range(n)])
    watched = [f"t{i}" for i in range(len(system.runs))] + [f"m{j}" for j in range(m)]
    _write(push, "T", watched + [f"l{j}" if motor.row is not None else "0.0" for j, motor in enumerate(system.motors)])
    slide, place = push.another(), push.another()
    _read(slide, own.v, "U")
    print_slides(slide, system)
    _write(slide, "V", [f"v{k}" for k in range(f)])
    _read(place, own.q, "X")
    _write(place, "D", [place.dot(row, own.q) for row in (*system.tool_rows, *system.work_turn)])

    guides = [[g.sigma0_n_m, g.coulomb_n, g.static_n - g.coulomb_n, 1 / g.stribeck_m_s] for g in system.frictions]
    electric = [0.0 if motor.spec is None else motor.spec.rotor_teeth / (2 * np.pi) for motor in system.motors]
    tables = {
        "ZERO": system.tool_zero,
        "G": np.array(guides).reshape(f, 4),
        "ELECTRIC": np.array(electric),
        "J": system.command_inertia,
    }
    unpack, parameters = [], [np.array(push.values)]
    start = len(push.values)
    zero_at = list(range(start, start + 3))
    for name, table in tables.items():
        shape = table.shape if lanes == 1 else (*table.shape, lanes)
        unpack.append(f"    {name} = P[{start * lanes} : {(start + table.size) * lanes}].reshape({shape})")
        parameters.append(table.ravel())
        start += table.size
    loop = loop.replace("    n = Q.shape[0]\n", "\n".join(["    n = Q.shape[0]", *unpack, ""]))
    constants = [
        f"BELT = np.array({belt_index(system)})",
        f"MOVES = {system.tool_moves}",
        f"RUNS = {len(system.runs)}",
        f"CARRIES = {bool(np.any(system.command_inertia))}",
        *(f'{name} = """\n{pr.text}\n"""' for name, pr in (("PUSH", push), ("SLIDE", slide), ("PLACE", place))),
    ]
    text = (
        Path(__file__)
        .with_name("emit.py")
        .read_text(encoding="utf-8")
        .replace("from __future__ import annotations\n", "")
        .replace("from .printer import LANES\n", f"LANES = {LANES}\n")
    )
    # One text for all models that have it: a hundred machines of one design would hold it a hundred times.
    whole = sys.intern("\n".join([head, text, *constants, loop]))
    return whole, np.concatenate(parameters), zero_at


def _read(pr: Printer, names: list[str], array: str) -> None:
    for i, name in enumerate(names):
        pr.add(f"{name} = {array}[{i}]")


def _write(pr: Printer, array: str, names: list[str]) -> None:
    for i, name in enumerate(names):
        pr.add(f"{array}[{i}] = {name}")


def _accelerations(pr: Printer, system: System) -> None:
    """Lines that set a0 ... from f0 ...: M^-1 f, its largest block as one matrix, the others term by term."""
    inverse = np.asarray(np.linalg.inv(system.mass), float)
    kept = linked(inverse)
    big = largest(kept)
    if len(big) < 2:
        big = big[:0]
    for d in range(system.n):
        if d not in big:
            terms = [("+", f"{pr.p(inverse[d, e])} * f{e}") for e in range(system.n) if kept[d, e]]
            pr.add(f"a{d} = {total(terms)}")
    if not len(big):
        return
    columns = np.zeros((len(big), -(-len(big) // LANES) * LANES))
    columns[:, : len(big)] = inverse[np.ix_(big, big)]
    forces = ", ".join(f"f{d}" for d in big)
    pr.add(f"{', '.join(f'a{d}' for d in big)} = matrix(P, {len(pr.values)}, {forces})")
    pr.values += [float(x) for x in columns.ravel()]


def linked(inverse: Array) -> NDArray[np.bool_]:
    """Which entries of an inverse mass matrix are more than rounding noise, (n, n)."""
    floor = 1e-14 * np.sqrt(np.outer(np.diag(inverse), np.diag(inverse)))
    return np.asarray(np.abs(inverse) > floor)


def largest(kept: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Coordinates of the largest block of a matrix with these entries."""
    reach = kept | np.eye(len(kept), dtype=bool)
    for _ in range(len(kept).bit_length()):  # who is reached in 2, 4, 8, ... steps
        reach = reach @ reach
    return np.flatnonzero(reach[reach.sum(axis=1).argmax()])
