"""The fast loop of a large model: its state in arrays, its forces as one printed block of straight arithmetic.

The loop itself is the same text for every machine; only the blocks (`emit.py`) and the sizes differ. It does what
`reference.advance` does, in the same order, in the model's own coordinates (`relative.py`): a chunk of steps begins by
going into those and ends by going back, and what is recorded is told in the model's.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ..model.system import Array, System
from .both_loops import BRISTLES, PUSHED, bristle_texts
from .commands import belt_index
from .print_forces import Names, print_forces, print_slides
from .printer import LANES, Printer, filled, total
from .relative import Relative, linked, relative

LOOP = (
    '''
push, slide, place = straight(PUSH, ("P",), ROOM), straight(SLIDE, ("P",), ROOM), straight(PLACE, ("P",), ROOM)
foresee, begin = straight(FORESEE, ("P",), ROOM), straight(BEGIN, ("P",), ROOM)
weigh, end = straight(WEIGH, ("P",), ROOM), straight(END, ("P",), ROOM)
tell, see = straight(TELL, ("P", "OUT"), ROOM), straight(SEE, ("P", "TOOL", "LO", "HI"), ROOM)


@njit(fastmath=FAST, error_model="numpy", forceinline=True)
def look(P, k, h, TIME, TOOL, LO, HI, SLACK, TURNS):
    """Extremes, slack and turns lost at the start of a step."""
    see(P, TOOL[k], LO, HI)
    loose = False
    for i in range(RUNS):
        loose = loose or P[AT_T + i] <= 0.0
    for b in range(SLACK.shape[0] if loose else 0):
        slack = False
        for i in range(RUNS):
            if BELT[i] == b and P[AT_T + i] <= 0.0:
                slack = True
        if slack:
            SLACK[b] += h
    for j in range(MOTORS):
        count_turns(TURNS, j, P[AT_T + RUNS + MOTORS + j] * P[AT_ELECTRIC + j], TIME[k])


@njit(nogil=True, fastmath=FAST, error_model="numpy")
def advance(stages, P, Q, W, Z, TIME, H, TH, OM, AM, TOOL, REC, OUT, LO, HI, SLACK, TURNS):
    n = Q.shape[0]
    for i in range(n):
        for j in range(n):
            P[AT_QY + i] += P[AT_OWN + i * n + j] * Q[j]
            P[AT_WY + i] += P[AT_OWN + i * n + j] * W[j]
    for g in range(GUIDES):
        P[AT_Z + g] = Z[g]
    for k in range(H.shape[0]):
        h = H[k]
        # The speed is foreseen for the middle of the step with the acceleration at the end of the step before.
        P[AT_S] = 0.5 * h
        foresee(P)
        if CARRIES:
            for i in range(n):
                for j in range(MOTORS):
                    P[AT_U + i] -= P[AT_J + i * MOTORS + j] * OM[k, 1, j]
        slide(P)
        foresee_bristles(P, h)
        begin(P)
        for s in range(stages):
            m = 0 if s == 0 else (2 if s == 3 else 1)
            for j in range(MOTORS):
                P[AT_C + j] = TH[k, m, j]
                P[AT_C + MOTORS + j] = OM[k, m, j]
                P[AT_C + 2 * MOTORS + j] = AM[k, m, j]
            if CARRIES:
                for i in range(n):
                    for j in range(MOTORS):
                        P[AT_U + i] -= P[AT_J + i * MOTORS + j] * OM[k, m, j]
'''
    + PUSHED
    + """\
                    for i in range(RUNS + MOTORS):
                        OUT[REC[k], 2 * n + i] = P[AT_T + i]
            P[AT_S] = 0.16666666666666666 if (s == 0 or s == 3) else 0.3333333333333333
            P[AT_S + 1] = h if s == 2 else 0.5 * h
            weigh(P)
            bristles(P, s)
        P[AT_S] = h
        end(P)
    for i in range(n):
        q, w = 0.0, 0.0
        for j in range(n):
            q += P[AT_BACK + i * n + j] * P[AT_QY + j]
            w += P[AT_BACK + i * n + j] * P[AT_WY + j]
        Q[i], W[i] = q, w
    for g in range(GUIDES):
        Z[g] = P[AT_Z + g]
"""
)

#: What a step does with its state, eight coordinates at a time: `{i}` stands for those eight.
STATE = {
    "FORESEE": "U[{i}] = WY[{i}] + S[0] * A[{i}]",
    "BEGIN": "X[{i}] = QY[{i}]\nU[{i}] = WY[{i}]\nSQ[{i}] = 0.0 * QY[{i}]\nSW[{i}] = 0.0 * WY[{i}]",
    "WEIGH": "SQ[{i}] = SQ[{i}] + S[0] * U[{i}]\nSW[{i}] = SW[{i}] + S[0] * A[{i}]\n"
    "X[{i}] = QY[{i}] + S[1] * U[{i}]\nU[{i}] = WY[{i}] + S[1] * A[{i}]",
    "END": "QY[{i}] = QY[{i}] + S[0] * SQ[{i}]\nWY[{i}] = WY[{i}] + S[0] * SW[{i}]",
}


def array_source(head: str, system: System, loop: str = LOOP, lanes: int = 1) -> tuple[str, Array, list[int]]:
    """(python source of the kernel, flat parameters, where among them `tool_zero` stands) for a large model.

    head: the functions both loops share.  loop, lanes: the text round the block, and for how many machines it is (`lanes.py`).
    """
    model = relative(system)
    push, slide, place, tell = _blocks(model, lanes)
    own, m, f = model.system, len(system.motors), len(system.frictions)
    size, watched = filled(own.n), len(system.runs) + 2 * m
    guides = [[g.sigma0_n_m, g.coulomb_n, g.static_n - g.coulomb_n, 1 / g.stribeck_m_s] for g in own.frictions]
    electric = [0.0 if motor.spec is None else motor.spec.rotor_teeth / (2 * np.pi) for motor in own.motors]
    numbers = push.another()
    room = {
        "ZERO": numbers.table(system.tool_zero), "G": numbers.table(np.array(guides)),
        "ELECTRIC": numbers.table(np.array(electric)), "J": numbers.table(own.command_inertia),
        "OWN": numbers.table(model.own), "BACK": numbers.table(model.back),
    }  # fmt: skip
    zero_at = list(range(room["ZERO"], room["ZERO"] + 3))
    # Behind the parameters stands what a run of the loop works on.
    for names, count in (
        ("X U A QY WY SQ SW", size), ("C", 3 * m), ("Y", 3 * f), ("Z V N", f), ("B", 8 * f), ("S", 2), ("T", watched), ("D", 6),
    ):  # fmt: skip
        room |= {name: numbers.table(np.zeros(count)) for name in names.split()}
    texts = {"PUSH": push.text, "SLIDE": slide.text, "PLACE": place.text, "TELL": tell.text} | bristle_texts(f)
    if lanes == 1:
        for name, lines in STATE.items():
            texts[name] = "\n".join(lines.replace("{i}", f"{i}:{i + LANES}") for i in range(0, size, LANES))
        texts["SEE"] = "\n".join([*_tool_span(system.tool_moves), *_span(watched)])
    constants = [
        f"L = {lanes}",
        f"BELT = np.array({belt_index(system)})",
        f"MOVES = {system.tool_moves}",
        f"MOTORS, GUIDES, RUNS = {m}, {f}, {len(system.runs)}",
        f"CARRIES = {bool(np.any(system.command_inertia))}",
        f"ROOM = {room}",
        *(f"AT_{name} = {lanes * start}" for name, start in room.items()),
        *(f'{name} = """\n{text}\n"""' for name, text in texts.items()),
    ]
    return "\n".join([head, _emitter(), *constants, BRISTLES, loop]), np.array(numbers.values), zero_at


@cache
def _emitter() -> str:
    """The text of `emit.py` as it stands in every kernel."""
    text = Path(__file__).with_name("emit.py").read_text(encoding="utf-8")
    return text.replace("from __future__ import annotations\n", "").replace(
        "from .printer", f"from {__package__}.printer"
    )


def _tool_span(moves: tuple[bool, ...]) -> list[str]:
    """Lines that keep the lowest and the highest place of the tool, and of how far it is off, by axis."""
    lines = []
    for a in range(3):
        b, c = (a + 1) % 3, (a + 2) % 3
        own = f"(ZERO[{a}] + D[{a}]) + (D[{b}] * D[{3 + c}] - D[{c}] * D[{3 + b}])"
        lines += [f"y{a} = {own if moves[a] else f'TOOL[{a}]'}", f"off{a} = y{a} - TOOL[{a}]"]
        for i, name in ((a, f"y{a}"), (3 + a, f"off{a}")):
            # In this order what is no number changes nothing.
            lines += [f"LO[{i}] = min({name}, LO[{i}])", f"HI[{i}] = max({name}, HI[{i}])"]
    return lines


def _span(watched: int) -> list[str]:
    """Lines that keep the lowest and the highest of what else is watched, in as few pieces as there are."""
    lines, at = [], 0
    while at < watched:
        size = next(s for s in (8, 4, 2, 1) if s <= watched - at)
        mine, its = (f"{i}" if size == 1 else f"{i}:{i + size}" for i in (at, 6 + at))
        lines += [f"LO[{its}] = min(LO[{its}], T[{mine}])", f"HI[{its}] = max(HI[{its}], T[{mine}])"]
        at += size
    return lines


def _blocks(model: Relative, lanes: int) -> tuple[Printer, Printer, Printer, Printer]:
    """What pushes, how fast guides slide, where the tool is, and coordinates and speeds as they are told; in own coordinates."""
    push, own = Printer(straight=True, vectors=lanes == 1), model.system
    m, f = len(own.motors), len(own.frictions)
    names = Names(own)
    limits = [f"am{j}" for j in range(m)]
    bristles = [f"{name}{k}" for name in ("zs", "y_", "zr") for k in range(f)]
    for array, some in (("X", names.q), ("U", names.v), ("C", names.th + names.om + limits), ("Y", bristles)):
        _read(push, some, array)
    print_slides(push, own)
    print_forces(push, own)
    _accelerations(push, model.inverse, lanes)
    # What changes bristles beside their foreseen rate.
    _write(push, "N", [f"v{k} - (abs(v{k}) * y_{k} - zr{k}) * zs{k}" for k in range(f)])
    watched = [f"t{i}" for i in range(len(own.runs))] + [f"m{j}" for j in range(m)]
    _write(push, "T", watched + [f"l{j}" if motor.row is not None else "0.0" for j, motor in enumerate(own.motors)])
    slide, place, tell = push.another(), push.another(), push.another()
    _read(slide, names.v, "U")
    print_slides(slide, own)
    _write(slide, "V", [f"v{k}" for k in range(f)])
    _read(place, names.q, "X")
    _write(place, "D", [place.dot(row, names.q) for row in (*own.tool_rows, *own.work_turn)])
    _read(tell, names.q, "QY")
    _read(tell, names.v, "WY")
    _write(tell, "OUT", [tell.dot(row, some) for some in (names.q, names.v) for row in model.back])
    return push, slide, place, tell


def _read(pr: Printer, names: list[str], array: str) -> None:
    for i, name in enumerate(names):
        pr.add(f"{name} = {array}[{i}]")


def _write(pr: Printer, array: str, names: list[str]) -> None:
    for i, name in enumerate(names):
        pr.add(f"{array}[{i}] = {name}")


def _accelerations(pr: Printer, inverse: Array, lanes: int) -> None:
    """Lines that set A to M^-1 f: in registers of eight rows all at once, as one matrix; for eight machines its largest block
    as one matrix, the others term by term."""
    n = len(inverse)
    kept = linked(inverse)
    big = largest(kept) if lanes > 1 else np.arange(n)
    if len(big) < 2:
        big = big[:0]
    for d in range(n):
        if d not in big:
            terms = [("+", f"{pr.p(inverse[d, e])} * f{e}") for e in range(n) if kept[d, e]]
            pr.add(f"A[{d}] = {total(terms)}")
    if not len(big):
        return
    columns = np.zeros((len(big), filled(len(big))))
    columns[:, : len(big)] = inverse[np.ix_(big, big)]
    if lanes == 1:
        pr.begin_at(LANES)
    product = f"matrix(P, {len(pr.values)}, {len(big)}, {', '.join(f'f{d}' for d in big)})"
    pr.values += [float(x) for x in columns.ravel()]
    if lanes == 1:
        pr.add(f"A[0:{filled(n)}] = {product}")
        return
    pr.add(f"{', '.join(f'a{d}' for d in big)} = {product}")
    for d in big:
        pr.add(f"A[{d}] = a{d}")


def largest(kept: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Coordinates of the largest block of a matrix with these entries."""
    reach = kept | np.eye(len(kept), dtype=bool)
    for _ in range(len(kept).bit_length()):  # who is reached in 2, 4, 8, ... steps
        reach = reach @ reach
    return np.flatnonzero(reach[reach.sum(axis=1).argmax()])
