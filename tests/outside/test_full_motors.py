"""The stepper motor in the full model: whole microsteps, detent, resonance, and where steps are lost.

Torque-angle law T = -T_h sin(N_r (theta - theta_cmd)) - T_d sin(4 N_r theta), N_r = 50: Acarnley, Stepping Motors; Kenjo and
Sugawara, Stepping Motors and their Microprocessor Controls (both from memory).
"""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.model.forces import Forces
from beltspring.sim.model.modes import detent_share, detent_words, modes
from beltspring.sim.model.motor import torque_limit
from beltspring.sim.model.statics import equilibrium
from beltspring.sim.model.system import System
from beltspring.sim.simulate.commands import mean_step
from beltspring.sim.simulate.run import run
from scipy.integrate import quad, solve_ivp
from scipy.linalg import eigh
from scipy.optimize import brentq

from tests.full.machines import MOTORS, rigid_model
from tests.support import bare, model_of, plan_of, shipped, trapezoids

R = 6.366198e-3  # pitch radius of 20 teeth of 2 mm, m
STEP = np.radians(1.8)


def torque_after_one_microstep(microsteps: int) -> tuple[float, float]:
    """(torque of motor x when its command moves on by one microstep and the rotor stays, largest torque), N m."""
    system = rigid_model("moving-bed", MOTORS | {"motors.stepping": "steps", "motors.microsteps": microsteps})
    one = STEP / microsteps
    theta = system.stepped(np.array([0.8 * one, 0.0]))
    still = np.zeros(2)
    limit = np.array([m.limit_nm for m in system.motors])
    none = np.zeros(len(system.frictions))
    _, _, _, torque = Forces(system)(np.zeros(system.n), np.zeros(system.n), theta, still, limit, none, none)
    return float(torque[0]), float(limit[0])


@pytest.mark.parametrize(
    ("microsteps", "percent"),
    [(1, 100), (2, 70.71), (4, 38.27), (8, 19.51), (16, 9.80), (32, 4.91), (64, 2.45), (128, 1.23), (256, 0.61)],
)
def test_torque_of_one_microstep(microsteps, percent):
    # T_h sin(90 deg / N): Microstepping: Myths and Realities (Faulhaber / MicroMo), eq. 1 and table 1.
    torque, limit = torque_after_one_microstep(microsteps)
    assert 100 * torque / limit == pytest.approx(percent, abs=0.006)


def test_force_of_one_sixteenth_microstep_at_the_belt():
    # 0.40 N m sin(90 deg / 16) = 39.207 mN m, over r = 6.366 mm 6.159 N: friction above this swallows single microsteps.
    torque, _ = torque_after_one_microstep(16)
    assert torque == pytest.approx(39.207e-3, rel=1e-5)
    assert torque / R == pytest.approx(6.159, rel=1e-4)


def rotor_alone(changes: dict) -> System:
    """A model whose belts are made of nothing: each motor turns by itself."""
    system = rigid_model("moving-bed", MOTORS | changes)
    return replace(system, runs=tuple(replace(r, ea_n=1e-9, pretension_n=0.0) for r in system.runs))


def test_a_published_worked_answer():
    # A motor that gives 0.0032 N m at 0.3 degrees, 48 g cm2: k = 0.61115 N m/rad, resonance published as 56.8 Hz
    # (worked answer in a public forum of stepper users).
    k = 0.0032 / np.radians(0.3)
    assert k == pytest.approx(0.61115, rel=1e-5)
    changes = {"motors.holding_torque_nm": k / 50, "motors.rotor_inertia_g_cm2": 48}
    found = [m.frequency_hz for m in modes(rotor_alone(changes)) if "rotor" in m.words]
    assert found[0] == pytest.approx(56.790, rel=1e-5)


def test_magnetic_spring_with_rotor_and_with_its_load():
    # 0.40 N m, 38 g cm2: sqrt(50 0.40 / J) / 2 pi = 365.126 Hz alone; with 0.5 kg on the pulley and a belt that does not
    # stretch, J + m r^2, 145.094 Hz (D. W. Jones, Jones on Stepping Motors: rotor plus coupled load).
    alone = [m.frequency_hz for m in modes(rotor_alone({"motors.rotor_inertia_g_cm2": 38})) if "rotor" in m.words]
    assert alone[0] == pytest.approx(365.126, rel=1e-5)
    system = rigid_model("moving-bed", MOTORS | {"motors.rotor_inertia_g_cm2": 38})
    hard = replace(system, runs=tuple(replace(r, ea_n=1e12) for r in system.runs))
    carriage = [m.frequency_hz for m in modes(hard) if abs(m.tool_share[0]) > 1e-9]
    assert carriage[0] == pytest.approx(145.094, rel=1e-5)


def test_belt_and_motor_in_series_at_full_detail():
    # Two masses on two springs: 96 kN/m (0.25 and 0.75 m of 18 kN belt), 0.5 kg, 50 g cm2, 20 N m/rad: 63.592, 349.072 Hz.
    system = rigid_model("moving-bed", MOTORS)
    found = [m.frequency_hz for m in modes(system, np.array([0.2175, 0.2, 0.1])) if abs(m.tool_share[0]) > 1e-9]
    assert found == pytest.approx([63.592, 349.072], rel=1e-5)


@pytest.mark.parametrize(("torque_nm", "lag_deg"), [(0.1, 0.28955), (0.2, 0.6), (0.3, 0.97181)])
def test_load_angle_at_rest(torque_nm, lag_deg):
    # asin(T / T_h) / N_r: a motor held by a load T on its belt. The load takes gravity's place in the model: a steady pull.
    # The belt is hard, since a strained one asks for half its strain on top (0.05 % of the load at 18 kN).
    system = rigid_model("moving-bed", MOTORS | {"belts.ea_n": 1_000_000})
    load = np.zeros(system.n)
    load[system.dof_names.index("carriage x")] = torque_nm / R
    q = equilibrium(replace(system, gravity=load), system.middle)
    assert np.degrees(abs(system.motors[0].row @ q)) == pytest.approx(lag_deg, rel=1e-4)


@pytest.mark.parametrize("share", [0.2, 0.5, 0.7])
def test_detent_pulls_the_rotor_off_a_microstep(share):
    # T_h sin(N_r x) = -T_d sin(4 N_r (theta_cmd + x)): the root by scipy's brentq. 15 mN m against 0.40 N m.
    system = rigid_model("moving-bed", MOTORS | {"motors.detent_nm": 0.015})
    assert [m.detent_nm for m in system.motors] == [0.015, 0.015]
    angle = share * STEP
    tool = system.middle + np.array([angle / system.motor_travel[0, 0], 0.0, 0.0])
    q = equilibrium(system, tool)
    lag = float(system.motors[0].row @ q) - angle
    root = brentq(lambda x: 0.4 * np.sin(50 * x) + 0.015 * np.sin(200 * (angle + x)), -STEP / 2, STEP / 2, xtol=1e-14)
    assert lag == pytest.approx(root, abs=1e-9)
    if share == 0.5:
        assert lag == pytest.approx(0.0, abs=1e-12)  # half way between two detents pulls neither way
    else:
        assert abs(lag) > 1e-5


@pytest.mark.parametrize("detail", ["simple", "full"])
def test_a_detent_holds_where_one_phase_would(detail):
    # -T_d sin(4 N_r theta): nothing on a whole step, where one phase alone holds the rotor as its teeth do, and it pulls
    # back there; half way to the next, two phases on, it pushes off (from the sine; Acarnley, Kenjo, from memory).
    system = model_of(bare("moving-bed", MOTORS | {"detail": detail, "motors.detent_nm": 0.015}))
    forces, m = Forces(system), len(system.motors)
    none, turn = np.zeros(len(system.frictions)), system.motors[0].row

    def torque(angle):
        q = angle * turn / (turn @ turn)
        command = np.array([float(x.row @ q) for x in system.motors])
        return forces(q, np.zeros(system.n), command, np.zeros(m), np.zeros(m), none, none)[3][0]

    small = 1e-5
    for step in range(-2, 3):
        assert torque(step * STEP) == pytest.approx(0.0, abs=1e-12)
        assert torque(step * STEP + small) == pytest.approx(-200 * 0.015 * small, rel=1e-4)
        assert torque((step + 0.5) * STEP + small) == pytest.approx(200 * 0.015 * small, rel=1e-4)
    assert torque(STEP / 4) == pytest.approx(-0.015, rel=1e-9)


def test_modes_take_the_mean_over_the_detent():
    # One rotor alone, 20 N m/rad of field and 4 N_r T_d = 3 N m/rad of detent: sqrt(k / J) / 2 pi with J = 50 g cm2 lies at
    # 318.31 Hz in the mean, at sqrt(17), sqrt(23) of it half way between steps and on one (elementary mechanics).
    system = rotor_alone({"motors.detent_nm": 0.015})
    for side, k in ((-1.0, 17.0), (0.0, 20.0), (1.0, 23.0)):
        found = [m.frequency_hz for m in modes(system, detent=side) if "rotor" in m.words]
        assert found[0] == pytest.approx(np.sqrt(k / 5e-6) / (2 * np.pi), rel=1e-5)
    assert detent_share(system) == pytest.approx(0.15)
    assert "15 % stiffer on a whole step" in detent_words(system)
    assert detent_words(rotor_alone({})) == ""


@pytest.mark.parametrize("name", ["desk-corexy-slot", "small-hframe"])
def test_the_words_on_the_detent_tell_of_the_modes_it_moves(name):
    """Ends against scipy's eigh of the undamped machine with 4 N_r T_d more and less at each rotor: stiffer springs raise every
    natural frequency and keep their order (Weyl; any text on vibration). Feet, which no detent moves, are not told."""
    system = model_of(shipped(name, {"detail": "full"}))
    told = re.findall(r"([XY]) rings between ([\d.]+) and ([\d.]+) Hz", detent_words(system))
    assert [axis for axis, _, _ in told] == ["X", "Y"]
    k, more = system.linear_stiffness(np.zeros(system.n)), np.zeros((system.n, system.n))
    for motor in system.motors:
        more += 200 * motor.detent_nm * np.outer(motor.row, motor.row)
    ends = [np.sqrt(eigh(k + side * more, system.mass, eigvals_only=True)) / (2 * np.pi) for side in (-1, 1)]
    for _, low, high in told:
        assert float(high) > 1.02 * float(low)
        found = np.argmin(np.abs(ends[0] - float(low)))
        assert [float(low), float(high)] == pytest.approx([end[found] for end in ends], rel=5e-3)


@pytest.mark.parametrize(("a", "b"), [(0.0, 0.3), (-0.7, 1.9), (2.2, 2.3), (103.4, 96.1), (5.0, 5.0), (3.49, 3.51)])
def test_mean_of_a_staircase(a, b):
    # The mean of round(x) from a to b, by scipy's quad with every jump told to it.
    if a == b:
        assert mean_step(a, b) == np.floor(a + 0.5)
        return
    jumps = np.arange(np.floor(min(a, b)) + 0.5, max(a, b), 1.0)
    whole, _ = quad(lambda x: np.floor(x + 0.5), a, b, points=jumps[(jumps > min(a, b))], limit=200)
    assert mean_step(a, b) == pytest.approx(whole / (b - a), abs=1e-9)


def drawn(speed_mm_s: float, stepping: str) -> tuple[System, float]:
    """Largest swing of motor x's lag, rad, through the even part of a long move at a speed; eight microsteps a step."""
    scenario = bare(
        "moving-bed",
        MOTORS
        | {
            "detail": "full", "motors.stepping": stepping, "motors.microsteps": 8, "motors.damping": 0.1,
            "carriage.mass_g": 20, "belts.ea_n": 200, "belts.pretension_n": 30, "belts.damping": 0.3,
            "motion.speed_mm_s": speed_mm_s, "motion.acceleration_mm_s2": 200, "move.size_mm": 20, "move.settle_ms": 0,
            "motors.inductance_mh": 0.01,  # so that the drag is in proportion to the speed even in so wide a swing
        },
    )  # fmt: skip
    system = model_of(scenario)
    plan = plan_of(scenario, system)
    trace = run(system, plan, record_s=1e-4)
    even = (trace.t_s > 0.4 * plan.duration_s) & (trace.t_s < 0.75 * plan.duration_s)
    lag = trace.motor_lag_rad[even, 0]
    return system, float((lag.max() - lag.min()) / 2)


def test_microsteps_that_meet_the_rotors_frequency_make_it_swing():
    # A staircase of step s is a ramp and a sawtooth of fundamental amplitude s / pi at the step rate; a resonance of
    # damping ratio zeta makes s / (2 pi zeta) of it (any vibration text). The belt is soft: the rotor turns by itself.
    system, _ = drawn(5.0, "smooth")
    frequency = next(m for m in modes(system) if m.words.startswith("rotor X"))
    step = STEP / 8
    at = frequency.frequency_hz * step * R * 1e3  # mm/s at which the microsteps come at that rate
    _, swing = drawn(float(at), "steps")
    _, smooth = drawn(float(at), "smooth")
    _, off = drawn(float(1.6 * at), "steps")
    assert swing == pytest.approx(step / (2 * np.pi * frequency.damping_ratio), rel=0.05)
    assert smooth < 0.02 * swing
    assert off < 0.4 * swing


def test_whole_microsteps_in_a_run_against_scipy():
    # One rotor on its magnetic spring, told a staircase: scipy's DOP853, restarted at every step of the command.
    scenario = bare(
        "moving-bed",
        MOTORS
        | {
            "detail": "full", "motors.stepping": "steps", "motors.microsteps": 2, "motors.damping": 0.05,
            "motion.speed_mm_s": 8, "motion.acceleration_mm_s2": 1000, "move.size_mm": 0.8, "move.settle_ms": 20,
        },
    )  # fmt: skip
    system = model_of(scenario)
    light = replace(system, runs=tuple(replace(r, ea_n=1e-9, pretension_n=0.0) for r in system.runs))
    plan = plan_of(scenario, light)
    trace = run(light, plan, record_s=1e-3, step_s=1e-5)
    turn = float(system.motor_travel[0, 0])
    start = system.middle - np.array([0.0004, 0.0, 0.0])
    moves = trapezoids([start, start + np.array([0.0008, 0, 0])], 0.008, 1.0, 0.020)
    motor = light.motors[0]
    assert motor.spec is not None
    inertia, half = 5e-6, STEP / 2

    def command(t):
        move = next(m for m in moves if t <= m.t1 + 1e-12)
        place, speed = move.at(t)
        return turn * (place[0] - system.middle[0]), turn * speed[0]

    def rate(t, y, held):
        _, omega = command(t)
        x, off = 50 * (y[0] - held), y[1] - omega
        winding = 50 * motor.spec.inductance_h / motor.spec.resistance_ohm
        torque = -0.4 * np.sin(x) - motor.damping_nm_s * off * max(0.0, np.cos(x)) / (1 + (off * winding) ** 2)
        return [y[1], torque / inertia]

    # Where the smooth command crosses half a microstep: bisection on a fine grid.
    grid = np.linspace(0, moves[-1].t1, 20001)
    number = np.array([np.floor(command(t)[0] / half + 0.5) for t in grid])
    marks = [0.0]
    for i in np.flatnonzero(np.diff(number)):
        edge = half * (max(number[i], number[i + 1]) - 0.5)
        marks.append(brentq(lambda t, edge=edge: command(t)[0] - edge, grid[i], grid[i + 1], xtol=1e-13))
    marks.append(moves[-1].t1)
    y = [half * number[0], 0.0]
    asked = trace.t_s[1:]
    found = np.full(len(asked), np.nan)
    for a, b in itertools.pairwise(marks):
        held = half * np.floor(command((a + b) / 2)[0] / half + 0.5)
        inside = (asked > a) & (asked <= b + 1e-12)
        piece = solve_ivp(rate, (a, b), y, method="DOP853", rtol=1e-9, atol=1e-12, max_step=1e-3, args=(held,),
                          dense_output=True)  # fmt: skip
        found[inside] = piece.sol(asked[inside])[0]
        y = piece.y[:, -1]
    ours = trace.motor_lag_rad[1:, 0] + np.array([command(t)[0] for t in asked])
    # 1 % of a microstep: the loop sees a step of the command as a mean over its own 10 us.
    assert np.nanmax(np.abs(ours - found)) < 0.01 * half


def test_a_lost_step_has_a_time_and_a_place():
    # 3 kg thrown too hard: the tool is told to be where the textbook's trapezoid stands at that time.
    scenario = bare(
        "moving-bed",
        MOTORS
        | {
            "detail": "full", "carriage.mass_g": 3000, "motors.damping": 0.1, "belts.damping": 0.05,
            "belts.pretension_n": 200, "motion.acceleration_mm_s2": 11000, "motion.speed_mm_s": 200,
            "move.settle_ms": 1500,
        },
    )  # fmt: skip
    system = model_of(scenario)
    trace = run(system, plan_of(scenario, system))
    assert [s.lost_steps for s in trace.slips] == [4]
    slip = trace.slips[0]
    start = np.array([0.175, 0.2, 0.1])
    motion = trapezoids([start, start + np.array([0.05, 0, 0])], 0.2, 11.0, 1.5)
    move = next(m for m in motion if m.t0 <= slip.time_s <= m.t1)
    assert slip.place_m == pytest.approx(tuple(move.at(slip.time_s)[0]), abs=1e-9)


def test_torque_falls_with_speed_in_the_machine():
    # The corner (R I + K_t w)^2 + (N_r w L I)^2 = V^2 at 24 V, 1.3 ohm, 2.8 mH (assumed), 1.7 A, 0.40 N m: 78.052 rad/s
    # (phase equation of Acarnley and of Kenjo, from memory).
    changes = {
        "motors.part": "motor-17-34", "motors.rated_current_a": 1.7, "motors.current_a": 1.7, "motors.supply_v": 24,
        "motors.holding_torque_nm": 0.40, "motors.resistance_ohm": 1.3, "motors.inductance_mh": 2.8,
    }  # fmt: skip
    spec = rigid_model("moving-bed", changes).motors[0].spec
    assert spec is not None
    assert float(torque_limit(spec, 0.0)) == pytest.approx(0.282843, rel=1e-5)
    assert float(torque_limit(spec, 78.0)) == pytest.approx(0.282843, rel=1e-5)
    assert float(torque_limit(spec, 125.66)) == pytest.approx(0.21165, rel=1e-4)
