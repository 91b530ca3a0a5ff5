"""A stepper motor as the driver runs it: how much torque it can hold at a speed, and how stiff it stands. SI units.

In step tau = -A(omega) sin(N_r (theta - theta_cmd)), less a drag (`drag`); torque constant K_t = T_h / (sqrt(2) I_rated)
per peak ampere, since the data sheet's T_h has both phases at the rated current. (Acarnley, Stepping Motors; Kenjo and
Sugawara, Stepping Motors and their Microprocessor Controls; both from memory. The algebra of the limits is derived in
PHYSICS.md, section 3.)
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..parts.design import MotorSpec

Array = NDArray[np.float64]


def torque_constant(m: MotorSpec) -> float:
    """K_t, N m per ampere of phase peak."""
    return float(m.holding_torque_nm / (np.sqrt(2.0) * m.rated_current_a))


def torque_limit(m: MotorSpec, omega: Array | float) -> Array:
    """Largest torque A(omega) at the set current and supply voltage, N m; omega rad/s, any shape, sign ignored.

    Below the corner (R I + K_t w)^2 + (N_r w L I)^2 = V^2 the driver holds the current: K_t I. Above it the voltage
    limits: the phasor maximum where that needs no more than I, else the torque on the current circle at full voltage.
    """
    kt, r, v, i = torque_constant(m), m.resistance_ohm, m.supply_v, m.current_a
    w = np.abs(np.asarray(omega, dtype=float))
    x = m.rotor_teeth * w * m.inductance_h
    e = kt * w
    z2 = r * r + x * x
    z = np.sqrt(z2)
    held = (r * i + e) ** 2 + (x * i) ** 2 <= v * v
    # Current at the load angle of the phasor maximum: if the winding would not take more than I, voltage alone limits.
    free = (x * e / z2) ** 2 + (v / z - r * e / z2) ** 2 <= i * i
    pull_out = kt * (v / z - e * r / z2)
    with np.errstate(divide="ignore", invalid="ignore"):
        c = np.where(e > 0, (z2 * i * i + e * e - v * v) / (2 * z * i * e), -1.0)
    inside = np.clip(c, -1.0, 1.0)
    circle = np.where(c >= 1.0, 0.0, kt * i * (x * np.sqrt(1 - inside**2) - r * inside) / z)
    limit = np.where(held, kt * i, np.where(free, pull_out, circle))
    return np.asarray(np.maximum(limit, 0.0))


def magnetic_stiffness(m: MotorSpec) -> float:
    """k_m = N_r K_t I at standstill, N m/rad (D. W. Jones, Jones on Stepping Motors, University of Iowa)."""
    return m.rotor_teeth * float(torque_limit(m, 0.0))


def winding_s(m: MotorSpec) -> float:
    """N_r L / R, s: one over the speed off the command at which the windings' drag is largest."""
    return m.rotor_teeth * m.inductance_h / m.resistance_ohm


def drag(damping_nm_s: float, winding: float, x: float, off: float) -> float:
    """What the windings hold against a rotor that turns `off` rad/s faster than its command, N m; x = N_r lag, rad.

    b off max(0, cos x) / (1 + (off N_r L / R)^2): all of b off in step, nothing out of step. Two windings integrated show
    no torque that pulls a stalled rotor to its command; the shape between is our estimate. It never feeds energy to the
    motion off the command, and is at most b R / (2 N_r L).
    """
    return damping_nm_s * off * max(0.0, float(np.cos(x))) / (1 + (off * winding) ** 2)


def most_drag(m: MotorSpec, damping_nm_s: float, fastest: float) -> float:
    """The largest `drag` at speeds off the command up to `fastest` rad/s, N m: b R / (2 N_r L) where that speed is within."""
    winding = winding_s(m)
    return drag(damping_nm_s, winding, 0.0, min(fastest, 1 / winding))


def rotor_damping(m: MotorSpec) -> float:
    """b of the rotor against its command, N m s, from its damping ratio: 2 zeta sqrt(k_m J)."""
    return 2 * m.rotor_damping_ratio * float(np.sqrt(magnetic_stiffness(m) * m.rotor_inertia_kg_m2))
