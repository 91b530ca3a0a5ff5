"""How far a natural frequency may lie from what is told because springs are known within bands only, to first order.

d ln f = 1/2 sum over the springs of (share of the strain energy) d ln k: Rayleigh's quotient with its shape held (Rayleigh,
The Theory of Sound, 1877, art. 88-90, from memory: a small error of the shape changes the frequency to second order only).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..machine.build import reframed, sway_stiffness
from ..parts.design import Design, GuideSpec
from .guides import guide_stiffness
from .joints import JointElement, feet_stiffness, quiet
from .modes import Mode
from .motor import torque_limit
from .system import Array, System

Change = tuple[Design, Design]


def frequency_bands(
    system: System, tool: Array, modes: Sequence[Mode], changes: Sequence[Change], sigma: float
) -> Array:
    """(low, high) of each mode, (k, 2) Hz: two sigma of all uncertain springs together, which add by their squares.

    tool: (3,) m, where the modes were taken.  changes: for each uncertain thing the design with it `sigma` of its own sigmas
    lower, and higher; its masses, and what is no spring, are not looked at.
    """
    if not modes:
        return np.zeros((0, 2))
    q = system.rest(tool)
    shapes = np.array([m.shape for m in modes])
    whole = _energies(shapes, system.linear_stiffness(q))
    squares = np.zeros((2, len(modes)))
    for pair in changes:
        # d ln f at two sigma, for the number going down and going up.
        moved = np.array([_energies(shapes, stiffer(system, d, q)) / whole / sigma for d in pair])
        squares[0] += np.minimum(moved, 0.0).min(axis=0) ** 2
        squares[1] += np.maximum(moved, 0.0).max(axis=0) ** 2
    told = np.array([m.frequency_hz for m in modes])
    return np.stack([told * np.exp(-np.sqrt(squares[0])), told * np.exp(np.sqrt(squares[1]))], axis=1)


def _energies(shapes: Array, stiffness: Array) -> Array:
    return np.asarray(np.einsum("ki,ij,kj->k", shapes, stiffness, shapes))


def stiffer(system: System, design: Design, q: Array) -> Array:
    """What another design of the same machine adds to the linear stiffness about rest at q, (n, n); its lengths are not asked."""
    own = system.machine.design
    k = np.zeros((system.n, system.n))
    for run in system.runs:
        more = design.belts[_drive(system, run.belt)].ea_n / run.ea_n - 1
        k += more * run.stiffness(q) * np.outer(run.row, run.row)
    for motor in system.motors:
        spec = design.motors[motor.name]
        if motor.row is not None and spec is not None:
            more_nm = float(torque_limit(spec, 0.0)) - motor.limit_nm
            k += spec.rotor_teeth * more_nm * np.outer(motor.row, motor.row)
    if own.arms is not None and design.arms is not None:
        more = design.arms.arm_stiffness_n_m / own.arms.arm_stiffness_n_m - 1
        for arm in system.arms:
            k += more * arm.stiffness_at(q)
    if design.frame != own.frame and not system.joints:
        k += _sway(system, design)
    for joint in system.joints:
        changed = _changed(system, joint, design)
        if changed is not None:
            slide = 0.0 if joint.axis is None else float(joint.row[joint.axis] @ q)
            rows = joint.tangent(q)
            k += rows.T @ (changed.stiffness_alone(slide) - joint.stiffness_alone(slide)) @ rows
    return k


def _drive(system: System, belt: str) -> str:
    """The drive whose belt it is: of two belts on one shaft each has the spec of that drive."""
    spec = next(b.spec for b in system.machine.belts if b.name == belt)
    specs = system.machine.design.belts
    return belt if belt in specs else next(drive for drive, own in specs.items() if own is spec)


def _sway(system: System, design: Design) -> Array:
    """The frame's springs of the simple model, what another design adds to them."""
    k = np.zeros((system.n, system.n))
    other = reframed(system.machine, design)
    for body in system.machine.bodies:
        for axis in body.sway:
            i = system.dof_names.index(f"{body.name} {'xyz'[axis]}")
            k[i, i] += sway_stiffness(other, axis) - sway_stiffness(system.machine, axis)
    return k


def _changed(system: System, joint: JointElement, design: Design) -> JointElement | None:
    """The joint as another design has it; None where it is the same."""
    own, machine = system.machine.design, system.machine
    if joint.name == "feet":
        same = design.feet is None or design.feet == own.feet
        return None if same else replace(joint, stiffness=feet_stiffness(machine, design.feet))
    if joint.axis is None:
        if design.frame == own.frame:
            return None
        held = reframed(machine, design).frame_stiffness
        assert held is not None
        return replace(joint, stiffness=quiet(held))
    body = machine.body(joint.name.removesuffix(" guide"))
    guide = _guide_of(design, body.kind)
    if guide is None or guide == body.guide or body.place is None:
        return None
    found = guide_stiffness(body.name, guide, body.place, joint.axis)
    return replace(joint, stiffness=found.blocks, shaft=found.shaft, shaft_rows=found.shaft_rows)


def _guide_of(design: Design, kind: str) -> GuideSpec | None:
    return {"carriage": design.carriage.guide, "gantry": design.gantry.guide, "bed": design.bed.guide}.get(kind)
