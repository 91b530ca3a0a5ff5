"""Facts about a model by the statics and the geometry of any textbook: arms, drives of a bed, detents, pushes, bands."""

from __future__ import annotations

import math

import numpy as np
import pytest
from beltspring.sim.machine.build import build_machine
from beltspring.sim.model.bands import frequency_bands
from beltspring.sim.model.build import build_model
from beltspring.sim.model.facts import arm_travel, held_stiffness, moving_mass
from beltspring.sim.model.modes import bare_modes, modes, pushed
from beltspring.sim.model.motor import torque_constant, torque_limit
from beltspring.sim.model.sag import drive_stiffness
from beltspring.sim.model.system import System
from beltspring.sim.scenario.load import load_scenario


def model(name: str, *sets: str) -> System:
    return build_model(build_machine(load_scenario(name, sets)))


def test_the_flattest_arm_makes_its_carriage_run_most() -> None:
    """small-delta: joints 133 mm and 30 mm from the middle, arms of 215 mm, a rim of 80 mm. At the rim's far side an arm
    spans 183 mm level and the rest up: cot, and the speed's square by Pythagoras' second derivative."""
    ratio, bend = arm_travel(model("small-delta"))
    level = 0.133 - 0.030 + 0.080
    up = math.sqrt(0.215**2 - level**2)
    assert ratio == pytest.approx(level / up, rel=1e-9)
    assert bend == pytest.approx((1 + (level / up) ** 2) / up, rel=1e-9)


def test_a_bed_hangs_on_its_screw_or_on_a_strand_of_belt() -> None:
    """At mid-reach (400 mm) plus 60 mm to what holds its end: E A / L of the screw's root, EA / L of the belt."""
    length = 0.200 + 0.060
    belt = build_machine(load_scenario("large-corexy", ["bed.z_drive=belt", "belts.ea_n=17000"]))
    assert drive_stiffness(belt) == pytest.approx(17000 / length)
    screw = build_machine(load_scenario("large-corexy"))
    # Steel 206 GPa; an 8 mm screw has 6.2 mm at its root (handbook values, from memory).
    assert drive_stiffness(screw) == pytest.approx(206e9 * math.pi / 4 * 0.0062**2 / length)
    told = build_machine(load_scenario("large-corexy", ["bed.z_stiffness_n_per_mm=321"]))
    assert drive_stiffness(told) == pytest.approx(321e3)


@pytest.mark.parametrize("detail", ["simple", "full"])
def test_a_push_moves_all_modes_together_as_statics_has_it(detail: str) -> None:
    """A steady acceleration bends the machine by K^-1 M t; each mode takes its share (modal superposition,
    any text). Bearings damp at detail full, which turns the shapes by a second order of their ratio, some per cent."""
    system = model("desk-corexy", f"detail={detail}", "belts.damping=0", "frame.damping=0", "motors.damping=0")
    found = bare_modes(system)
    assert len(found) == system.n
    for axis in (0, 1):
        inertia = system.mass @ (system.travel[:, axis] + system.command_inertia @ system.motor_travel[:, axis])
        bent = np.linalg.solve(system.linear_stiffness(np.zeros(system.n)), inertia)
        summed = sum((np.asarray(m.shape) * pushed(system, m, axis) for m in found), np.zeros(system.n))
        assert summed == pytest.approx(bent, rel=5e-3, abs=1e-4 * abs(bent).max())


def test_a_detent_stiffens_the_motors_on_a_whole_step_and_softens_them_half_way() -> None:
    """Its spring is the slope of T_d sin(4 N_r x): 4 N_r T_d added to or taken from N_r A (derived)."""
    system = model("spring-mass", "motors.part=motor-17-40", "motors.current_a=1.0", "motors.detent_nm=0.02")
    plain, on, off = (bare_modes(system, None, side)[0].frequency_hz for side in (0.0, 1.0, -1.0))
    assert off < plain < on
    for side, told in ((1.0, on), (-1.0, off)):
        k = system.linear_stiffness(np.zeros(system.n))
        for motor in system.motors:
            if motor.row is not None and motor.spec is not None:
                k += side * 4 * motor.spec.rotor_teeth * 0.020 * np.outer(motor.row, motor.row)
        lowest = np.sqrt(np.linalg.eigvals(np.linalg.solve(system.mass, k)).real.min()) / (2 * math.pi)
        assert told == pytest.approx(lowest, rel=1e-3)


def test_a_band_is_two_sigma_either_way() -> None:
    """Belts a hundredth softer and three hundredths stiffer, said to be half a sigma each: two sigma are four times that,
    and a frequency goes by the root of what holds it. Against the machine built anew with the belts changed."""
    names = [f"belts.ea_n={18000 * by}" for by in (1.0, 0.99, 1.03)]
    system, softer, stiffer = (model("spring-mass", name) for name in names)
    found = modes(system)
    pair = (softer.machine.design, stiffer.machine.design)
    bands = frequency_bands(system, system.middle, found, [pair], 0.5)
    for at, mode in enumerate(found):
        low, high = (bare_modes(other)[at].frequency_hz / mode.frequency_hz for other in (softer, stiffer))
        assert np.log(bands[at] / mode.frequency_hz) == pytest.approx(4 * np.log([low, high]), rel=0.03)
    # Two like it add by their squares.
    both = frequency_bands(system, system.middle, found, [pair, pair], 0.5)
    told = np.array([m.frequency_hz for m in found])[:, None]
    assert np.log(both / told) == pytest.approx(math.sqrt(2) * np.log(bands / told))


def test_bearings_damp_what_they_hold() -> None:
    """At detail full with nothing else that damps: the damping matrix is that of the guides' bearings, each along its own
    rows (virtual work), and nothing without it."""
    still = ("detail=full", "belts.damping=0", "motors.damping=0", "frame.damping=0")
    system = model("desk-corexy", *still)
    q = np.zeros(system.n)
    held = sum((j.tangent(q).T @ j.damping @ j.tangent(q) for j in system.joints), np.zeros((system.n, system.n)))
    rest = system.linear_damping(q) - held
    turning = [system.dof_names.index(name) for name in system.dof_names if name.startswith("rotor")]
    others = [i for i in range(system.n) if i not in turning]
    assert np.abs(held).max() > 0
    assert np.abs(rest[np.ix_(others, others)]).max() < 1e-9 * np.abs(held).max()


def test_all_that_arms_carry_is_lifted_together() -> None:
    """Straight up everything goes at one speed: three carriages, the platform, six arms (two and two)."""
    system = model("small-delta", "belts.mass_g_m=0", "idlers.inertia_g_mm2=0")
    made = system.machine
    kg = sum(b.mass_kg for b in made.bodies if b.kind in ("carriage", "effector")) + sum(a.mass_kg for a in made.arms)
    assert len(made.arms) == 3
    assert moving_mass(system)[2] == pytest.approx(kg, rel=1e-9)


def test_friction_acts_where_the_bearings_are() -> None:
    """A carriage whose mass centre lies 12 mm above its guide: turning about Y at 1 rad/s slides its bearings at 12 mm/s."""
    system = model("desk-corexy", "detail=full", "carriage.mass_centre_above_guide_mm=12")
    (friction,) = [f for f in system.frictions if f.name == "carriage"]
    row = dict(zip(system.dof_names, friction.row, strict=True))
    assert row["carriage x"] == 1.0
    assert row["gantry x"] == -1.0
    assert row["carriage about y"] == pytest.approx(-0.012)


def test_a_tool_between_two_strands_is_held_by_both() -> None:
    """spring-mass with its motors held: EA / L of the two strands of each belt, which stand beside each other."""
    system = model("spring-mass")
    by_belt = [sum(r.ea_n / r.length_m for r in system.runs if r.belt == belt) for belt in ("x", "y")]
    assert held_stiffness(system, np.asarray(system.middle)) == pytest.approx(by_belt, rel=1e-9)


def test_a_motor_that_makes_no_steps_is_commanded_as_it_is() -> None:
    """Whole microsteps where there are some, to the nearest; all else as it stands, and nothing is divided by nothing."""
    smooth, stepped = (model("spring-mass", f"motors.part={part}") for part in ("ideal", "motor-17-40"))
    theta = np.array([[0.1, -0.2], [0.30001, 0.7]])[:, : len(smooth.motors)]
    with np.errstate(all="raise"):
        assert np.array_equal(smooth.stepped(theta), theta)
    sizes = np.array([m.increment_rad for m in stepped.motors])
    if np.all(sizes > 0):
        found = stepped.stepped(theta) / sizes
        assert found == pytest.approx(np.round(found), abs=1e-9)
        assert np.abs(stepped.stepped(theta) - theta).max() <= 0.5 * sizes.max() + 1e-12


@pytest.mark.parametrize("current", [0.6, 1.0, 1.7])
@pytest.mark.parametrize("supply", [12, 24, 48])
def test_the_largest_torque_is_the_best_of_all_currents_that_driver_and_supply_allow(
    current: float, supply: float
) -> None:
    """Phasors of a synchronous machine (any text): V = (R + jX) I + e, |I| at most as set, |V| at most the supply; torque is
    K_t times what of I lies along e. Here the best over ten thousand currents across e, by the quadratic for what is along."""
    system = model("desk-corexy", f"motors.current_a={current}", f"motors.supply_v={supply}")
    spec = system.machine.design.motors["a"]
    assert spec is not None
    kt, r = torque_constant(spec), spec.resistance_ohm
    for omega in (0.0, 5.0, 20.0, 60.0, 150.0, 400.0):
        x, e = spec.rotor_teeth * omega * spec.inductance_h, kt * omega
        across = np.linspace(-current, current, 20_001)
        by_current = np.sqrt(current**2 - across**2)
        z2 = r * r + x * x
        inside = (r * e) ** 2 - z2 * ((x * across + e) ** 2 + (r * across) ** 2 - supply**2)
        with np.errstate(invalid="ignore"):
            by_voltage = np.where(inside >= 0, (-r * e + np.sqrt(inside)) / z2, -np.inf)
            lowest = np.where(inside >= 0, (-r * e - np.sqrt(inside)) / z2, np.inf)
        along = np.minimum(by_current, by_voltage)
        best = along[along >= np.maximum(lowest, 0.0) - 1e-12].max(initial=0.0)
        assert float(torque_limit(spec, omega)) == pytest.approx(kt * best, rel=2e-3, abs=1e-5), omega
