"""How much of the torque it has at its speed each motor gives in a move."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..model.motor import torque_limit
from ..model.system import System
from ..parts.design import MotorSpec
from ..trace import Trace

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class MotorTorque:
    """What a motor gives in a move against what it has. given_nm, limit_nm, share: (n,) of recorded rows.

    limit_nm: the largest torque at the speed it has then.  share: of it, 0 or more.  most: the largest share of every step.
    """

    given_nm: Array
    limit_nm: Array
    share: Array
    most: float


def torque_of(spec: MotorSpec, given_nm: Array, speed: Array, most_nm: float) -> MotorTorque:
    """One motor's. given_nm, speed: (n,) of recorded rows, rad/s.  most_nm: the largest torque of every step.

    Speeds are those recorded: differences between rows would lose the peaks where a long trace is thinned.
    """
    given, limit = np.abs(given_nm), torque_limit(spec, speed)
    share = given / np.maximum(limit, 1e-9)
    most = float(share.max())
    # Rows are recorded some time apart; the peak itself is kept from every step.
    if given.max() > 0:
        most *= max(1.0, most_nm / float(given.max()))
    return MotorTorque(np.asarray(given_nm, float), limit, share, most)


def share_of(spec: MotorSpec, given_nm: Array, speed: Array, most_nm: float) -> float:
    """The largest share; as `torque_of`."""
    return torque_of(spec, given_nm, speed, most_nm).most


def rotor_speed(trace: Trace, system: System, motor: int) -> Array:
    """Speed of a rotor relative to its stator at each row, (n,) rad/s; of one that is no ideal motor."""
    one = system.motors[motor]
    assert one.row is not None
    kept = trace.rotor_rad_s.get(one.name)
    return np.asarray(trace.speeds @ one.row) if kept is None else kept


def let_go_of_coordinates(trace: Trace, system: System) -> None:
    """Keep of every coordinate and its rate only the rotors' speeds: what is told of a run and drawn asks for no more."""
    if not trace.rotor_rad_s:
        moved = {m.name: rotor_speed(trace, system, k) for k, m in enumerate(system.motors) if m.row is not None}
        trace.rotor_rad_s, trace.q, trace.speeds = moved, trace.q[:, :0].copy(), trace.speeds[:, :0].copy()


def motor_torques(trace: Trace, system: System) -> dict[str, MotorTorque]:
    """By motor, its torque in the move; ideal motors left out, and all of a move that was not simulated."""
    return {
        m.name: torque_of(
            m.spec, trace.motor_nm[:, j], rotor_speed(trace, system, j), trace.largest(f"torque_{m.name}") or 0
        )
        for j, m in enumerate(system.motors)
        if m.spec is not None and len(trace.t_s) >= 3
    }


def torque_shares(trace: Trace, system: System) -> dict[str, float]:
    """By motor, the largest share of the torque it has at its speed that it gives in the move; ideal motors left out."""
    return {name: torque.most for name, torque in motor_torques(trace, system).items()}
