"""Static equilibrium: where everything stands under its own weight with the motors holding their command."""

from __future__ import annotations

import numpy as np

from ..errors import RunError
from .forces import Forces
from .system import Array, System


def equilibrium(system: System, tool: Array, hand_n: Array | None = None, last_step: float = 1e-15) -> Array:
    """Coordinates (n,) at rest with the motors commanded to put the rigid tool at `tool` (3,), m; guides without friction.

    hand_n: (3,), a force between what carries the tool, at its mass centre, and the work, N.
    Newton with the model's own stiffness, until a step is shorter than `last_step`, m or rad; what is then left to go is some
    hundredths of it where there are no detents. Raises RunError where no equilibrium is found (belts slack under the weight).
    """
    q = system.rest(tool)
    hand = np.zeros(system.n) if hand_n is None else np.asarray(hand_n, float) @ hand_rows(system)
    smooth = system.motor_command(np.asarray(tool, float))
    theta = system.stepped(smooth)
    detent = any(m.detent_nm for m in system.motors)
    if not np.any(system.gravity) and not np.any(hand) and not detent and np.array_equal(theta, smooth):
        return q
    forces = Forces(system)
    still = np.zeros(len(system.motors))
    limit = np.array([m.limit_nm for m in system.motors])
    z = np.zeros(len(system.frictions))
    scale = max(
        float(np.abs(system.gravity).max()), float(np.abs(hand).max()), *(m.limit_nm for m in system.motors), 1e-3
    )
    for _ in range(200):
        _, acceleration, _, _ = forces(q, np.zeros(system.n), theta, still, limit, z, z)
        push = system.mass @ acceleration + hand
        step = np.linalg.solve(system.linear_stiffness(q) + _detents(system, q), push)
        q = q + step
        if np.abs(step).max() < last_step or np.abs(push).max() < 1e-12 * scale:
            return np.asarray(q)
    if np.abs(push).max() < 1e-6 * scale:
        return np.asarray(q)
    raise RunError(
        "no static equilibrium was found: raise belts.pretension_n or look for a guide that cannot carry the weight"
    )


def hand_rows(system: System) -> Array:
    """Rows (3, n): how far what carries the tool moves at its mass centre against the work."""
    machine = system.machine
    tool, work = machine.tool_body, machine.work_body
    lever = np.subtract(machine.body(tool).centre, machine.body(work).centre)
    carried = system.body_rows[work] + np.cross(system.body_turns[work], lever[:, None], axis=0)
    return np.asarray(system.body_rows[tool] - carried)


def _detents(system: System, q: Array) -> Array:
    """Stiffness (n, n) of the detents at q, where they push away as much as where they hold: a step that is too short
    finds the rest that holds, one with their true sign would look for the unstable one."""
    k = np.zeros((system.n, system.n))
    for motor in system.motors:
        if motor.row is not None and motor.spec is not None and motor.detent_nm:
            waves = 4 * motor.spec.rotor_teeth
            k += abs(waves * motor.detent_nm * np.cos(waves * float(motor.row @ q))) * np.outer(motor.row, motor.row)
    return k
