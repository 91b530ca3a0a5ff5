"""The model's facts and modes, where they can be worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim.machine.routing import belt_path
from beltspring.sim.model.facts import mixing, moving_mass, run_facts
from beltspring.sim.model.modes import modes

from tests.support import LINEAR_LAYOUTS, MOTORS, bare, model_of, shipped, textbook, workshop


def test_damping_of_the_belts_is_the_ratio_that_was_written():
    # c = 2 zeta k / omega of the axis the belt drives, motors and frame held, at mid-reach: X and Y then show zeta.
    found = modes(model_of(bare("moving-bed", {"belts.damping": 0.03})))
    assert [m.damping_ratio for m in found] == pytest.approx([0.03, 0.03], rel=1e-9)
    found = modes(model_of(bare("moving-bed", {"belts.damping": 0.03, "belts.y.damping": 0.1})))
    assert sorted(m.damping_ratio for m in found) == pytest.approx([0.03, 0.1], rel=1e-9)


def test_damping_of_a_corexy_is_that_of_its_x_axis():
    # The same belts carry Y with more mass at a lower frequency, where the same dashpot damps less: zeta omega_y / omega_x.
    y, x = modes(model_of(bare("corexy", {"belts.damping": 0.04})))
    assert x.damping_ratio == pytest.approx(0.04, rel=1e-9)
    assert y.damping_ratio == pytest.approx(0.04 * y.frequency_hz / x.frequency_hz, rel=1e-9)


def test_damping_of_the_frame_is_its_ratio():
    # With the belts' masses far away (very soft belts) the frame top swings alone: omega = sqrt(k/m), zeta as written.
    keys = {
        "frame.part": "slot-2020",
        "frame.damping": 0.05,
        "frame.top_mass_g": 4000,
        "frame.stiffness_x_n_per_mm": 100,
    }
    system = model_of(bare("corexy", keys | {"belts.ea_n": 100}))
    swing = next(m for m in modes(system) if abs(m.shape[system.dof_names.index("frame x")]) > 0.4)
    # The gantry is carried along in X: it slides in Y alone.
    assert swing.frequency_hz == pytest.approx(np.sqrt(100e3 / (4.0 + 0.8)) / (2 * np.pi), rel=1e-2)
    assert swing.damping_ratio == pytest.approx(0.05, rel=0.02)


def test_damping_of_a_rotor_is_its_ratio():
    system = model_of(bare("moving-bed", MOTORS | {"motors.damping": 0.07, "belts.ea_n": 100}))
    fast = [m for m in modes(system) if m.frequency_hz > 100]
    assert [m.damping_ratio for m in fast] == pytest.approx([0.07, 0.07], rel=1e-3)


def test_shares_of_the_tool_add_up_to_its_mobility():
    # Mass-normalised shapes are complete: the squares of what the tool does in them add up to t M^-1 t' (any vibration
    # text). Undamped, so that the shapes are real.
    system = model_of(bare("corexy", MOTORS | {"frame.part": "slot-2040", "frame.damping": 0}))
    found = modes(system)
    assert len(found) == 6
    for axis in (0, 1):
        t = system.tool_rows[axis]
        assert sum(m.tool_share[axis] ** 2 for m in found) == pytest.approx(
            t @ np.linalg.solve(system.mass, t), rel=1e-9
        )


def test_words_name_what_moves_and_what_it_moves_against():
    (one, two) = modes(model_of(shipped("spring-mass")))
    assert {one.words, two.words} == {"carriage in X against belts", "bed in Y against belts"}
    found = {m.words for m in modes(model_of(workshop("corexy")))}
    assert any("frame in X" in w.split(" against ")[0] and "panels" in w.split(" against ")[1] for w in found)
    assert any("carriage in X" in w.split(" against ")[0] and "belts" in w.split(" against ")[1] for w in found)
    assert any(w.startswith("rotor") and "motors" in w.split(" against ")[1] for w in found)


def test_moving_mass_of_a_machine_without_belt_mass_is_that_of_its_bodies():
    assert moving_mass(model_of(bare("corexy"))) == pytest.approx((0.5, 1.3), rel=1e-12)  # carriage; gantry with it
    assert moving_mass(model_of(bare("moving-bed"))) == pytest.approx((0.5, 1.5), rel=1e-12)  # carriage; bed
    # Rotors are not counted.
    assert moving_mass(model_of(bare("moving-bed", MOTORS))) == pytest.approx((0.5, 1.5), rel=1e-12)


def test_a_loop_of_belt_and_its_idler_travel_with_the_carriage():
    # Every metre of the X belt's two runs goes as fast as the carriage; the idler adds J / r^2.
    system = model_of(bare("moving-bed", {"belts.mass_g_m": 10, "idlers.inertia_g_mm2": 300}))
    belt = system.machine.belts[0]
    path = belt_path(system.machine, belt)
    runs = sum(path.run_length_m(i) for i in range(2))
    idler = next(w for w in system.machine.wheels.values() if w.name == "idler X")
    assert moving_mass(system)[0] == pytest.approx(0.5 + 0.010 * runs + 300e-9 / idler.radius_m**2, rel=1e-9)


def test_a_jump_of_an_ideal_motor_gives_the_impulse_it_must():
    # A belt run with its ends at speeds u (carriage) and v (motor) has kinetic energy m/6 (u^2 + u v + v^2). What stays
    # when v jumps is the momentum of u: (M + sum m/3) u + sum m/6 v.
    system = model_of(bare("moving-bed", {"belts.mass_g_m": 20}))
    i = system.dof_names.index("carriage x")
    belt_mass = 0.020 * sum(f.length_m for f in run_facts(system) if f.belt == "x")
    jump = -float(system.command_inertia[i, 0] * system.motor_travel[0, 0])  # of q' per m/s of commanded speed
    assert jump == pytest.approx(-(belt_mass / 6) / (0.5 + belt_mass / 3), rel=1e-9)


@pytest.mark.parametrize("layout", LINEAR_LAYOUTS)
def test_rest_and_command_are_linear_in_the_tool(layout):
    system = model_of(workshop(layout))
    tool = system.middle + np.array([0.02, -0.03, 0.0])
    place = system.tool_rows @ system.rest(tool)
    assert place[:2] == pytest.approx([0.02, -0.03], abs=1e-12)
    radius = np.array([m.radius_m for m in system.motors])
    assert radius * system.motor_command(tool) == pytest.approx(mixing(system) @ [0.02, -0.03], abs=1e-12)


def test_columns_are_the_frames_and_lists_read_well():
    # Where the frame alone moves they are its own; a carriage or a gantry has none.
    sway = {"frame.stiffness_x_n_per_mm": 1000, "frame.stiffness_y_n_per_mm": 1600}
    words = [m.words for m in modes(model_of(textbook("desk-corexy", sway)))]
    for text in words:
        parts, _, springs = text.partition(" against ")
        assert ("its columns" in springs) <= (parts in ("frame in X", "frame in Y"))
        assert springs.count(" and ") <= 1
    assert any("the frame's columns" in text for text in words)
    assert "frame in Y against its columns" in words


@pytest.mark.parametrize("detail", ["simple", "full"])
def test_bristles_are_damped_for_all_that_slides_on_them(detail):
    # The gantry of a CoreXY carries the carriage along Y: 0.1 of critical for both masses (PHYSICS.md 4).
    masses = {"carriage.mass_g": 320, "gantry.mass_g": 410, "gantry.presliding_um": 30, "gantry.friction_n": 3}
    system = model_of(shipped("desk-corexy", {**masses, "detail": detail}))
    (gantry,) = [f for f in system.frictions if f.name == "gantry"]
    assert gantry.sigma1_n_s_m == pytest.approx(2 * 0.1 * np.sqrt(3 / 30e-6 * 0.73), rel=1e-9)
