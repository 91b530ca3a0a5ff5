"""The fast step loop: unrolled scalar code printed for one topology, compiled once by numba.

The arithmetic is that of `reference.py`; only what is not zero is printed, exact ones and twos are printed as
themselves, and every other number comes from one flat parameter array, so that all machines of one topology share one
kernel. A small model's state stands in plain variables, which is fastest; a large one goes to
`array_loop.py`. `source(system)` returns the text and the parameters; `advance` has the reference loop's signature.
"""

from __future__ import annotations

import numpy as np

from ..model.system import Array, System
from .array_loop import array_source
from .both_loops import STAGES
from .commands import Chunk, Extremes, State, belt_index
from .kernel_cache import beginning_a_line, load_kernel
from .print_forces import print_forces, print_level, print_slides
from .printer import Printer, total
from .relative import linked
from .series import HEAD

ADVANCE = """
@njit(nogil=True, fastmath=FAST, error_model="numpy")
def advance(stages, P, Q, W, Z, TIME, H, TH, OM, AM, TOOL, REC, OUT, LO, HI, SLACK, TURNS):
"""


def source(system: System) -> tuple[str, Array]:
    """(python source of the kernel, flat parameters) for a model."""
    text, values, zero_at = system.once(_printed)
    values = values.copy()
    values[zero_at] = system.tool_zero if len(zero_at) == 3 else system.tool_zero[list(system.tool_moves)]
    return text, values


def _printed(system: System) -> tuple[str, Array, list[int]]:
    """The same, and where among the parameters `tool_zero` stands, of the axes that need it."""
    if system.n > ARRAYS_FROM:
        return array_source(HEAD, system)
    pr = Printer(indent=3)
    state = _ScalarState(pr, system)
    frictions = range(len(system.frictions))
    body = pr.add
    state.load()
    for k in frictions:
        body(f"z{k} = Z[{k}]", 1)
    body("for k in range(H.shape[0]):", 1)
    body("h = H[k]", 2)
    state.begin_step()
    _foresee(pr, system)
    body("for s in range(stages):", 2)
    body("at = 0.0 if s == 0 else (h if s == 3 else 0.5 * h)", 3)
    body("weight = 0.16666666666666666 if (s == 0 or s == 3) else 0.3333333333333333", 3)
    body("m = 0 if s == 0 else (2 if s == 3 else 1)", 3)
    for j in range(len(system.motors)):
        body(f"th{j} = TH[k, m, {j}]", 3)
        body(f"om{j} = OM[k, m, {j}]", 3)
        body(f"am{j} = AM[k, m, {j}]", 3)
    state.begin_stage()
    print_slides(pr, system)
    print_forces(pr, system)
    _accelerations(pr, system)
    body("if s == 0:", 3)
    zero_at = _look(pr, system, state.carried)
    _bristles(pr, system)
    state.end_stage()
    state.end_step()
    state.store()
    for k in frictions:
        body(f"Z[{k}] = z{k}", 1)
    return HEAD + ADVANCE + pr.text + "\n", np.array(pr.values), zero_at


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
            self.pr.add(f"dq{i} = 0.0", 1)
            self.pr.add(f"dw{i} = 0.0", 1)

    def begin_step(self) -> None:
        # The first stage stands at 0 times the slopes of the step before, which the bristles need.
        for i in range(self.s.n):
            self.pr.add(f"sq{i} = 0.0", 2)
            self.pr.add(f"sw{i} = 0.0", 2)

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


def _foresee(pr: Printer, system: System) -> None:
    """How bristles change in the step by the rate at the speed foreseen for its middle. No stage waits for it."""
    if not system.frictions:
        return
    body = pr.add
    if np.any(system.command_inertia):
        for j in range(len(system.motors)):
            body(f"om{j} = OM[k, 1, {j}]", 2)
    speeds = [f"(w{i} + 0.5 * h * dw{i}{_carried(pr, system, i)})" for i in range(system.n)]
    for k, f in enumerate(system.frictions):
        body(f"vm{k} = {pr.dot(f.row, speeds)}", 2)
        print_level(pr, k, f, f"vm{k}", 2)
        body(f"zr{k} = abs(vm{k}) * y_{k}", 2)
        body(f"zd{k}, zg{k}, zp{k}, zq{k}, zt{k} = shares(h * zr{k}, h)", 2)
        body(f"zs{k} = z{k}", 2)
        body(f"za{k} = zb{k} = zm{k} = 0.0", 2)


def _bristles(pr: Printer, system: System) -> None:
    """From the bristles at a stage to those at the next, and after the last to those at the end of the step."""
    for k in range(len(system.frictions)):
        pr.add(f"zn{k} = v{k} - (abs(v{k}) * y_{k} - zr{k}) * zs{k}")
    for stage, some in enumerate(STAGES if system.frictions else ()):
        pr.add(("if s == 0:", "elif s == 1:", "elif s == 2:", "else:")[stage])
        for k in range(len(system.frictions)):
            for line in some:
                pr.add(line.replace("{k}", str(k)), 4)


def _carried(pr: Printer, system: System, i: int) -> str:
    """What an ideal motor's speed takes off the carried speed of coordinate i."""
    text = pr.dot(system.command_inertia[i], [f"om{j}" for j in range(len(system.motors))])
    return "" if text == "0.0" else f" - ({text})"


def _accelerations(pr: Printer, system: System) -> None:
    """Lines that set a0 ... from f0 ...: M^-1 f, entries that are rounding noise left out."""
    inverse = np.asarray(np.linalg.inv(system.mass), float)
    kept = linked(inverse)
    for d in range(system.n):
        terms = [("+", f"{pr.p(inverse[d, e])} * f{e}") for e in range(system.n) if kept[d, e]]
        pr.add(f"a{d} = {total(terms)}")


def _look(pr: Printer, system: System, carried: list[str]) -> list[int]:
    """Extremes, slack, turns lost and recording, at the start of a step (inside `if s == 0`); where `tool_zero` stands."""
    body = pr.add
    q = [f"x{i}" for i in range(system.n)]
    values, zero_at = [], []
    turns = bool(np.any(system.work_turn))
    for a in range(3):
        body(f"d{a} = {pr.dot(system.tool_rows[a], q)}", 4)
        if turns:
            body(f"o{a} = {pr.dot(system.work_turn[a], q)}", 4)
    for a in range(3):
        b, c = (a + 1) % 3, (a + 2) % 3
        swing = f" + (d{b} * o{c} - d{c} * o{b})" if turns else ""
        if system.tool_moves[a]:
            zero_at.append(len(pr.values))
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
            body(f"count_turns(TURNS, {j}, l{j} * {pr.p(m.spec.rotor_teeth / (2 * np.pi))}, TIME[k])", 4)
    body("if REC[k] >= 0:", 4)
    columns = [f"x{i}" for i in range(system.n)] + carried
    columns += [f"t{i}" for i in range(len(system.runs))] + [f"m{j}" for j in range(len(system.motors))]
    body("rec = REC[k]", 5)
    for c, name in enumerate(columns):
        body(f"OUT[rec, {c}] = {name}", 5)
    return zero_at


#: From more coordinates than this on, the state is kept in arrays: many variables make the compiler slow.
ARRAYS_FROM = 12


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
            beginning_a_line(self.parameters),
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
            seen.turns,
        )
        state.t = float(chunk.times[-1])
