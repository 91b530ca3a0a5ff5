"""Joints of the full model: feet, frame and guides as springs between two bodies, 6x6 or by the bending of rods.

d0 = [u_B + phi_B x r_B - u_A - phi_A x r_A ; phi_B - phi_A] at the joint's point; a guide along e has slide s = e . d0_t
and deflection d_t = d0_t - s phi_A x e without its e component (PHYSICS.md, section 6).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..machine.machine import Body, Machine
from ..parts.design import FeetSpec
from .guides import guide_stiffness
from .kinematics import Kinematics, cross, crossed
from .shafts import Shaft

Array = NDArray[np.float64]


@dataclass(frozen=True)
class JointElement:
    """A compliant connection from body A to body B.

    row: (6, n), d0 = row . q.  turn_a: (3, n), phi_A.  axis: slide direction, None for a fixed joint.
    stiffness, damping: (6, 6) constant parts.  shaft: rod stiffness K(s), or None; shaft_rows: (r, 2, 6): for each rod and
    plane, the two bushings' deflections as rows on d.
    """

    name: str
    row: Array
    turn_a: Array
    axis: int | None
    stiffness: Array
    damping: Array
    shaft: Shaft | None = None
    shaft_rows: Array | None = None

    def deflection(self, q: Array) -> tuple[Array, float, Array]:
        """(d (6,), slide s, phi_A x e (3,)) at coordinates q."""
        d = self.row @ q
        if self.axis is None:
            return d, 0.0, np.zeros(3)
        s = float(d[self.axis])
        e = np.eye(3)[self.axis]
        lean = crossed(self.turn_a @ q, e)
        d = d.copy()
        d[:3] -= s * lean
        d[self.axis] = 0.0
        return d, s, lean

    def stiffness_at(self, s: float) -> tuple[Array, Array]:
        """(K, dK/ds), (6, 6) each, with the slide at s."""
        if self.shaft is None:
            return self.stiffness.copy(), np.zeros((6, 6))
        two, slope = self.shaft.stiffness(s)
        return self._by_rods(self.stiffness, two), self._by_rods(np.zeros((6, 6)), slope)

    def stiffness_alone(self, s: float) -> Array:
        """K of `stiffness_at`, (6, 6): of small motions its slope has no part."""
        return (
            self.stiffness.copy()
            if self.shaft is None
            else self._by_rods(self.stiffness, self.shaft.stiffness_alone(s))
        )

    def _by_rods(self, beside: Array, two: Array) -> Array:
        """(6, 6) of all rods, each (2, 2) at its bushings, and what stands beside them."""
        k = beside.copy()
        for rows in () if self.shaft_rows is None else self.shaft_rows:
            k += rows.T @ two @ rows
        return k

    def force(self, q: Array, v: Array) -> Array:
        """Generalised force (n,) of one joint: the whole gradient of d'K(s)d / 2, and D along the same way (PHYSICS.md, 6)."""
        d, s, lean = self.deflection(q)
        rate = self.row @ v
        k, slope = self.stiffness_at(s)
        if self.axis is None:
            return np.asarray(-self.row.T @ (k @ d + self.damping @ rate))
        e = np.eye(3)[self.axis]
        speed = rate[self.axis]
        rate[:3] -= speed * lean + s * crossed(self.turn_a @ v, e)
        rate[self.axis] = 0.0
        f = k @ d + self.damping @ rate
        along = f[:3] @ lean - 0.5 * d @ slope @ d
        pushed = -self.row.T @ f + self.row[self.axis] * along + s * self.turn_a.T @ crossed(e, f[:3])
        return np.asarray(pushed)

    def tangent(self, q: Array) -> Array:
        """Rows (6, n) of d's derivative against q at small deflection (the slide's own deflection terms left out)."""
        if self.axis is None:
            return self.row
        s = float(self.row[self.axis] @ q)
        e = np.eye(3)[self.axis]
        rows = self.row.copy()
        rows[:3] += s * cross(e) @ self.turn_a  # -s phi_A x e = s e x phi_A
        rows[self.axis] = 0.0
        return rows


def joint_rows(kin: Kinematics, a: str | None, b: str, point: Array) -> tuple[Array, Array]:
    """(d0 rows (6, n), phi_A rows (3, n)) of a joint between A (None: the ground) and B at a point of the reference pose."""
    n = kin.n
    on_b = np.vstack([kin.at(b, point), kin.rows[b][3:]])[:, :n]
    if a is None:
        return on_b, np.zeros((3, n))
    on_a = np.vstack([kin.at(a, point), kin.rows[a][3:]])[:, :n]
    return on_b - on_a, kin.rows[a][3:, :n]


def local_damping(ratio: float, m: Array, k: Array) -> Array:
    """D = 2 zeta sqrt(M K) with the local matrix root, made symmetric: M^1/2 (M^-1/2 K M^-1/2)^1/2 M^1/2, (6, 6)."""
    if ratio == 0.0:
        return np.zeros_like(k)
    root = _root(m)
    inverse = np.linalg.inv(root)
    return quiet(2 * ratio * root @ _root(inverse @ k @ inverse) @ root)


def _root(symmetric: Array) -> Array:
    """Square root of a symmetric matrix without negative eigenvalues, by its eigenvectors."""
    values, vectors = np.linalg.eigh((symmetric + symmetric.T) / 2)
    return np.asarray((vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T)


def quiet(matrix: Array) -> Array:
    """The matrix, symmetric, without entries that are rounding noise beside their diagonals (the fast loop prints the rest)."""
    symmetric = (matrix + matrix.T) / 2
    scale = np.sqrt(np.abs(np.outer(np.diag(symmetric), np.diag(symmetric))))
    return np.where(np.abs(symmetric) > 1e-9 * scale, symmetric, 0.0)


def build_joints(kin: Kinematics) -> tuple[JointElement, ...]:
    """Feet, frame and guides of a machine, as far as they are not rigid. Empty at detail simple."""
    if not kin.full:
        return ()
    machine = kin.machine
    joints = []
    for body in machine.bodies:
        if body.name not in kin.loose or body.free:
            continue
        if body.parent is None:
            joints.append(_feet(kin, body))
        elif body.slide is not None:
            joints.append(_guide(kin, body))
        else:
            joints.append(_frame(kin, body))
    return tuple(joints)


def carried_by(machine: Machine, name: str) -> dict[str, set[int]]:
    """A body and everything that hangs on it, each with the axes along which it slides free of that body.

    What hangs on arms is carried by what carries all of them, and free along their slides.
    """
    free: dict[str, set[int]] = {name: set()}
    for body in machine.bodies:
        if body.free:
            on = [arm.ends[0][0] for arm in machine.arms if arm.ends[1][0] == body.name]
            if on and all(near in free for near in on):
                free[body.name] = set().union(*(free[near] for near in on))
        elif body.parent in free:
            free[body.name] = free[body.parent] | ({body.slide} if body.slide is not None and body.driven else set())
    return free


def _local_mass(machine: Machine, name: str, point: Array) -> Array:
    """Mass matrix (6, 6) at a point of everything a joint carries; what slides free of it along an axis has no mass there."""
    m = np.zeros((6, 6))
    for carried, free in carried_by(machine, name).items():
        body = machine.body(carried)
        t = np.eye(6)
        t[:3, 3:] = -cross(np.array(body.centre) - point)
        own = [0.0 if axis in free else body.mass_kg for axis in range(3)]
        local = np.diag([*own, 0.0, 0.0, 0.0])
        local[3:, 3:] = body.moments
        m += t.T @ local @ t
    return m + _hanging(machine, name, point)


def _hanging(machine: Machine, name: str, point: Array) -> Array:
    """What hangs on a body by arms adds to its mass matrix (6, 6) at a point: along the arm half of it, and of what it leads
    to the share of one arm of all."""
    m = np.zeros((6, 6))
    for arm in machine.arms:
        (near, at), (far, _) = arm.ends
        if near == name:
            row = (arm.along / arm.length_m) @ np.hstack([np.eye(3), -cross(np.array(at) - point)])
            m += (arm.mass_kg / 2 + machine.body(far).mass_kg / len(machine.arms)) * np.outer(row, row)
    return m


def _feet(kin: Kinematics, body: Body) -> JointElement:
    machine = kin.machine
    feet = machine.design.feet
    assert feet is not None
    middle, k = np.array(machine.feet_points).mean(axis=0), quiet(feet_stiffness(machine, feet))
    row, turn = joint_rows(kin, None, body.name, middle)
    damping = local_damping(feet.damping_ratio, _local_mass(machine, body.name, middle), k)
    return JointElement("feet", row, turn, None, k, damping)


def feet_stiffness(machine: Machine, feet: FeetSpec | None) -> Array:
    """All feet together at the middle between them, (6, 6); zero where they are rigid."""
    k = np.zeros((6, 6))
    if feet is None:
        return k
    points = np.array(machine.feet_points)
    for p in points:
        rows = np.hstack([np.eye(3), -cross(p - points.mean(axis=0))])
        k += rows.T @ np.diag([feet.sideways_n_m, feet.sideways_n_m, feet.vertical_n_m]) @ rows
    return k


def _frame(kin: Kinematics, body: Body) -> JointElement:
    machine = kin.machine
    assert machine.frame_stiffness is not None
    point = np.array(machine.frame_point)
    row, turn = joint_rows(kin, body.parent, body.name, point)
    k = quiet(machine.frame_stiffness)
    return JointElement(
        "frame",
        row,
        turn,
        None,
        k,
        local_damping(machine.frame_damping_ratio, _local_mass(machine, body.name, point), k),
    )


def _guide(kin: Kinematics, body: Body) -> JointElement:
    machine = kin.machine
    guide, place, axis = body.guide, body.place, body.slide
    assert guide is not None
    assert place is not None
    assert axis is not None
    point = np.array(place.point)
    row, turn = joint_rows(kin, body.parent, body.name, point)
    held = guide_stiffness(body.name, guide, place, axis)
    damping = np.zeros((6, 6))
    keep = [i for i in range(6) if i != axis]
    at = np.ix_(keep, keep)
    damping[at] = local_damping(guide.damping_ratio, _local_mass(machine, body.name, point)[at], held.at_rest()[at])
    return JointElement(f"{body.name} guide", row, turn, axis, quiet(held.blocks), damping, held.shaft, held.shaft_rows)
