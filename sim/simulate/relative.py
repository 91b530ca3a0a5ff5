"""A model in coordinates of its own joints, in which a step loop has least to do.

The equations of motion do not care in which coordinates they are written, nor does classical Runge-Kutta: steps in y = T q
are those in q. With the six deflections of every joint and the angle of every rotor against its stator for coordinates, most
rows that the loop works out are a single entry; in the bodies' absolute coordinates each is the difference of two bodies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..model.system import Array, System
from .printer import NOISE

#: What is left of a row beside those already taken, as a share of it, from which on it is a coordinate of its own.
OWN_SHARE = 1e-6


@dataclass(frozen=True)
class Relative:
    """A model in coordinates y of its own. system: the same model with y for q, but for its mass.  inverse: (n, n), M^-1
    in y.  own, back: (n, n), y = own . q, q = back . y."""

    system: System
    inverse: Array
    own: Array
    back: Array


def relative(system: System) -> Relative:
    """The model in joint coordinates where those leave less to work out, else as it is."""
    own = _joint_rows(system)
    back = cleared(np.asarray(np.linalg.inv(own), float))
    made = _with_rows(system, own, back)
    inverse = np.asarray(np.linalg.inv(system.mass), float)
    inverse = np.where(linked(inverse), inverse, 0.0)
    if _work(made) < _work(system):
        return Relative(made, np.asarray(own @ inverse @ own.T), own, back)
    one = np.eye(system.n)
    return Relative(system, inverse, one, one)


def linked(inverse: Array) -> NDArray[np.bool_]:
    """Which entries of an inverse mass matrix are more than rounding noise, (n, n)."""
    floor = 1e-14 * np.sqrt(np.outer(np.diag(inverse), np.diag(inverse)))
    return np.asarray(np.abs(inverse) > floor)


def cleared(rows: Array) -> Array:
    """Rows with entries that are 0, 1 or 2 but for rounding made exactly that: noise must not decide how a kernel is printed."""
    near = np.rint(rows)
    return np.where((np.abs(rows - near) < NOISE) & (np.abs(near) <= 2), near, rows)


def _joint_rows(system: System) -> Array:
    """(n, n) independent rows: deflections of joints, angles of rotors, and of what is left the coordinates themselves."""
    wanted = [row for joint in system.joints for row in joint.row]
    wanted += [motor.row for motor in system.motors if motor.row is not None]
    chosen: list[Array] = []
    known = np.zeros((0, system.n))
    for row in [*wanted, *np.eye(system.n)]:
        rest = row - known.T @ (known @ row)
        rest -= known.T @ (known @ rest)
        size = float(np.linalg.norm(rest))
        if size > OWN_SHARE * float(np.linalg.norm(row)):
            chosen.append(row)
            known = np.vstack([known, rest / size])
        if len(chosen) == system.n:
            break
    return cleared(np.array(chosen))


def _with_rows(system: System, own: Array, back: Array) -> System:
    """The model with y = own . q for its coordinates, but for its mass."""
    rows = [system.tool_rows, system.work_turn, system.gravity]
    rows += [row for r in system.runs for row in (r.row, r.length_row)]
    rows += [m.row for m in system.motors if m.row is not None] + [f.row for f in system.frictions]
    rows += [row for j in system.joints for row in (j.row, j.turn_a)] + [a.row for a in system.arms]
    # All at once: a product each would take longer than printing them does.
    whole = cleared(np.vstack(rows) @ back)
    ends = np.cumsum([1 if row.ndim == 1 else len(row) for row in rows])
    turned = iter(part.reshape(row.shape) for part, row in zip(np.split(whole, ends[:-1]), rows, strict=True))
    return replace(
        system,
        tool_rows=next(turned),
        work_turn=next(turned),
        gravity=next(turned),
        runs=tuple(replace(r, row=next(turned), length_row=next(turned)) for r in system.runs),
        motors=tuple(m if m.row is None else replace(m, row=next(turned)) for m in system.motors),
        frictions=tuple(replace(f, row=next(turned)) for f in system.frictions),
        joints=tuple(replace(j, row=next(turned), turn_a=next(turned)) for j in system.joints),
        arms=tuple(replace(a, row=next(turned)) for a in system.arms),
        stiffness=cleared(back.T @ system.stiffness @ back),
        damping=cleared(back.T @ system.damping @ back),
        command_inertia=own @ system.command_inertia,
    )


def _work(system: System) -> int:
    """How many entries a loop multiplies, about: of each joint, belt, motor and arm, against displacement and speed."""
    rows: Sequence[Array] = [
        *(r for j in system.joints for r in (j.row, j.turn_a)),
        *(r for run in system.runs for r in (run.row, run.length_row)),
        *(m.row for m in system.motors if m.row is not None),
        *(f.row for f in system.frictions),
        *(a.row for a in system.arms),
    ]
    return sum(int(np.count_nonzero(row)) for row in rows)
