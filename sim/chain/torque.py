"""How much of the torque it has at its speed each motor gives in a move."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..model.motor import torque_limit
from ..model.system import System
from ..parts.design import MotorSpec
from ..trace import Trace

Array = NDArray[np.float64]


def share_of(spec: MotorSpec, given_nm: Array, speed: Array, most_nm: float) -> float:
    """The largest share. given_nm, speed: (n,) of recorded rows, rad/s.  most_nm: the largest torque of every step.

    Speeds are those recorded: differences between rows would lose the peaks where a long trace is thinned.
    """
    given = np.abs(given_nm)
    share = float((given / np.maximum(torque_limit(spec, speed), 1e-9)).max())
    # Rows are recorded some time apart; the peak itself is kept from every step.
    return share * max(1.0, most_nm / float(given.max())) if given.max() > 0 else share


def rotor_speed(trace: Trace, system: System, motor: int) -> Array:
    """Speed of a rotor relative to its stator at each row, (n,) rad/s; of one that is no ideal motor."""
    row = system.motors[motor].row
    assert row is not None
    return np.asarray(trace.speeds @ row)


def torque_shares(trace: Trace, system: System) -> dict[str, float]:
    """By motor, the largest share of the torque it has at its speed that it gives in the move; ideal motors left out."""
    return {
        m.name: share_of(
            m.spec, trace.motor_nm[:, j], rotor_speed(trace, system, j), trace.largest(f"torque_{m.name}") or 0
        )
        for j, m in enumerate(system.motors)
        if m.spec is not None and len(trace.t_s) >= 3
    }
