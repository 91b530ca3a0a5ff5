"""Facts about a model by the statics and the geometry of any textbook: arms, drives of a bed, detents, pushes, bands."""

from __future__ import annotations

import math

import numpy as np
import pytest
from beltspring.sim.machine.build import build_machine
from beltspring.sim.model.bands import frequency_bands
from beltspring.sim.model.build import build_model
from beltspring.sim.model.facts import arm_travel
from beltspring.sim.model.modes import bare_modes, modes, pushed
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
