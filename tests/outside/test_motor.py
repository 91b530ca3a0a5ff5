"""The stepper motor against closed forms: magnetic spring, load angle, lost steps, torque at speed.

T = -T_h sin(N_r (theta - theta_cmd)), N_r = 50: Acarnley, Stepping Motors; Kenjo and Sugawara, Stepping Motors and their
Microprocessor Controls (both from memory); the same form in D. W. Jones, Jones on Stepping Motors, University of Iowa
(from memory). T_h = 0.40 N m at the set current in every check.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.machine.machine import Machine
from beltspring.sim.model.modes import modes
from beltspring.sim.model.motor import magnetic_stiffness, torque_constant, torque_limit
from beltspring.sim.model.system import System
from beltspring.sim.parts.design import MotorSpec
from beltspring.sim.simulate.run import run
from scipy.integrate import solve_ivp
from scipy.optimize import minimize

from tests.equations import Equations
from tests.support import MOTORS, bare, machine_of, model_of, plan_of, trapezoids

R = 6.366198e-3  # pitch radius of 20 teeth of 2 mm, m: 40 mm / 2 pi
TOOTH = 2 * np.pi / 50  # one electrical turn: four full steps of 1.8 degrees, rad


def spec_of(machine: Machine) -> MotorSpec:
    spec = machine.motors[0].spec
    assert spec is not None
    return spec


def along_x(system: System, place: np.ndarray | None = None) -> list[float]:
    """Natural frequencies of the shapes that the carriage takes part in, Hz."""
    return [m.frequency_hz for m in modes(system, place) if abs(m.tool_share[0]) > 1e-9]


def with_ea(system: System, ea_n: float) -> System:
    return replace(system, runs=tuple(replace(r, ea_n=ea_n) for r in system.runs))


def test_magnetic_stiffness():
    # k_m = N_r T_h for small angles: 20 N m/rad at 0.40 N m (Jones, as above).
    assert magnetic_stiffness(spec_of(machine_of(bare("moving-bed", MOTORS)))) == pytest.approx(20.0, rel=1e-12)


def test_frequency_of_a_rotor_alone():
    # f0 = sqrt(k_m / J) / 2 pi: 20 N m/rad, 38 g cm2: 365.126 Hz (Jones, resonance page). The belt is made of nothing here.
    system = with_ea(model_of(bare("moving-bed", MOTORS | {"motors.rotor_inertia_g_cm2": 38})), 1e-4)
    assert max(m.frequency_hz for m in modes(system)) == pytest.approx(365.126, rel=1e-5)


def test_frequency_of_a_rotor_with_its_load():
    # The same with the load on the rotor, m r^2 (Jones: "rotor plus coupled load"): 0.5 kg on a belt that does not
    # stretch, 145.094 Hz; seen from the belt the magnetic spring is k_m / r^2 = 493.480 kN/m.
    system = with_ea(model_of(bare("moving-bed", MOTORS | {"motors.rotor_inertia_g_cm2": 38})), 1e12)
    assert along_x(system)[0] == pytest.approx(145.094, rel=1e-5)
    radius_m = system.motors[0].radius_m
    assert magnetic_stiffness(spec_of(system.machine)) / radius_m**2 == pytest.approx(493.480e3, rel=1e-5)


def test_belt_and_motor_in_series():
    # Two masses on two springs, det(K - w^2 M) = 0: k = 96 kN/m (0.25 and 0.75 m of 18 kN belt), m = 0.5 kg, J = 50 g cm2,
    # k_m = 20 N m/rad: 63.592 and 349.072 Hz (elementary mechanics, worked apart from this program).
    system = model_of(bare("moving-bed", MOTORS))
    assert along_x(system, np.array([0.2175, 0.2, 0.1])) == pytest.approx([63.592, 349.072], rel=1e-5)


@pytest.mark.parametrize(
    ("torque_nm", "lag_deg", "travel_um"), [(0.1, 0.28955, 32.172), (0.2, 0.6, 66.667), (0.3, 0.97181, 107.979)]
)
def test_load_angle(torque_nm, lag_deg, travel_um):
    # lag = asin(T/T_h) / N_r, and r times that at the belt (from the sine above). The load is dry friction T/r on the
    # carriage, dragged along at an even 20 mm/s, by a belt so stiff that the energy stored in it does not count (reeling
    # in a strained belt costs half its strain as extra force: 0.05 % of the load at EA = 18 kN).
    scenario = bare(
        "moving-bed",
        MOTORS
        | {
            "carriage.guide": "rod-8-pair",
            "carriage.friction_n": torque_nm / R,
            "carriage.friction_static_n": torque_nm / R,
            "motors.damping": 0.1,
            "belts.damping": 0.1,
            "motion.speed_mm_s": 20,
            "belts.pretension_n": 100,
            "belts.ea_n": 1_000_000,
        },
    )
    system = model_of(scenario)
    trace = run(system, plan_of(scenario, system))
    cruise = np.searchsorted(trace.t_s, 2.0)  # of 2.5 s: the start has rung out
    ahead = np.sign(system.motor_travel[0, 0])  # the way the motor turns when the carriage goes right
    assert np.degrees(trace.motor_lag_rad[cruise, 0]) == pytest.approx(-ahead * lag_deg, rel=1e-4)
    assert 1e6 * R * abs(trace.motor_lag_rad[cruise, 0]) == pytest.approx(travel_um, rel=1e-4)
    assert trace.motor_nm[cruise, 0] == pytest.approx(ahead * torque_nm, rel=1e-4)


def overload(acceleration_mm_s2: float, speed_mm_s: float):
    """3 kg thrown 50 mm by one motor: model, trace."""
    scenario = bare(
        "moving-bed",
        MOTORS
        | {
            "carriage.mass_g": 3000,
            "motors.damping": 0.1,
            "belts.damping": 0.05,
            "belts.pretension_n": 200,
            "motion.acceleration_mm_s2": acceleration_mm_s2,
            "motion.speed_mm_s": speed_mm_s,
            "move.settle_ms": 1500,
        },
    )
    system = model_of(scenario)
    return system, run(system, plan_of(scenario, system))


def test_a_slip_is_four_full_steps_and_its_time_is_right():
    # Stable points of the sine lie one electrical turn apart: 2 pi / 50 = 7.2 degrees, four full steps, 0.800 mm at the
    # belt (from the sine; Acarnley and Kenjo say the same, from memory). It counts from five eighths of a turn; the time is
    # checked with scipy's DOP853.
    system, trace = overload(11000, 200)
    assert [s.lost_steps for s in trace.slips] == [4]
    assert abs(trace.motor_lag_rad[-1, 0]) == pytest.approx(TOOTH, abs=1e-5)
    assert 1e3 * (trace.tool[-1, 0] - trace.commanded[-1, 0]) == pytest.approx(0.800, abs=1e-4)

    equations = Equations(system)
    passed = 5 / 8 * TOOTH
    y = np.concatenate([system.rest(np.array([0.175, 0.2, 0.1])), np.zeros(system.n)])
    rotor = system.motors[0].row
    for move in trapezoids([np.array([0.175, 0.2, 0.1]), np.array([0.225, 0.2, 0.1])], 0.2, 11.0, 0.5):

        def passes(t, y, move=move):
            command = float(system.motor_travel[0] @ (move.at(t)[0] - system.middle))
            return abs(rotor @ y[: system.n] - command) - passed

        passes.terminal = True
        found = solve_ivp(
            equations.rate, (move.t0, move.t1), y, method="DOP853", rtol=1e-10, atol=1e-13, args=(move,),
            events=lambda t, y, move, passes=passes: passes(t, y),
        )  # fmt: skip
        crossed = found.t_events[0]
        y = found.y[:, -1]
        if len(crossed):
            break
    assert trace.slips[0].time_s == pytest.approx(float(crossed[0]), abs=trace.step_s)


def test_a_harder_overload_loses_whole_turns():
    # However many turns are lost, the rotor comes to rest on a stable point: a whole number of 7.2 degrees.
    _, trace = overload(16000, 500)
    assert len(trace.slips) == 1
    turns = trace.motor_lag_rad[-1, 0] / TOOTH
    assert abs(turns) > 1.5
    assert turns == pytest.approx(round(turns), abs=1e-3)
    assert trace.slips[0].lost_steps == 4 * abs(round(turns))


def test_no_step_is_lost_below_the_limit():
    # A load put on suddenly pulls at most twice as hard as one put on gently (any vibration text): 2 (m r + J/r) a.
    _, trace = overload(5000, 100)
    assert trace.slips == []
    gentle_nm = (3.0 * R + 5e-6 / R) * 5.0
    assert gentle_nm < np.abs(trace.motor_nm[:, 0]).max() < 2 * gentle_nm


def chopper(supply_v: float) -> MotorSpec:
    """R 1.3 ohm, 1.7 A, 0.40 N m with both phases on (a common 42 mm motor, data sheet from memory), L 2.8 mH (assumed)."""
    changes = {
        "motors.part": "motor-17-34",
        "motors.rated_current_a": 1.7,
        "motors.current_a": 1.7,
        "motors.holding_torque_nm": 0.40,
        "motors.resistance_ohm": 1.3,
        "motors.inductance_mh": 2.8,
        "motors.supply_v": supply_v,
    }
    return spec_of(machine_of(bare("moving-bed", changes)))


def test_torque_at_standstill():
    # K_t = T_h / (sqrt 2 I_rated), T = K_t I_peak: 0.166378 N m/A, 0.282843 N m (derived from the two-phase torque law).
    spec = chopper(24)
    assert torque_constant(spec) == pytest.approx(0.166378, rel=1e-5)
    assert float(torque_limit(spec, 0.0)) == pytest.approx(0.282843, rel=1e-5)


@pytest.mark.parametrize(
    ("supply_v", "corner_rad_s", "corner_m_s"),
    [(12, 36.490, 0.2323), (24, 78.052, 0.4969), (36, 119.454, 0.7605), (48, 160.817, 1.0238)],
)
def test_corner_speed(supply_v, corner_rad_s, corner_m_s):
    # Full current up to (R I + K_t w)^2 + (N_r w L I)^2 = V^2 (phase equation of Acarnley and of Kenjo, from memory).
    spec = chopper(supply_v)
    full = float(torque_limit(spec, 0.0))
    assert float(torque_limit(spec, corner_rad_s - 0.01)) == pytest.approx(full, rel=1e-12)
    assert float(torque_limit(spec, corner_rad_s + 0.01)) < full
    assert corner_rad_s * model_of(bare("moving-bed")).motors[0].radius_m == pytest.approx(corner_m_s, abs=1e-4)


@pytest.mark.parametrize(
    ("speed_rad_s", "torque_nm"), [(94.25, 0.26543), (125.66, 0.21165), (157.08, 0.16961), (251.3, 0.10612)]
)
def test_torque_above_the_corner(speed_rad_s, torque_nm):
    # Worked apart from this program from v_d = R i_d - X i_q, v_q = R i_q + X i_d + K_t w, |v| <= V, |i| <= I (24 V):
    # the largest i_q over four million points of either limit circle.
    assert float(torque_limit(chopper(24), speed_rad_s)) == pytest.approx(torque_nm, rel=5e-5)


@pytest.mark.parametrize("supply_v", [12, 24, 48])
@pytest.mark.parametrize("inductance_mh", [1.0, 2.8, 6.0])
def test_torque_is_what_an_optimiser_finds(supply_v, inductance_mh):
    # The same two equations and two limits given to scipy's SLSQP, at speeds around and far above the corner.
    spec = replace(chopper(supply_v), inductance_h=inductance_mh / 1e3)
    kt, r, i_max = torque_constant(spec), spec.resistance_ohm, spec.current_a
    for w in np.geomspace(20, 600, 12):
        x, e = spec.rotor_teeth * w * spec.inductance_h, kt * w

        def room(i, x=x, e=e):
            volts = (r * i[0] - x * i[1]) ** 2 + (r * i[1] + x * i[0] + e) ** 2
            return [1 - volts / supply_v**2, 1 - (i[0] ** 2 + i[1] ** 2) / i_max**2]

        # Of all currents the driver can set, the one along the torque axis is largest; starts from several guesses.
        best = -np.inf
        for guess in (
            (0.0, 0.1),
            (-i_max / 2, i_max / 2),
            (-i_max, 0.0),
            (-e * x / (r * r + x * x), -e * r / (r * r + x * x)),
        ):
            found = minimize(
                lambda i: -i[1], guess, method="SLSQP", constraints={"type": "ineq", "fun": room},
                options={"ftol": 1e-14, "maxiter": 500},
            )  # fmt: skip
            if min(room(found.x)) > -1e-7:
                best = max(best, -found.fun)
        assert float(torque_limit(spec, w)) == pytest.approx(max(0.0, kt * best), rel=2e-5, abs=2e-6), w
