"""A peer for the generated loop: the same equations for any machine, compiled once, over sparse element lists.

Every row (a joint's deflection, a run's stretch, a motor's angle) is a row of one CSR matrix R. A stage
forms R q and R v, lets every element push on its rows, and gathers R' p; then M^-1 as CSR. It is what one would write
without printing code. Not part of the engine.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from beltspring.sim.model.motor import winding_s
from beltspring.sim.model.shafts import CLAMPED_GAIN
from beltspring.sim.model.system import System
from numba import njit
from numpy.typing import NDArray
from scipy.sparse import csr_array

Array = NDArray[np.float64]
FAST = {"contract", "nsz", "arcp"}  # no reassociation: rows are too short to be worth wide registers


def csr(rows: Sequence[Any], n: int) -> tuple[Any, Any, Any]:
    """Rows (k, n) as CSR (start, column, value), only what is not zero."""
    m = csr_array(np.array(rows, float).reshape(-1, n))
    return m.indptr.astype(np.int64), m.indices.astype(np.int64), m.data.astype(float)


def lists_of(s: System) -> tuple[Any, ...]:
    """Element lists of a full model with real motors and without guide friction, in the order in which `accelerate` takes them.

    Rows of R: 6 and 3 (turn of A) a joint, 2 a run (stretch, length), 1 a motor.
    """
    joints = s.joints
    assert all(m.row is not None and m.spec is not None for m in s.motors)
    assert not s.frictions
    assert not np.any(s.stiffness)
    assert not np.any(s.damping)
    shaft, sets = np.zeros((len(joints), 6)), np.zeros((len(joints), 8, 2, 6))
    for i, j in enumerate(joints):
        if j.shaft is not None and j.shaft_rows is not None:
            assert j.shaft.ends != "built-in"
            gain = CLAMPED_GAIN if j.shaft.ends == "clamped" else 1.0
            shaft[i] = [len(j.shaft_rows), j.shaft.span_m, j.shaft.before_m, j.shaft.spacing_m,
                        1 / j.shaft.bushing_n_m, j.shaft.bending_n_m2 * gain]  # fmt: skip
            sets[i, : len(j.shaft_rows)] = j.shaft_rows
    rows = [row for j in joints for row in (*j.row, *j.turn_a)]
    rows += [row for r in s.runs for row in (r.row, r.length_row)]
    rows += [m.row for m in s.motors]
    inverse = np.linalg.inv(s.mass)
    floor = 1e-14 * np.sqrt(np.outer(np.diag(inverse), np.diag(inverse)))
    return (
        *csr(rows, s.n),
        *csr(np.where(np.abs(inverse) > floor, inverse, 0.0), s.n),
        np.array([-1 if j.axis is None else j.axis for j in joints]),
        *_entries([np.stack([j.stiffness, j.damping], axis=-1) for j in joints]),
        shaft,
        *csr(sets.reshape(-1, 6), 6),
        np.array([[r.length_m, r.ea_n, r.pretension_n, r.lag_s] for r in s.runs]),
        np.array(
            [
                [m.spec.rotor_teeth, m.damping_nm_s, m.detent_nm, winding_s(m.spec)]
                for m in s.motors
                if m.spec is not None
            ]
        ),
        s.gravity,
    )


def _entries(blocks: list[Array]) -> tuple[Any, Any, Array]:
    """Entries (i, k) of each joint's matrices that are not zero: where each joint's begin, (e, 2) places, (e, 2) K and D."""
    kept = [np.argwhere(np.any(block != 0, axis=-1)) for block in blocks]
    start = np.concatenate([[0], np.cumsum([len(k) for k in kept])]).astype(np.int64)
    values = [block[tuple(k.T)] for block, k in zip(blocks, kept, strict=True)]
    return start, np.concatenate(kept).astype(np.int64), np.concatenate(values).astype(float)


@njit(cache=True, fastmath=FAST, error_model="numpy")
def product(start: Any, column: Any, value: Array, x: Array, y: Array) -> None:
    """y = R x."""
    for i in range(start.shape[0] - 1):
        s = 0.0
        for k in range(start[i], start[i + 1]):
            s += value[k] * x[column[k]]
        y[i] = s


@njit(cache=True, fastmath=FAST, error_model="numpy")
def gather(start: Any, column: Any, value: Array, p: Array, f: Array) -> None:
    """f += R' p."""
    for i in range(start.shape[0] - 1):
        for k in range(start[i], start[i + 1]):
            f[column[k]] += p[i] * value[k]


@njit(cache=True, fastmath=FAST, error_model="numpy")
def joint(
    axis: int, first: int, last: int, places: Any, springs: Array, S: Array, at: int, s_start: Any, s_column: Any,
    s_value: Array, d: Array, r: Array, p: Array,
) -> None:  # fmt: skip
    """Push p (9,) of one joint on its nine rows, whose values are d and, as rates, r: as `JointElement.force`."""
    s = lean_1 = lean_2 = 0.0
    one, two = (axis + 1) % 3, (axis + 2) % 3
    if axis >= 0:
        s, speed = d[axis], r[axis]
        # (phi x e)_one = phi_two and (phi x e)_two = - phi_one, e along the axis
        lean_1, lean_2 = d[6 + two], -d[6 + one]
        d[one] -= s * lean_1
        d[two] -= s * lean_2
        r[one] -= speed * lean_1 + s * r[6 + two]
        r[two] -= speed * lean_2 - s * r[6 + one]
        d[axis] = r[axis] = 0.0
    for i in range(9):
        p[i] = 0.0
    for k in range(first, last):
        p[places[k, 0]] -= springs[k, 0] * d[places[k, 1]] + springs[k, 1] * r[places[k, 1]]
    if axis >= 0:
        p[axis] = 0.0
    curve = 0.0
    if S[0] > 0.0:
        length, spacing, soft, scale = S[1], S[3], S[4], 1.0 / (6 * S[1] * S[5])
        a1 = S[2] + s - spacing / 2
        a2 = a1 + spacing
        b1, b2 = length - a1, length - a2
        f11, f22 = 2 * a1 * a1 * b1 * b1 * scale, 2 * a2 * a2 * b2 * b2 * scale
        h11, h22 = 4 * a1 * b1 * (b1 - a1) * scale, 4 * a2 * b2 * (b2 - a2) * scale
        inner = length * length - b2 * b2 - a1 * a1
        f12 = b2 * a1 * inner * scale
        h12 = ((b2 - a1) * inner + b2 * a1 * (2 * b2 - 2 * a1)) * scale
        det = 1.0 / ((f11 + soft) * (f22 + soft) - f12 * f12)
        k11, k22, k12 = (f22 + soft) * det, (f11 + soft) * det, -f12 * det
        for n in range(int(S[0])):
            row = at + 2 * n
            w1 = w2 = 0.0
            for k in range(s_start[row], s_start[row + 1]):
                w1 += s_value[k] * d[s_column[k]]
            for k in range(s_start[row + 1], s_start[row + 2]):
                w2 += s_value[k] * d[s_column[k]]
            p1, p2 = k11 * w1 + k12 * w2, k12 * w1 + k22 * w2
            for k in range(s_start[row], s_start[row + 1]):
                p[s_column[k]] -= s_value[k] * p1
            for k in range(s_start[row + 1], s_start[row + 2]):
                p[s_column[k]] -= s_value[k] * p2
            curve += 0.5 * (p1 * p1 * h11 + 2 * p1 * p2 * h12 + p2 * p2 * h22)
    if axis >= 0:
        p[axis] = curve - p[one] * lean_1 - p[two] * lean_2
        p[6 + one], p[6 + two] = s * p[two], -s * p[one]


@njit(cache=True, fastmath=FAST, error_model="numpy")
def accelerate(
    start: Any, column: Any, value: Array, m_start: Any, m_column: Any, m_value: Array, axis: Any, first: Any,
    places: Any, springs: Array, shaft: Array, s_start: Any, s_column: Any, s_value: Array, runs: Array, motors: Array,
    gravity: Array, q: Array, v: Array, th: Array, om: Array, am: Array, a: Array, f: Array, room: Array,
) -> None:  # fmt: skip
    """Accelerations a (n,) at coordinates q, speeds v; th, om, am: angle, speed, torque limit; f, room: to work in."""
    x, r, p = room[0], room[1], room[2]
    product(start, column, value, q, x)
    product(start, column, value, v, r)
    at = 0
    for j in range(axis.shape[0]):
        joint(
            axis[j], first[j], first[j + 1], places, springs, shaft[j], 16 * j, s_start, s_column, s_value,
            x[at : at + 9], r[at : at + 9], p[at : at + 9],
        )  # fmt: skip
        at += 9
    for i in range(runs.shape[0]):
        over, ea, t0 = 1.0 / (runs[i, 0] + x[at + 1]), runs[i, 1], runs[i, 2]
        p[at] = -max(0.0, t0 + ea * (x[at] + runs[i, 3] * r[at]) * over)
        strain = max(x[at] * over, -t0 / ea)
        p[at + 1] = 0.5 * ea * strain * strain
        at += 2
    for i in range(motors.shape[0]):
        angle, off = motors[i, 0] * (x[at] - th[i]), r[at] - om[i]
        held = motors[i, 1] * off * max(0.0, np.cos(angle)) / (1.0 + (off * motors[i, 3]) ** 2)
        p[at] = -am[i] * np.sin(angle) - held
        if motors[i, 2] != 0.0:
            p[at] -= motors[i, 2] * np.sin(4 * motors[i, 0] * x[at])
        at += 1
    for i in range(gravity.shape[0]):
        f[i] = gravity[i]
    gather(start, column, value, p, f)
    product(m_start, m_column, m_value, f, a)


@njit(cache=True, nogil=True, fastmath=FAST, error_model="numpy")
def advance(
    start: Any, column: Any, value: Array, m_start: Any, m_column: Any, m_value: Array, axis: Any, first: Any,
    places: Any, springs: Array, shaft: Array, s_start: Any, s_column: Any, s_value: Array, runs: Array, motors: Array,
    gravity: Array, q: Array, w: Array, lengths: Array, th: Array, om: Array, am: Array, record: Any, out: Array,
) -> None:  # fmt: skip
    """The engine's RK4; q and w change in place, q is kept in out where record says so."""
    n = q.shape[0]
    x, u, a, f, room = np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.zeros((3, start.shape[0] - 1))
    sq, sw = np.zeros(n), np.zeros(n)
    for k in range(lengths.shape[0]):
        h = lengths[k]
        if record[k] >= 0:
            for i in range(n):
                out[record[k], i] = q[i]
        for i in range(n):
            x[i] = q[i]
            u[i] = w[i]
            sq[i] = 0.0
            sw[i] = 0.0
        for s in range(4):
            m = 0 if s == 0 else (2 if s == 3 else 1)
            accelerate(
                start, column, value, m_start, m_column, m_value, axis, first, places, springs, shaft, s_start,
                s_column, s_value, runs, motors, gravity, x, u, th[k, m], om[k, m], am[k, m], a, f, room,
            )  # fmt: skip
            weight = 1 / 6 if s == 0 or s == 3 else 1 / 3
            at = h if s == 2 else 0.5 * h
            for i in range(n):
                sq[i] += weight * u[i]
                sw[i] += weight * a[i]
                x[i] = q[i] + at * u[i]
                u[i] = w[i] + at * a[i]
        for i in range(n):
            q[i] += h * sq[i]
            w[i] += h * sw[i]
