"""Everything that pushes at one instant, in plain numpy: what the readable loop steps and the static equilibrium solves."""

from __future__ import annotations

import numpy as np

from .motor import drag, winding_s
from .system import Array, System


class Forces:
    """Everything that pushes at one instant: generalised force (n,), tensions (n_runs,), torques (n_motors,)."""

    def __init__(self, system: System) -> None:
        self.s = system
        self.inverse_mass = np.linalg.inv(system.mass)

    def __call__(
        self, q: Array, w: Array, theta: Array, omega: Array, limit: Array, z: Array, level: Array
    ) -> tuple[Array, Array, Array, Array]:
        """(q', w', tensions, torques). theta, omega, limit: (m,) command; z, level: (n_frictions,) bristles and sigma0 / g."""
        s = self.s
        v = w - s.command_inertia @ omega
        force = s.gravity - s.stiffness @ q - s.damping @ v
        for joint in s.joints:
            force += joint.force(q, v)
        tension = np.zeros(len(s.runs))
        torque = np.zeros(len(s.motors))
        for i, run in enumerate(s.runs):
            x = float(run.row @ q + run.command_row @ theta)
            speed = float(run.row @ v + run.command_row @ omega)
            length = run.length(q)
            tension[i] = max(0.0, run.pretension_n + run.ea_n * (x + run.lag_s * speed) / length)
            strain = max(x / length, -run.pretension_n / run.ea_n)
            force += -tension[i] * run.row + 0.5 * run.ea_n * strain**2 * run.length_row
        for arm in s.arms:
            along, pull = arm.pull(q, v)
            force -= pull * along
        for j, motor in enumerate(s.motors):
            if motor.row is None or motor.spec is None:
                # An ideal motor gives whatever its belts ask for.
                torque[j] = sum(tension[i] * run.command_row[j] for i, run in enumerate(s.runs))
                continue
            lag = motor.row @ q - theta[j]
            x, off = motor.spec.rotor_teeth * lag, float(motor.row @ v - omega[j])
            torque[j] = -limit[j] * np.sin(x) - drag(motor.damping_nm_s, winding_s(motor.spec), x, off)
            if motor.detent_nm:
                torque[j] -= motor.detent_nm * np.sin(4 * motor.spec.rotor_teeth * (motor.row @ q))
            force += torque[j] * motor.row
        for k, f in enumerate(s.frictions):
            slide = f.row @ v
            force -= (f.sigma0_n_m * z[k] + f.sigma1_n_s_m * (slide - level[k] * abs(slide) * z[k])) * f.row
        return v, self.inverse_mass @ force, tension, torque
