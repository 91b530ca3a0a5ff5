"""The linear CoreXY against a general multibody engine: MuJoCo (PyPI `mujoco`), with the machine written out by hand.

Frame top on two springs, gantry sliding on it, carriage sliding on the gantry, two rotors turning on the frame; each belt
run is a fixed tendon with stiffness and damping over joint coordinates, each motor a position and a velocity servo. The
joints are relative, as MuJoCo has them, where beltspring's coordinates are absolute, so the masses couple differently.
"""

from __future__ import annotations

import mujoco
import numpy as np
from beltspring.sim.model.facts import run_facts
from beltspring.sim.simulate.run import run

from tests.support import linear, model_of, plan_of, shipped, square_points, trapezoids

MASSLESS = {"belts.mass_g_m": 0, "idlers.inertia_g_mm2": 0, "carriage.friction_n": 0, "gantry.friction_n": 0}
STOPS = {"motion.corner_speed_step_mm_s": 0, "move.settle_ms": 150}

WORLD = """
<mujoco>
  <option gravity="0 0 0" integrator="RK4" timestep="5e-5"><flag contact="disable" constraint="disable"/></option>
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


def test_linear_corexy():
    scenario = shipped("desk-corexy", MASSLESS | STOPS)
    real = model_of(scenario)
    system = linear(real)
    machine, middle = system.machine, system.middle
    stiffness, mass = system.stiffness, {body.name: body.mass_kg for body in machine.bodies}
    spec, fx, fy = real.motors[0].spec, system.dof_names.index("frame x"), system.dof_names.index("frame y")
    assert spec is not None
    runs = {(run.belt, run.name): run for run in system.runs}
    turn = {m.name: system.motor_travel[j, 0] * m.radius_m for j, m in enumerate(system.motors)}  # +-1: which way round
    tendons = "".join(
        TENDON.format(
            k=fact.stiffness_n_m,
            c=fact.stiffness_n_m * runs[fact.belt, fact.name].lag_s,
            sign=1 if fact.belt == "a" else -1,
            motor=fact.belt,
            radius=-np.sign(turn[fact.belt]) * 20 * 0.002 / (2 * np.pi),
        )
        for fact in run_facts(system)
    )
    magnet = 50 * spec.holding_torque_nm * spec.current_a / (np.sqrt(2) * spec.rated_current_a)
    model = mujoco.MjModel.from_xml_string(
        WORLD.format(
            frame=mass["frame"] - 2e-9,
            gantry=mass["gantry"],
            carriage=mass["carriage"],
            inertia=spec.rotor_inertia_kg_m2,
            kx=stiffness[fx, fx],
            ky=stiffness[fy, fy],
            cx=system.damping[fx, fx],
            cy=system.damping[fy, fy],
            magnet=magnet,
            drag=2 * spec.rotor_damping_ratio * np.sqrt(magnet * spec.rotor_inertia_kg_m2),
            tendons=tendons,
        )
    )
    file = scenario.file
    motion = trapezoids(
        square_points(middle, file.move.size_mm / 1e3),
        file.motion.speed_mm_s / 1e3,
        file.motion.acceleration_mm_s2 / 1e3,
        file.move.settle_ms / 1e3,
    )
    trace = run(system, plan_of(scenario, system))

    data = mujoco.MjData(model)
    start = motion[0].p - middle
    axes = {"a": np.array([1.0, 1.0]), "b": np.array([1.0, -1.0])}
    radius = 20 * 0.002 / (2 * np.pi)
    angle = {m: np.sign(turn[m]) * axes[m] / radius for m in "ab"}  # rad per metre of tool
    joint = {
        name: mujoco.mj_name2id(model, mujoco.mjtObj.mjOBJ_JOINT, name) for name in ("fx", "fy", "x", "y", "a", "b")
    }
    data.qpos[joint["x"]], data.qpos[joint["y"]] = start[0], start[1]
    for m in "ab":
        data.qpos[joint[m]] = angle[m] @ start[:2]
    ends = np.array([move.t1 for move in motion])

    def servo(_: mujoco.MjModel, d: mujoco.MjData) -> None:
        # Called at each of the four stages, with the stage's own time.
        move = motion[min(int(np.searchsorted(ends, d.time - 1e-9)), len(motion) - 1)]
        place, speed = move.at(d.time)
        for i, m in enumerate("ab"):
            d.ctrl[2 * i] = angle[m] @ (place - middle)[:2]
            d.ctrl[2 * i + 1] = angle[m] @ speed[:2]

    tool = np.empty((len(trace.t_s), 2))
    try:
        mujoco.set_mjcb_control(servo)
        for row in range(len(tool)):
            tool[row] = [data.qpos[joint["fx"]] + data.qpos[joint["x"]], data.qpos[joint["fy"]] + data.qpos[joint["y"]]]
            if row + 1 < len(tool):
                assert abs(data.time - trace.t_s[row]) < 1e-9
                mujoco.mj_step(model, data, nstep=20)
    finally:
        mujoco.set_mjcb_control(None)
    difference = np.abs(trace.tool[:, :2] - middle[:2] - tool)
    assert np.abs(trace.tool - trace.commanded).max() > 50e-6  # it does ring
    assert difference.max() < 0.1e-6
