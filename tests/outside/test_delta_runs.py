"""Runs of the stated machine on arms against scipy's DOP853 (its equations written again) and MuJoCo, to 1e-9 m."""

from __future__ import annotations

from dataclasses import replace

import mujoco
import numpy as np
import pytest
from beltspring.sim.model.forces import Forces
from scipy.integrate import solve_ivp

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
)

PATHS = {"up": z_step, "circle": circle}
STEP_S = 125e-6


def off(path, times, tool):
    """Tool less command, less its value at the start, (k, 3)."""
    ends = np.array([t1 for _, t1 in path.pieces()])
    asked = np.array([path.at(t, min(int(np.searchsorted(ends, t - 1e-12)), 3))[0] for t in times])
    return tool - asked - (tool[0] - asked[0])


KNOWN = {
    "up": {
        "sag": (-40.507, 24.997, -65.714),
        "extremes": [
            ((-31.680, 0.013), (28.122, 0.047)),
            ((-17.606, 0.047), (19.697, 0.013)),
            ((-31.757, 0.008), (35.074, 0.068)),
        ],
        "places": {
            0.020: (59.9531346, -39.9726938, 50.5088057),
            0.050: (59.9808308, -39.9850110, 53.2814012),
            0.090: (59.9649156, -39.9800534, 54.9235297),
        },
    },
    "circle": {
        "sag": (-21.351, 1.493, -49.604),
        "extremes": [
            ((-17.360, 1.301), (31.266, 0.685)),
            ((-94.242, 0.013), (93.259, 1.269)),
            ((-3.184, 1.302), (4.226, 0.045)),
        ],
        "places": {
            0.100: (27.9123597, 10.9702774, 49.9522643),
            0.500: (-21.6016553, 20.8047398, 49.9523748),
            1.000: (4.8551082, -29.5955324, 49.9523659),
        },
    },
}  # fmt: skip


@pytest.mark.parametrize("name", PATHS)
def test_against_an_integrator_and_published_values(name):
    path, known = PATHS[name](), KNOWN[name]
    times, q, _ = engine(stated(), path, STEP_S)
    tool = MIDDLE + q[:, 6:]
    assert path.at(0.0, 0)[0] + np.array(known["sag"]) / 1e6 == pytest.approx(tool[0], abs=1e-9)
    dev = off(path, times, tool) * 1e6
    for axis, ((low, low_s), (high, high_s)) in enumerate(known["extremes"]):
        assert (dev[:, axis].min(), dev[:, axis].max()) == pytest.approx((low, high), abs=1e-3)
        assert times[dev[:, axis].argmin()] == pytest.approx(low_s, abs=1e-9)
        assert times[dev[:, axis].argmax()] == pytest.approx(high_s, abs=1e-9)
    for t, place in known["places"].items():
        assert tool[np.argmin(np.abs(times - t))] * 1e3 == pytest.approx(place, abs=2e-7)
    peer = Equations().solve(path, times)[:, 6:9]
    assert np.abs(peer - tool).max() < 1e-9


@pytest.mark.parametrize("name", PATHS)
def test_both_loops_together(name):
    path, system = PATHS[name](), stated()
    step_s = STEP_S if name == "up" else 2.5e-4
    fast, slow = (engine(system, path, step_s, loop)[1] for loop in ("generated", "reference"))
    assert np.abs(fast - slow).max() < 1e-9
    assert np.abs(fast[:, 6:] - slow[:, 6:]).max() < 1e-12


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


def follow(model, path, start, count, every):
    """qpos by name at 1 ms, commands given at each stage."""
    data = mujoco.MjData(model)
    at = {model.joint(i).name: model.joint(i).qposadr[0] for i in range(model.njnt)}
    for i in range(3):
        data.qpos[at[f"r{i}"]], data.qpos[at[f"c{i}"]] = start[i], start[3 + i]
        data.qpos[at["xyz"[i]]] = start[6 + i]
    ends = np.array([t1 for _, t1 in path.pieces()])

    def servo(_, d):
        tool, speed = path.at(d.time, min(int(np.searchsorted(ends, d.time - 1e-9)), 3))
        turn, spin = heights(tool) / RADIUS_M, slopes(tool) @ speed / RADIUS_M
        d.ctrl[:] = np.stack([turn, spin], axis=1).ravel()

    tool = np.empty((count, 3))
    try:
        mujoco.set_mjcb_control(servo)
        for row in range(count):
            tool[row] = [data.qpos[at[a]] for a in "xyz"]
            mujoco.mj_step(model, data, nstep=every)
    finally:
        mujoco.set_mjcb_control(None)
    return tool


@pytest.mark.parametrize("name", PATHS)
def test_against_mujoco_with_tendons(name):
    path = PATHS[name]()
    times, q, _ = engine(stated(pair_kg=0.0), path, STEP_S)
    step_s = 1e-3 / 48  # breaks of the paths fall on whole steps
    count = len(times) if name == "up" else 400  # up to 0.4 s of the circle
    tool = follow(muscle(step_s), path, Equations(pair_kg=0.0).rest(path), count, 48)
    assert np.abs(tool - MIDDLE - q[:count, 6:]).max() < 1e-9


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


def test_energy_is_kept_without_losses():
    # What the arms hold belongs to the energy: with u frozen it would be off by half of the kinetic energy in 50 ms.
    system = stated(pair_n_s_m=0.0, belt_lag_s=0.0)
    system = replace(system, motors=tuple(replace(m, damping_nm_s=0.0) for m in system.motors))
    forces, tool = Forces(system), np.array([0.06, -0.04, 0.05])
    theta, n = system.motor_command(tool), system.n
    limit = np.array([m.limit_nm for m in system.motors])
    none = np.zeros(0)

    def energy(y):
        q, v = y[:n], y[n:]
        out = 0.5 * v @ system.mass @ v - system.gravity @ q
        for run in system.runs:
            out += 0.5 * run.ea_n * (run.row @ q) ** 2
        for arm in system.arms:
            out += 0.5 * arm.stiffness_n_m * (np.linalg.norm(arm.start + arm.row @ q) - arm.length_m) ** 2
        for j, m in enumerate(system.motors):
            out += m.limit_nm / m.spec.rotor_teeth * 2 * np.sin(m.spec.rotor_teeth * (q[j] - theta[j]) / 2) ** 2
        return out

    def rate(t, y):
        v, a, _, _ = forces(y[:n], y[n:], theta, np.zeros(3), limit, none, none)
        return np.concatenate([v, a])

    start = np.concatenate([system.rest(tool), np.zeros(n)])
    start[n + 6 : n + 9] = (0.3, -0.2, 0.1)
    start[n + 3 : n + 6] = slopes(tool) @ start[n + 6 :]
    found = solve_ivp(rate, (0.0, 0.05), start, method="DOP853", rtol=1e-12, atol=1e-15)
    kinetic = 0.5 * start[n:] @ system.mass @ start[n:]
    drift = max(abs(energy(y) - energy(start)) for y in found.y.T)
    assert drift < 1e-8 * kinetic
