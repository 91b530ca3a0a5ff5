"""The fast step loop: unrolled scalar code printed for one topology, compiled once by numba.

The arithmetic is that of `reference.py`; only what is not zero is printed, exact ones and twos are printed as
themselves, and every other number comes from one flat parameter array, so that all machines of one topology share one
kernel. `source(system)` returns the text and the parameters; `advance` has the reference loop's signature.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse.csgraph import connected_components

from ..model.system import Array, System
from .commands import Chunk, Extremes, State, belt_index
from .kernel_cache import load_kernel
from .print_forces import print_forces, print_level
from .printer import Printer, total

HEAD = '''"""A step loop printed by beltspring for one topology of machine. It may be deleted at any time."""
import math

import numpy as np
from numba import njit


HALVES = 2.0 ** -np.arange(64.0)


@njit(inline="always")
def sine(x):
    """sin x to 1e-11: the odd series to x^15, in two halves so that they overlap; folded to half a period when beyond it."""
    sign = 1.0
    if x > 1.5707963267948966 or x < -1.5707963267948966:
        k = math.floor(x * 0.3183098861837907 + 0.5)
        x = (x - k * 3.1415926535897931) - k * 1.2246467991473532e-16
        if (k - 2.0 * math.floor(k * 0.5)) != 0.0:
            sign = -1.0
    s = x * x
    s2 = s * s
    low = (1.0 + s * -1.6666666666666666e-1) + s2 * (8.3333333333333333e-3 + s * -1.9841269841269841e-4)
    high = (2.7557319223985893e-6 + s * -2.5052108385441719e-8) + s2 * (1.6059043836821613e-10 + s * -7.6471637318198164e-13)
    return sign * x * (low + s2 * s2 * high)


@njit(inline="always")
def decay(c):
    """exp(-c) for c >= 0 to 1e-11 of 1: a power of two from a table times the series of what is left."""
    k = int(c * 1.4426950408889634 + 0.5)
    if k > 63:
        return 0.0
    r = k * 0.6931471805599453 - c
    s = r * r
    low = (1.0 + r) + s * (0.5 + r * 1.6666666666666666e-1)
    high = (4.1666666666666664e-2 + r * 8.3333333333333333e-3) + s * (1.3888888888888889e-3 + r * 1.9841269841269841e-4)
    return HALVES[k] * (low + s * s * (high + s * s * (2.4801587301587302e-5 + r * 2.7557319223985893e-6)))


@njit(fastmath={"contract", "nsz", "arcp", "reassoc"}, error_model="numpy")
def times(B, F, A):
    """A = M^-1 F in blocks of eight rows; B (blocks, n, 8): for each block and column its eight entries side by side."""
    for k in range(B.shape[0]):
        a0 = a1 = a2 = a3 = a4 = a5 = a6 = a7 = 0.0
        for j in range(B.shape[1]):
            x = F[j]
            a0 += B[k, j, 0] * x
            a1 += B[k, j, 1] * x
            a2 += B[k, j, 2] * x
            a3 += B[k, j, 3] * x
            a4 += B[k, j, 4] * x
            a5 += B[k, j, 5] * x
            a6 += B[k, j, 6] * x
            a7 += B[k, j, 7] * x
        A[k, 0] = a0
        A[k, 1] = a1
        A[k, 2] = a2
        A[k, 3] = a3
        A[k, 4] = a4
        A[k, 5] = a5
        A[k, 6] = a6
        A[k, 7] = a7


@njit(nogil=True, cache=True, fastmath={"contract", "nsz", "arcp", "reassoc"}, error_model="numpy")
def advance(stages, P, Q, W, Z, TIME, H, TH, OM, AM, TOOL, REC, OUT, LO, HI, SLACK, SLIP):
'''


def source(system: System) -> tuple[str, Array]:
    """(python source of the kernel, flat parameters) for a model."""
    pr = Printer()
    state = _ArrayState(pr, system) if system.n > DENSE_FROM else _ScalarState(pr, system)
    frictions = range(len(system.frictions))
    body = pr.add
    state.load()
    for k in frictions:
        body(f"z{k} = Z[{k}]", 1)
    body("for k in range(H.shape[0]):", 1)
    body("h = H[k]", 2)
    state.begin_step()
    for k in frictions:
        body(f"zs{k} = z{k}", 2)
        body(f"zh{k} = z{k}", 2)
        body(f"ze{k} = z{k}", 2)
        body(f"y_{k} = 0.0", 2)
    body("for s in range(stages):", 2)
    body("at = 0.0 if s == 0 else (h if s == 3 else 0.5 * h)", 3)
    body("weight = 0.16666666666666666 if (s == 0 or s == 3) else 0.3333333333333333", 3)
    body("m = 0 if s == 0 else (2 if s == 3 else 1)", 3)
    for j in range(len(system.motors)):
        body(f"th{j} = TH[k, m, {j}]", 3)
        body(f"om{j} = OM[k, m, {j}]", 3)
    state.begin_stage()
    for stage, at in ((1, "zh"), (3, "ze")):
        if system.frictions:
            body(f"if s == {stage}:", 3)
        for k in frictions:
            body(f"zs{k} = {at}{k}", 4)
    print_forces(pr, system)
    _accelerations(pr, system)
    body("if s == 0:", 3)
    _look(pr, system, state.carried)
    for k, f in enumerate(system.frictions):
        speeds = [f"(u{i} + 0.5 * h * a{i})" for i in range(system.n)]
        body(f"vm{k} = {pr.dot(f.row, speeds)}", 4)
        print_level(pr, k, f, f"vm{k}")
        body(f"zc{k} = 0.5 * h * abs(vm{k}) * y_{k}", 4)
        body(f"zd{k} = decay(zc{k})", 4)
        body(f"zg{k} = (1.0 - zd{k}) / zc{k} if zc{k} > 1e-6 else 1.0 - 0.5 * zc{k}", 4)
        body(f"zh{k} = z{k} * zd{k} + vm{k} * 0.5 * h * zg{k}", 4)
        body(f"ze{k} = zh{k} * zd{k} + vm{k} * 0.5 * h * zg{k}", 4)
    state.end_stage()
    state.end_step()
    for k in frictions:
        body(f"z{k} = ze{k}", 2)
    state.store()
    for k in frictions:
        body(f"Z[{k}] = z{k}", 1)
    unpack = []
    if pr.tail_shape is not None:
        blocks, k, _ = pr.tail_shape
        unpack = [f"    F = np.zeros({k})", f"    A = np.zeros(({blocks}, 8))"]
        unpack.append(f"    B = P[{len(pr.values)} :].reshape({pr.tail_shape})")
    return HEAD + "\n".join(unpack + pr.lines) + "\n", np.array(pr.values + pr.tail)


class _ScalarState:
    """State of a small model in plain variables: fastest to run."""

    def __init__(self, pr: Printer, system: System) -> None:
        self.pr, self.s = pr, system
        self.carried = self.names_of_w()

    def names_of_w(self) -> list[str]:
        """How the carried speeds are called."""
        return [f"w{i}" for i in range(self.s.n)]

    def load(self) -> None:
        for i in range(self.s.n):
            self.pr.add(f"q{i} = Q[{i}]", 1)
            self.pr.add(f"w{i} = W[{i}]", 1)

    def begin_step(self) -> None:
        for i in range(self.s.n):
            for name in ("dq", "dw", "sq", "sw"):
                self.pr.add(f"{name}{i} = 0.0", 2)

    def begin_stage(self) -> None:
        for i in range(self.s.n):
            self.pr.add(f"x{i} = q{i} + at * dq{i}", 3)
            self.pr.add(f"u{i} = w{i} + at * dw{i}{_carried(self.pr, self.s, i)}", 3)

    def end_stage(self) -> None:
        for i in range(self.s.n):
            self.pr.add(f"dq{i} = u{i}", 3)
            self.pr.add(f"dw{i} = a{i}", 3)
            self.pr.add(f"sq{i} += weight * u{i}", 3)
            self.pr.add(f"sw{i} += weight * a{i}", 3)

    def end_step(self) -> None:
        for i in range(self.s.n):
            self.pr.add(f"q{i} += h * sq{i}", 2)
            self.pr.add(f"w{i} += h * sw{i}", 2)

    def store(self) -> None:
        for i in range(self.s.n):
            self.pr.add(f"Q[{i}] = q{i}", 1)
            self.pr.add(f"W[{i}] = w{i}", 1)


class _ArrayState(_ScalarState):
    """State of a large model in arrays: numba's front end slows with the square of variables that are set twice."""

    def names_of_w(self) -> list[str]:
        return [f"W[{i}]" for i in range(self.s.n)]

    def load(self) -> None:
        for name in ("DQ", "DW", "SQ", "SW"):
            self.pr.add(f"{name} = np.zeros({self.s.n})", 1)

    def begin_step(self) -> None:
        self.pr.add(f"for i in range({self.s.n}):", 2)
        for name in ("DQ", "DW", "SQ", "SW"):
            self.pr.add(f"{name}[i] = 0.0", 3)

    def begin_stage(self) -> None:
        for i in range(self.s.n):
            self.pr.add(f"x{i} = Q[{i}] + at * DQ[{i}]", 3)
            self.pr.add(f"u{i} = W[{i}] + at * DW[{i}]{_carried(self.pr, self.s, i)}", 3)

    def end_stage(self) -> None:
        for i in range(self.s.n):
            self.pr.add(f"DQ[{i}] = u{i}", 3)
            self.pr.add(f"DW[{i}] = a{i}", 3)
        self.pr.add(f"for i in range({self.s.n}):", 3)
        self.pr.add("SQ[i] += weight * DQ[i]", 4)
        self.pr.add("SW[i] += weight * DW[i]", 4)

    def end_step(self) -> None:
        self.pr.add(f"for i in range({self.s.n}):", 2)
        self.pr.add("Q[i] += h * SQ[i]", 3)
        self.pr.add("W[i] += h * SW[i]", 3)

    def store(self) -> None:
        """Q and W are the state itself."""


def _carried(pr: Printer, system: System, i: int) -> str:
    """What an ideal motor's speed takes off the carried speed of coordinate i."""
    text = pr.dot(system.command_inertia[i], [f"om{j}" for j in range(len(system.motors))])
    return "" if text == "0.0" else f" - ({text})"


def _accelerations(pr: Printer, system: System) -> None:
    """Lines that set a0 ... from f0 ...: M^-1 f, entries that are rounding noise left out."""
    n = system.n
    inverse = np.linalg.inv(system.mass)
    floor = 1e-14 * np.sqrt(np.outer(np.diag(inverse), np.diag(inverse)))
    linked = np.abs(inverse) > floor
    _, group = connected_components(linked, directed=False)
    sizes = np.bincount(group)
    big = np.flatnonzero(group == sizes.argmax()) if sizes.max() > DENSE_FROM else np.zeros(0, dtype=int)
    for d in range(n):
        if d not in big:
            terms = [("+", f"{pr.p(inverse[d, e])} * f{e}") for e in range(n) if linked[d, e]]
            pr.add(f"a{d} = {total(terms)}", 3)
    if len(big) == 0:
        return
    # Rows in blocks of eight, so that the compiler can use wide registers.
    k = len(big)
    rows = -(-k // 8) * 8
    padded = np.zeros((rows, k))
    padded[:k] = inverse[np.ix_(big, big)]
    pr.tail = [float(x) for x in padded.reshape(rows // 8, 8, k).transpose(0, 2, 1).ravel()]
    pr.tail_shape = (rows // 8, k, 8)
    for i, d in enumerate(big):
        pr.add(f"F[{i}] = f{d}", 3)
    pr.add("times(B, F, A)", 3)
    for i, d in enumerate(big):
        pr.add(f"a{d} = A[{i // 8}, {i % 8}]", 3)


def _look(pr: Printer, system: System, carried: list[str]) -> None:
    """Extremes, slack, slip and recording, at the start of a step (inside `if s == 0`)."""
    body = pr.add
    q = [f"x{i}" for i in range(system.n)]
    values = []
    turns = bool(np.any(system.work_turn))
    for a in range(3):
        body(f"d{a} = {pr.dot(system.tool_rows[a], q)}", 4)
        if turns:
            body(f"o{a} = {pr.dot(system.work_turn[a], q)}", 4)
    for a in range(3):
        b, c = (a + 1) % 3, (a + 2) % 3
        swing = f" + (d{b} * o{c} - d{c} * o{b})" if turns else ""
        if system.tool_moves[a]:
            body(f"y{a} = {pr.p(system.tool_zero[a])} + d{a}{swing}", 4)
        else:
            body(f"y{a} = TOOL[k, {a}]", 4)
        values.append(f"y{a}")
    values += [f"(y{a} - TOOL[k, {a}])" for a in range(3)]
    values += [f"t{i}" for i in range(len(system.runs))]
    values += [f"m{j}" for j in range(len(system.motors))]
    values += [f"l{j}" if m.row is not None else "0.0" for j, m in enumerate(system.motors)]
    for i, value in enumerate(values):
        body(f"c{i} = {value}", 4)
        body(f"LO[{i}] = min(LO[{i}], c{i})", 4)
        body(f"HI[{i}] = max(HI[{i}], c{i})", 4)
    owners = belt_index(system)
    for b in sorted(set(owners)):
        slack = " or ".join(f"t{i} <= 0.0" for i, own in enumerate(owners) if own == b)
        body(f"if {slack}:", 4)
        body(f"SLACK[{b}] += h", 5)
    for j, m in enumerate(system.motors):
        if m.row is not None and m.spec is not None:
            body(f"if SLIP[{j}] < 0.0 and abs(l{j}) > {pr.p(np.pi / m.spec.rotor_teeth)}:", 4)
            body(f"SLIP[{j}] = TIME[k]", 5)
    body("if REC[k] >= 0:", 4)
    columns = [f"x{i}" for i in range(system.n)] + carried
    columns += [f"t{i}" for i in range(len(system.runs))] + [f"m{j}" for j in range(len(system.motors))]
    body("rec = REC[k]", 5)
    for c, name in enumerate(columns):
        body(f"OUT[rec, {c}] = {name}", 5)


#: From more coordinates than this on, M^-1 f is a loop over arrays instead of printed terms.
DENSE_FROM = 12


class GeneratedLoop:
    """The compiled loop of one model. notes: what a person should know (kernel compiled without a cache, ...)."""

    def __init__(self, system: System) -> None:
        text, self.parameters = source(system)
        self.kernel, self.notes = load_kernel(text)

    def advance(self, system: System, state: State, chunk: Chunk, out: Array, seen: Extremes) -> None:
        """Run one chunk: `state` and `seen` are changed in place, `out` is filled, as the reference loop does."""
        # The number of stages is an argument so that the compiler does not unroll them: it would take four times as long.
        self.kernel(
            4,
            self.parameters,
            state.q,
            state.w,
            state.z,
            chunk.times,
            chunk.lengths,
            chunk.theta,
            chunk.omega,
            chunk.limit,
            chunk.tool,
            chunk.record,
            out,
            seen.low,
            seen.high,
            seen.slack,
            seen.slip,
        )
        state.t = float(chunk.times[-1])
