"""Arms between carriages and what they carry: springs along their length, uniform thin rods in M (PHYSICS.md, section 7)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..machine.arm import Arm
from .kinematics import Kinematics
from .system import ArmElement

Array = NDArray[np.float64]


def arm_inertia(kin: Kinematics, arm: Arm) -> Array:
    """What an arm adds to M over the extended coordinates, (total, total): T = m/6 (v1.v1 + v1.v2 + v2.v2).

    Exact for a uniform thin rod however it swings, and the same at every place: M stays constant.
    """
    a, b = (kin.at(*end) for end in arm.ends)
    return np.asarray(arm.mass_kg / 6 * (2 * a.T @ a + a.T @ b + b.T @ a + 2 * b.T @ b))


def bars(kin: Kinematics) -> tuple[Arm, ...]:
    """The bars that carry: each pair as one in its middle at detail simple, where nothing turns; single arms at full."""
    pairs = kin.machine.arms
    return tuple(arm for pair in pairs for arm in pair.single) if kin.full else pairs


def build_arms(kin: Kinematics, mass: Array) -> tuple[ArmElement, ...]:
    """The arms of a machine; their damping 2 zeta sqrt(k m_red), m_red = 1 / (g M^-1 g'), g how they stretch at the reference.

    mass: (total, total).
    """
    n = kin.n
    found = []
    for arm in bars(kin):
        a, b = (kin.at(*end)[:, :n] for end in arm.ends)
        row = b - a
        stretch = arm.along / arm.length_m @ row
        reduced_kg = 1.0 / float(stretch @ np.linalg.solve(mass[:n, :n], stretch))
        damping = 2 * arm.damping_ratio * float(np.sqrt(arm.stiffness_n_m * reduced_kg))
        found.append(ArmElement(arm.name, row, arm.along, arm.length_m, arm.stiffness_n_m, damping))
    return tuple(found)
