"""The linear CoreXY as a MuJoCo model (PyPI `mujoco`), written out by hand: an oracle for tests, a peer for benchmarks.

Frame top on two springs, gantry sliding on it, carriage sliding on the gantry, two rotors turning on the frame; each belt
run is a fixed tendon with stiffness and damping over joint coordinates, each motor a position and a velocity servo. The
joints are relative, as MuJoCo has them, where beltspring's coordinates are absolute, so the masses couple differently.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import mujoco
import numpy as np
from beltspring.sim.model.facts import run_facts
from beltspring.sim.model.system import System

from tests.support import Array, EvenMotion, linear

#: What the hand-written model leaves out, as keys to change in a shipped CoreXY.
MASSLESS: dict[str, Any] = {
    "belts.mass_g_m": 0,
    "idlers.inertia_g_mm2": 0,
    "carriage.friction_n": 0,
    "gantry.friction_n": 0,
    "motion.corner_speed_step_mm_s": 0,
}
RADIUS = 20 * 0.002 / (2 * np.pi)  # of a pulley of 20 teeth, 2 mm pitch, m

WORLD = """
<mujoco>
  <option gravity="0 0 0" integrator="RK4" timestep="{step}"><flag contact="disable" constraint="disable"/></option>
  <worldbody>
    <body name="frame">
      <inertial pos="0 0 0" mass="{frame}" diaginertia="1 1 1"/>
      <joint name="fx" type="slide" axis="1 0 0" stiffness="{kx}" damping="{cx}"/>
      <joint name="fy" type="slide" axis="0 1 0" stiffness="{ky}" damping="{cy}"/>
      <body name="rotor_a">
        <inertial pos="0 0 0" mass="1e-9" diaginertia="{inertia} {inertia} {inertia}"/>
        <joint name="a" type="hinge" axis="0 0 1"/>
      </body>
      <body name="rotor_b">
        <inertial pos="0 0 0" mass="1e-9" diaginertia="{inertia} {inertia} {inertia}"/>
        <joint name="b" type="hinge" axis="0 0 1"/>
      </body>
      <body name="gantry">
        <inertial pos="0 0 0" mass="{gantry}" diaginertia="1 1 1"/>
        <joint name="y" type="slide" axis="0 1 0"/>
        <body name="carriage">
          <inertial pos="0 0 0" mass="{carriage}" diaginertia="1 1 1"/>
          <joint name="x" type="slide" axis="1 0 0"/>
        </body>
      </body>
    </body>
  </worldbody>
  <tendon>{tendons}</tendon>
  <actuator>
    <position joint="a" kp="{magnet}"/> <velocity joint="a" kv="{drag}"/>
    <position joint="b" kp="{magnet}"/> <velocity joint="b" kv="{drag}"/>
  </actuator>
</mujoco>
"""

# Moyer's CoreXY: a run of belt A stretches by dX + dY - dA, one of belt B by dX - dY - dB (the other run by as much less).
TENDON = """<fixed stiffness="{k}" damping="{c}" springlength="0">
  <joint joint="x" coef="1"/><joint joint="y" coef="{sign}"/><joint joint="{motor}" coef="{radius}"/></fixed>"""


@dataclass(frozen=True)
class Peer:
    """The model; per motor its angle per metre of tool, (2,); where each joint stands in qpos; the tool's middle, m."""

    model: mujoco.MjModel
    angle: dict[str, Array]
    joint: dict[str, int]
    middle: Array

    def start(self, tool: Array) -> mujoco.MjData:
        """At rest with the tool at a place."""
        data = mujoco.MjData(self.model)
        off = tool - self.middle
        data.qpos[self.joint["x"]], data.qpos[self.joint["y"]] = off[0], off[1]
        for motor, row in self.angle.items():
            data.qpos[self.joint[motor]] = row @ off[:2]
        return data

    def command(self, move: EvenMotion, t: float) -> list[float]:
        """What the servos are told at t: angle and speed of a, angle and speed of b."""
        place, speed = move.at(t)
        told: list[float] = []
        for row in self.angle.values():
            told += [float(row @ (place - self.middle)[:2]), float(row @ speed[:2])]
        return told

    def tool(self, qpos: Array) -> Array:
        """Tool offset (..., 2) from the middle, m."""
        j = self.joint
        return np.stack([qpos[..., j["fx"]] + qpos[..., j["x"]], qpos[..., j["fy"]] + qpos[..., j["y"]]], axis=-1)


def peer_of(real: System, step_s: float) -> Peer:
    """The MuJoCo model of a CoreXY without belt mass, idler inertia and guide friction (`MASSLESS`), made linear."""
    system = linear(real)
    mass = {body.name: body.mass_kg for body in system.machine.bodies}
    spec = real.motors[0].spec
    fx, fy = system.dof_names.index("frame x"), system.dof_names.index("frame y")
    assert spec is not None
    runs = {(run.belt, run.name): run for run in system.runs}
    turn = {m.name: float(np.sign(system.motor_travel[j, 0])) for j, m in enumerate(system.motors)}  # which way round
    tendons = "".join(
        TENDON.format(
            k=fact.stiffness_n_m,
            c=fact.stiffness_n_m * runs[fact.belt, fact.name].lag_s,
            sign=1 if fact.belt == "a" else -1,
            motor=fact.belt,
            radius=-turn[fact.belt] * RADIUS,
        )
        for fact in run_facts(system)
    )
    magnet = spec.rotor_teeth * spec.holding_torque_nm * spec.current_a / (np.sqrt(2) * spec.rated_current_a)
    model = mujoco.MjModel.from_xml_string(
        WORLD.format(
            step=step_s,
            frame=mass["frame"] - 2e-9,
            gantry=mass["gantry"],
            carriage=mass["carriage"],
            inertia=spec.rotor_inertia_kg_m2,
            kx=system.stiffness[fx, fx],
            ky=system.stiffness[fy, fy],
            cx=system.damping[fx, fx],
            cy=system.damping[fy, fy],
            magnet=magnet,
            drag=2 * spec.rotor_damping_ratio * np.sqrt(magnet * spec.rotor_inertia_kg_m2),
            tendons=tendons,
        )
    )
    ways = {"a": np.array([1.0, 1.0]), "b": np.array([1.0, -1.0])}
    joint = {n: mujoco.mj_name2id(model, mujoco.mjtObj.mjOBJ_JOINT, n) for n in ("fx", "fy", "x", "y", "a", "b")}
    return Peer(model, {m: turn[m] * ways[m] / RADIUS for m in "ab"}, joint, system.middle)
