"""Runs of the stated machine on arms against a general multibody engine: MuJoCo (PyPI `mujoco`), to 1e-9 m.

Twice: arms without mass as spatial tendons; and arms with mass as rods on ball joints, held to the platform by `connect`
constraints. There a rod that gives way lengthwise is its three masses m/6, 2m/3, m/6 (Simpson's rule is exact for the square
of a speed that is linear along it) on slides of their own. MuJoCo's constraints give way a little: k = 0.2 / step^2 is as
hard as its steps bear, and the ends part by up to 1e-10 m. Its servos hold over a step, so all is of second order in it.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.arms import (
    ARM_M,
    BELT_N_M,
    CARRIAGE_KG,
    DRAG_NM_S,
    EFFECTOR_KG,
    LAG_S,
    MAGNET_NM,
    MIDDLE,
    PAIR_KG,
    PAIR_N_M,
    PAIR_N_S_M,
    RADIUS_M,
    ROTOR_KG_M2,
    ROUND,
    SPAN_M,
    Equations,
    circle,
    engine,
    heights,
    slopes,
    stated,
    z_step,
)  # fmt: skip

mujoco = pytest.importorskip("mujoco", reason="needs MuJoCo: install the extra `oracle`")

PATHS = {"up": z_step, "circle": circle}
STEP_S = 125e-6
EVERY = 48  # steps a millisecond: breaks of the paths fall on whole ones

WORLD = """
<mujoco>
  <option gravity="0 0 -9.80665" integrator="RK4" timestep="{step}"><flag contact="disable"/></option>
  <worldbody>
    <body name="effector"><inertial pos="0 0 0" mass="{effector}" diaginertia="1 1 1"/>
      <joint name="x" type="slide" axis="1 0 0"/><joint name="y" type="slide" axis="0 1 0"/>
      <joint name="z" type="slide" axis="0 0 1"/>
      <site name="tool" pos="0 0 0"/></body>
    {towers}
  </worldbody>
  <tendon>{tendons}</tendon>
  <actuator>{servos}</actuator>
</mujoco>
"""
TOWER = """
<body name="carriage{i}" pos="{x} {y} 0"><inertial pos="0 0 0" mass="{carriage}" diaginertia="1 1 1"/>
  <joint name="c{i}" type="slide" axis="0 0 1"/><site name="s{i}" pos="0 0 0"/></body>
<body name="rotor{i}"><inertial pos="0 0 0" mass="1e-9" diaginertia="{inertia} {inertia} {inertia}"/>
  <joint name="r{i}" type="hinge" axis="1 0 0"/></body>"""
TENDONS = """
<fixed stiffness="{belt}" damping="{belt_c}" springlength="0">
  <joint joint="c{i}" coef="1"/><joint joint="r{i}" coef="{minus_r}"/></fixed>
<spatial stiffness="{arm}" damping="{arm_c}" springlength="{length}">
  <site site="s{i}"/><site site="tool"/></spatial>"""
SERVO = '<position joint="r{i}" kp="{magnet}"/> <velocity joint="r{i}" kv="{drag}"/>'


def muscle(step_s):
    """The stated machine with arms without mass: spatial tendons for arms, fixed ones for belts."""
    towers = "".join(
        TOWER.format(i=i, x=SPAN_M * e[0], y=SPAN_M * e[1], carriage=CARRIAGE_KG, inertia=ROTOR_KG_M2)
        for i, e in enumerate(ROUND)
    )
    tendons = "".join(
        TENDONS.format(
            i=i, belt=BELT_N_M, belt_c=BELT_N_M * LAG_S, minus_r=-RADIUS_M, arm=PAIR_N_M, arm_c=PAIR_N_S_M, length=ARM_M
        )
        for i in range(3)
    )
    servos = "".join(SERVO.format(i=i, magnet=MAGNET_NM, drag=DRAG_NM_S) for i in range(3))
    text = WORLD.format(step=step_s, effector=EFFECTOR_KG, towers=towers, tendons=tendons, servos=servos)
    return mujoco.MjModel.from_xml_string(text)


def addresses(model):
    """Where each joint stands in qpos, by name."""
    return {model.joint(i).name: model.joint(i).qposadr[0] for i in range(model.njnt)}


def follow(path, model, data, tilt, count, seen, radius_m=RADIUS_M):
    """Steps from where `data` stands, commands given at each stage, seen(row) called at each ms. tilt: (3,) heights that turn
    nothing."""
    ends = np.array([t1 for _, t1 in path.pieces()])

    def servo(_, d):
        tool, speed = path.at(d.time, min(int(np.searchsorted(ends, d.time - 1e-9)), 3))
        turn, spin = (heights(tool) - tilt) / radius_m, slopes(tool) @ speed / radius_m
        d.ctrl[:] = np.stack([turn, spin], axis=1).ravel()

    try:
        mujoco.set_mjcb_control(servo)
        for row in range(count):
            seen(row)
            mujoco.mj_step(model, data, nstep=EVERY)
    finally:
        mujoco.set_mjcb_control(None)


def tool_of(model, path, data, tilt, count):
    """Tool (count, 3) at 1 ms, its slides' coordinates."""
    at, tool = addresses(model), np.empty((count, 3))

    def seen(row):
        tool[row] = [data.qpos[at[a]] for a in "xyz"]

    follow(path, model, data, tilt, count, seen)
    return tool


@pytest.mark.parametrize("name", PATHS)
def test_against_tendons(name):
    path = PATHS[name]()
    times, q, _ = engine(stated(pair_kg=0.0), path, STEP_S)
    model, start = muscle(1e-3 / EVERY), Equations(pair_kg=0.0).rest(path)
    data, at = mujoco.MjData(model), addresses(model)
    for i in range(3):
        data.qpos[at[f"r{i}"]], data.qpos[at[f"c{i}"]] = start[i], start[3 + i]
        data.qpos[at["xyz"[i]]] = start[6 + i]
    rows = min(len(times), 400)  # of the circle: its ramp and a quarter turn; DOP853 goes all the way
    tool = tool_of(model, path, data, np.zeros(3), rows)
    assert np.abs(tool - MIDDLE - q[:rows, 6:]).max() < 1e-9


RODS = """
<mujoco>
  <option gravity="0 0 -9.80665" integrator="RK4" timestep="{step}" tolerance="0" iterations="4">
    <flag contact="disable" refsafe="disable"/></option>
  <worldbody>
    <body name="effector" pos="0 0 {low}"><inertial pos="0 0 0" mass="{effector}" diaginertia="1 1 1"/>
      <joint name="x" type="slide" axis="1 0 0"/><joint name="y" type="slide" axis="0 1 0"/>
      <joint name="z" type="slide" axis="0 0 1"/></body>
    {towers}
  </worldbody>
  <equality>{ties}</equality>
  <tendon>{tendons}</tendon>
  <actuator>{servos}</actuator>
</mujoco>
"""
ROD = """
<body name="carriage{i}" pos="{x} {y} {high}"><inertial pos="0 0 0" mass="{carriage}" diaginertia="1 1 1"/>
  <joint name="c{i}" type="slide" axis="0 0 1"/>
  <body name="rod{i}" quat="{quat}"><inertial pos="0 0 0" mass="1e-9" diaginertia="1e-9 1e-9 1e-9"/>
    <joint name="b{i}" type="ball"/>
    <body name="mid{i}" pos="0 0 {half}"><inertial pos="0 0 0" mass="{mid}" diaginertia="1e-12 1e-12 1e-12"/>
      <joint name="m{i}" type="slide" axis="0 0 1"/></body>
    <body name="end{i}" pos="0 0 {length}"><inertial pos="0 0 0" mass="{sixth}" diaginertia="1e-12 1e-12 1e-12"/>
      <joint name="e{i}" type="slide" axis="0 0 1" stiffness="{arm}" damping="{arm_c}"/></body>
  </body>
</body>
<body name="rotor{i}"><inertial pos="0 0 0" mass="1e-9" diaginertia="{inertia} {inertia} {inertia}"/>
  <joint name="r{i}" type="hinge" axis="1 0 0"/></body>"""
HARD = 'solref="{k} {b}" solimp="0.9999 0.9999 0.001 0.5 2"'
TIES = f"""<connect body1="end{{i}}" body2="effector" anchor="0 0 0" {HARD}/>
<joint joint1="e{{i}}" joint2="m{{i}}" polycoef="0 2 0 0 0" {HARD}/>"""
LOOP = """
<fixed stiffness="{belt}" damping="{belt_c}" springlength="0">
  <joint joint="c{i}" coef="1"/><joint joint="r{i}" coef="{minus_r}"/></fixed>"""
RISE_M = float(np.sqrt(ARM_M**2 - SPAN_M**2))
DOWN = np.hstack([-SPAN_M * ROUND, np.full((3, 1), -RISE_M)])  # along each rod with the tool in the middle, m


def onto(way):
    """Unit quaternion (4,) that turns Z onto a direction (3,)."""
    turn = np.array([1 + way[2], -way[1], way[0], 0.0])
    return turn / np.linalg.norm(turn)


def rods(step_s):
    """The stated machine with rods of mass on ball joints, tied to the platform."""
    k = 0.2 / step_s**2
    towers, ties = "", ""
    for i, e in enumerate(ROUND):
        quat = " ".join(f"{c:.17g}" for c in onto(DOWN[i] / ARM_M))
        towers += ROD.format(
            i=i, x=SPAN_M * e[0], y=SPAN_M * e[1], high=MIDDLE[2] + RISE_M, quat=quat, half=ARM_M / 2, length=ARM_M,
            carriage=CARRIAGE_KG + PAIR_KG / 6, mid=2 * PAIR_KG / 3, sixth=PAIR_KG / 6, arm=PAIR_N_M, arm_c=PAIR_N_S_M,
            inertia=ROTOR_KG_M2,
        )  # fmt: skip
        ties += TIES.format(i=i, k=-k, b=-2 * np.sqrt(k))
    loops = "".join(LOOP.format(i=i, belt=BELT_N_M, belt_c=BELT_N_M * LAG_S, minus_r=-RADIUS_M) for i in range(3))
    servos = "".join(SERVO.format(i=i, magnet=MAGNET_NM, drag=DRAG_NM_S) for i in range(3))
    text = RODS.format(
        step=step_s, low=MIDDLE[2], effector=EFFECTOR_KG, towers=towers, ties=ties, tendons=loops, servos=servos
    )
    return mujoco.MjModel.from_xml_string(text)


def tied(model, q):
    """Data of a machine on rods that stands at the engine's coordinates q (9,)."""
    data, at = mujoco.MjData(model), addresses(model)
    data.qpos[[at[a] for a in "xyz"]] = q[6:]
    for i in range(3):
        data.qpos[at[f"r{i}"]], data.qpos[at[f"c{i}"]] = q[i], q[3 + i]
        along = DOWN[i] + q[6:] - np.array([0.0, 0.0, q[3 + i]])
        frame = np.zeros(9)
        mujoco.mju_quat2Mat(frame, model.body(f"rod{i}").quat)
        length = np.linalg.norm(along)
        data.qpos[at[f"b{i}"] : at[f"b{i}"] + 4] = onto(frame.reshape(3, 3).T @ along / length)
        data.qpos[at[f"e{i}"]], data.qpos[at[f"m{i}"]] = length - ARM_M, (length - ARM_M) / 2
    return data


@pytest.mark.parametrize(("name", "rows"), [("up", 151), ("circle", 200)])
def test_against_rods_that_are_tied(name, rows):
    # 2.4e-10 and 3.9e-10 m at 20.8 us, a quarter of it at half the step; the whole circle, which takes a minute: 4e-10.
    path = PATHS[name]()
    _, q, _ = engine(stated(), path, STEP_S)
    model = rods(1e-3 / EVERY)
    tool = tool_of(model, path, tied(model, q[0]), heights(MIDDLE), rows)
    assert np.ptp(tool, axis=0).max() > 4e-3
    assert np.abs(tool - q[:rows, 6:]).max() < 1e-9


def test_energy_of_swinging_rods():
    # A rod with mass m on a ball joint: MuJoCo's own kinetic energy against m/6 (v1.v1 + v1.v2 + v2.v2), any swing.
    rng = np.random.default_rng(7)
    thin = PAIR_KG * ARM_M**2 / 12
    model = mujoco.MjModel.from_xml_string(
        f"""<mujoco><option gravity="0 0 0"><flag energy="enable"/></option><worldbody><body>
        <inertial pos="0 0 0" mass="1e-12" diaginertia="1e-15 1e-15 1e-15"/><joint type="slide" axis="0 0 1"/>
        <body><inertial pos="0 0 {-ARM_M / 2}" mass="{PAIR_KG}" diaginertia="{thin} {thin} 1e-15"/>
        <joint type="ball"/><site name="end" pos="0 0 {-ARM_M}"/></body></body></worldbody></mujoco>"""
    )
    data = mujoco.MjData(model)
    system = stated()
    for _ in range(5):
        turn = rng.normal(size=4)
        data.qpos[1:] = turn / np.linalg.norm(turn)
        data.qvel[0], data.qvel[1:] = rng.normal(), rng.normal(size=3)
        data.qvel[3] = 0.0  # no spin about the rod itself
        mujoco.mj_forward(model, data)
        jacobian = np.zeros((3, model.nv))
        mujoco.mj_jacSite(model, data, jacobian, None, data.site("end").id)
        end = jacobian @ data.qvel
        speed = np.zeros(9)
        speed[3], speed[6:] = data.qvel[0], end
        bodies = np.zeros((9, 9))
        bodies[3:6, 3:6] = CARRIAGE_KG * np.eye(3)
        bodies[6:, 6:] = EFFECTOR_KG * np.eye(3)
        bodies[:3, :3] = ROTOR_KG_M2 * np.eye(3)
        # Of three arms, two hang from carriages that stand: each has m/6 v2.v2.
        arms = 0.5 * speed @ (system.mass - bodies) @ speed - 2 * PAIR_KG / 6 * end @ end
        mujoco.mj_energyVel(model, data)
        assert arms == pytest.approx(data.energy[1], rel=1e-9)
