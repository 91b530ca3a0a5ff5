"""What is uncertain about a machine on arms: which numbers, whose masses, and what a softer part does to its stiffness."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim.machine.build import build_machine, uncertain_numbers
from beltspring.sim.model.bands import stiffer
from beltspring.sim.model.build import build_model
from beltspring.sim.model.modes import modes
from beltspring.sim.parts.catalogue import catalogue
from beltspring.sim.parts.design import Drawn
from beltspring.sim.study.deciding import how_to_measure, plain_name

from tests.support import machine_of, model_of, shipped

OF_ARMS = {"ea_n", "joint_n_per_mm", "joint_mass_g", "arm_damping"}


def of_arms(changes):
    found = uncertain_numbers(machine_of(shipped("small-delta", changes)))
    return {number.of[2] for number in found if number.of[0] == "arms"}


def test_numbers_of_arms_have_bands_unless_they_were_written():
    assert of_arms({}) == OF_ARMS
    assert of_arms({"delta.arm_stiffness_n_per_mm": 1500}) == {"joint_mass_g", "arm_damping"}
    assert of_arms({"delta.arm_mass_g": 20, "delta.arm_damping": 0.01}) == {"ea_n", "joint_n_per_mm"}
    for number in uncertain_numbers(machine_of(shipped("small-delta"))):
        if number.of[0] == "arms":
            assert number.low < number.value < number.high
            assert "delta.arm_" in how_to_measure(number)
            assert "arms" in plain_name(number)


def test_three_carriages_are_heavy_together():
    scenario = shipped("small-delta")
    found = [n for n in uncertain_numbers(machine_of(scenario)) if n.of == ("mass", "carriage")]
    assert [n.key for n in found] == ["carriage.mass_g"]
    machine = build_machine(scenario, Drawn(masses={"carriage": 1.1}))
    told = machine_of(scenario)
    for letter in "abc":
        name = f"carriage {letter}"
        assert machine.body(name).mass_kg == pytest.approx(1.1 * told.body(name).mass_kg)
        assert machine.body(name).inertia == pytest.approx(1.1 * np.array(told.body(name).inertia))


@pytest.mark.parametrize("detail", ["simple", "full"])
@pytest.mark.parametrize(
    ("part", "times"),
    [(("arms", "arm-tube-6", "joint_n_per_mm"), 0.5), (("guides", "rod-8-pair", "stiffness_n_per_mm"), 0.7)],
    ids=["joints", "bushings"],
)
def test_a_softer_part_is_what_the_machine_with_it_has(detail, part, times):
    # Bands of frequencies are told from this difference: here against the machine built anew.
    scenario = shipped("small-delta", {"detail": detail})
    system = model_of(scenario)
    kind, name, key = part
    value = catalogue().get(kind, name).numbers[key].value
    other = build_model(build_machine(scenario, Drawn(parts={part: times * value})))
    q = system.rest(system.middle + np.array([0.03, -0.02, 0.0]))
    known = other.linear_stiffness(q) - system.linear_stiffness(q)
    assert stiffer(system, other.machine.design, q) == pytest.approx(
        known, abs=1e-9 * np.abs(system.linear_stiffness(q)).max()
    )
    assert bool(np.any(np.abs(known) > 1.0)) is (detail == "full" or kind == "arms")


def test_shapes_of_one_frequency_lie_along_the_axes():
    # By symmetry the tool's lowest motions in X and Y have one frequency; eigenvectors are then any mixture of the two.
    for detail in ("simple", "full"):
        system = model_of(shipped("small-delta", {"detail": detail}))
        swings = sorted(modes(system), key=lambda m: -float(np.hypot(*m.tool_share)))[:2]
        one, two = sorted(swings, key=lambda m: -abs(m.tool_share[0]))
        assert one.frequency_hz == pytest.approx(two.frequency_hz, rel=1e-6)
        assert abs(one.tool_share[1]) < 1e-3 * abs(one.tool_share[0])
        assert abs(two.tool_share[0]) < 1e-3 * abs(two.tool_share[1])
        assert abs(one.shape @ system.mass @ two.shape) < 1e-6


def test_carriages_on_like_guides_are_told_together():
    found = modes(model_of(shipped("small-delta")))
    held = [hold.what for mode in found for hold in mode.holds]
    assert "the carriages on their rods" in held
    assert not any("carriage a on its" in what for what in held)
