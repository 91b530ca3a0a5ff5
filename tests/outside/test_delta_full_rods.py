"""The full model of a tool on arms against a general multibody engine: MuJoCo (PyPI `mujoco`), six rods with mass on ball
joints, tied to a platform that is free to turn by `connect` constraints (see test_delta_mujoco.py for the rods).

Ours turns bodies by small angles, MuJoCo by finite ones: the platform turns by up to 45 urad here, and what is of second order
in that moves the tool by less than 1e-10 m.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.model.build import build_model
from beltspring.sim.model.system import RunElement

from tests.arms import (
    ARM_M,
    BELT_N_M,
    DRAG_NM_S,
    LAG_S,
    MAGNET_NM,
    ROTOR_KG_M2,
    ROUND,
    STATED,
    engine,
    heights,
    stated,
    z_step,
)
from tests.full.machines import MOTORS
from tests.outside.test_delta_mujoco import DOWN, EVERY, HARD, LOOP, SERVO, addresses, follow, mujoco, onto
from tests.support import bare, machine_of

ARM_KG, W, R_E, NEAR = 0.015, 0.025, 0.030, 0.150
KEYS = STATED | MOTORS | {
    "detail": "full", "delta.arm_stiffness_n_per_mm": 2000, "delta.arm_mass_g": 15, "delta.arm_damping": 0.01,
    "delta.joint_spacing_mm": 50, "delta.effector_radius_mm": 30, "delta.carriage_offset_mm": 25,
}  # fmt: skip
ROWS = 60

WORLD = """
<mujoco>
  <option gravity="0 0 -9.80665" integrator="RK4" timestep="{step}" tolerance="0" iterations="4">
    <flag contact="disable" refsafe="disable"/></option>
  <worldbody>
    <body name="effector" pos="0 0 {z}"><freejoint name="free"/>
      <inertial pos="0 0 0" mass="{mass}" diaginertia="{moments}"/><site name="nozzle" pos="{nozzle}"/></body>
    {towers}
  </worldbody>
  <equality>{ties}</equality><tendon>{tendons}</tendon><actuator>{servos}</actuator>
</mujoco>
"""
TOWER = """
<body name="carriage{i}" pos="0 0 0"><inertial pos="0 0 0" mass="{carriage}" diaginertia="1 1 1"/>
  <joint name="c{i}" type="slide" axis="0 0 1"/>{rods}</body>
<body name="rotor{i}"><inertial pos="0 0 0" mass="1e-9" diaginertia="{inertia} {inertia} {inertia}"/>
  <joint name="r{i}" type="hinge" axis="1 0 0"/></body>"""
ROD = """
<body name="rod{k}" pos="{high}" quat="{quat}"><inertial pos="0 0 0" mass="1e-9" diaginertia="1e-9 1e-9 1e-9"/>
  <joint name="b{k}" type="ball"/>
  <body name="mid{k}" pos="0 0 {half}"><inertial pos="0 0 0" mass="{mid}" diaginertia="1e-12 1e-12 1e-12"/>
    <joint name="m{k}" type="slide" axis="0 0 1"/></body>
  <body name="end{k}" pos="0 0 {length}"><inertial pos="0 0 0" mass="{sixth}" diaginertia="1e-12 1e-12 1e-12"/>
    <joint name="e{k}" type="slide" axis="0 0 1" stiffness="{arm}" damping="{arm_c}"/></body>
</body>"""
TIES = f"""<connect body1="end{{n}}" body2="effector" anchor="0 0 0" {HARD}/>
<joint joint1="e{{n}}" joint2="m{{n}}" polycoef="0 2 0 0 0" {HARD}/>"""


def words(values):
    return " ".join(f"{v:.17g}" for v in values)


def radius_m(machine):
    """Of the motors' pulleys, to the last digit."""
    return machine.wheels["motor A"].radius_m


def ours():
    """The machine, and the engine's full model of it: belts of constant stiffness without mass, straight magnets."""
    machine = machine_of(bare("delta", KEYS))
    light = tuple(replace(b, spec=replace(b.spec, mass_kg_m=0.0)) for b in machine.belts)
    wheels = {name: replace(wheel, inertia_kg_m2=0.0) for name, wheel in machine.wheels.items()}
    machine = replace(machine, belts=light, wheels=wheels)
    system = build_model(machine)
    eye, runs, motors = np.eye(system.n), [], []
    for name, magnet in zip("abc", stated().motors, strict=True):
        rotor, slide = (eye[system.dof_names.index(dof)] for dof in (f"rotor {name}", f"carriage {name} z"))
        row = slide - radius_m(machine) * rotor
        for end, sign in (("lower", 1.0), ("upper", -1.0)):
            runs.append(RunElement(name, end, sign * row, np.zeros(3), 0 * row, 1.0, BELT_N_M / 2, 1e4, LAG_S))
        motors.append(replace(magnet, row=rotor))
    return machine, replace(system, runs=tuple(runs), motors=tuple(motors), frictions=())


def joints(machine):
    """Reference places of the rods' ends, (6, 3) on the carriages and on the platform, and the tower of each."""
    z = machine.middle[2] + machine.design.arms.joints_above_nozzle_m
    out = []
    for i, e in enumerate(ROUND):
        side = np.array([e[1], -e[0], 0.0])
        for s in (-W, W):
            low = np.array([*(R_E * e), z]) + s * side
            out.append((low - DOWN[i], low, i))
    return out


def peer(machine, system, step_s):
    body = machine.body("effector")
    k, rods, ties = 0.2 / step_s**2, ["", "", ""], ""
    for number, (high, _, i) in enumerate(joints(machine)):
        arm = system.arms[number]
        rods[i] += ROD.format(
            k=number, high=words(high), quat=words(onto(DOWN[i] / ARM_M)), half=ARM_M / 2, length=ARM_M,
            mid=2 * ARM_KG / 3, sixth=ARM_KG / 6, arm=arm.stiffness_n_m, arm_c=arm.damping_n_s_m,
        )  # fmt: skip
        ties += TIES.format(n=number, k=-k, b=-2 * np.sqrt(k))
    towers = "".join(
        TOWER.format(
            i=i, carriage=machine.body(f"carriage {'abc'[i]}").mass_kg + ARM_KG / 3, rods=rods[i], inertia=ROTOR_KG_M2
        )
        for i in range(3)
    )
    loops = "".join(
        LOOP.format(i=i, belt=BELT_N_M, belt_c=BELT_N_M * LAG_S, minus_r=-radius_m(machine)) for i in range(3)
    )
    servos = "".join(SERVO.format(i=i, magnet=MAGNET_NM, drag=DRAG_NM_S) for i in range(3))
    text = WORLD.format(
        step=step_s, z=body.centre[2], mass=body.mass_kg, moments=words(np.diag(body.moments)),
        nozzle=words(np.subtract(machine.tool_point, body.centre)), towers=towers, ties=ties, tendons=loops, servos=servos,
    )  # fmt: skip
    return mujoco.MjModel.from_xml_string(text)


def tied(machine, system, model, q):
    """Data of MuJoCo's machine that stands at the engine's coordinates q (n,)."""
    data, at = mujoco.MjData(model), addresses(model)
    first = system.dof_names.index("effector x")
    centre = np.array(machine.body("effector").centre)
    shift, turn = q[first : first + 3], q[first + 3 : first + 6]
    free = at["free"]
    data.qpos[free : free + 3] = centre + shift
    mujoco.mju_axisAngle2Quat(data.qpos[free + 3 : free + 7], turn / np.linalg.norm(turn), np.linalg.norm(turn))
    rotation = np.zeros(9)
    mujoco.mju_quat2Mat(rotation, data.qpos[free + 3 : free + 7])
    up = [q[system.dof_names.index(f"carriage {name} z")] for name in "abc"]
    for i, name in enumerate("abc"):
        data.qpos[at[f"c{i}"]], data.qpos[at[f"r{i}"]] = up[i], q[system.dof_names.index(f"rotor {name}")]
    for k, (high, low, i) in enumerate(joints(machine)):
        along = centre + shift + rotation.reshape(3, 3) @ (low - centre) - high - [0.0, 0.0, up[i]]
        frame, length = np.zeros(9), np.linalg.norm(along)
        mujoco.mju_quat2Mat(frame, model.body(f"rod{k}").quat)
        data.qpos[at[f"b{k}"] : at[f"b{k}"] + 4] = onto(frame.reshape(3, 3).T @ along / length)
        data.qpos[at[f"e{k}"]], data.qpos[at[f"m{k}"]] = length - ARM_M, (length - ARM_M) / 2
    return data


def nozzle(machine, model, path, data):
    """Tool (ROWS, 3) at 1 ms from where `data` stands."""
    found, site = np.empty((ROWS, 3)), model.site("nozzle").id

    def seen(row):
        mujoco.mj_kinematics(model, data)
        found[row] = data.site_xpos[site]

    follow(path, model, data, heights(machine.middle), ROWS, seen, radius_m(machine))
    return found


def test_six_rods_that_are_tied():
    # 2.3e-10 m at 20.8 us, 1.3e-10 at half the step.
    machine, system = ours()
    path = z_step()
    for arm, (high, low, _) in zip(system.arms, joints(machine), strict=True):
        assert arm.start == pytest.approx(low - high, abs=1e-15)
    _, q, _ = engine(system, path, 25e-6)
    model = peer(machine, system, 1e-3 / EVERY)
    found = nozzle(machine, model, path, tied(machine, system, model, q[0]))
    told = system.tool_at(q[:ROWS])
    assert np.ptp(told, axis=0)[2] > 2e-3
    assert np.ptp(q[:ROWS, system.dof_names.index("effector about x")]) > 1e-6
    assert np.abs(found - told).max() < 1e-9
