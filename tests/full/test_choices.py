"""A builder's choices at full detail: what the file may say, what it refuses, and what the answer says in words."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim.errors import ScenarioError
from beltspring.sim.model.modes import modes
from beltspring.sim.model.statics import equilibrium
from beltspring.sim.simulate.run import run

from tests.full.machines import desk, rigid_model
from tests.support import machine_of, model_of, plan_of


def words(changes: dict, layout: str = "corexy") -> list[str]:
    return [m.words for m in modes(model_of(desk(layout, changes)))]


def test_soft_feet_come_first_and_hard_ones_last():
    soft = modes(model_of(desk("corexy", {"feet.part": "feet-rubber"})))
    hard = modes(model_of(desk("corexy", {"feet.part": "feet-hard"})))
    on_feet = [m.words.endswith("on its feet") for m in soft]
    assert on_feet[:6] == [True] * 6
    assert soft[5].frequency_hz < 35
    # The machine with its panels weighs 9 kg: on hard feet it sways from 36 Hz on.
    assert not any(m.words.endswith("on its feet") and m.frequency_hz < 35 for m in hard)
    assert any("bobs on its feet" in w for w in words({}))


@pytest.mark.parametrize(("guide", "noun"), [("rod-8-pair", "rods"), ("wheels", "wheels"), ("rail-12", "rails")])
def test_words_name_the_part_and_what_it_stands_on(guide, noun):
    found = words({"carriage.guide": guide, "gantry.guide": guide})
    assert any(w.startswith(f"carriage rocks about X on its {noun}") for w in found)
    assert any("against belts" in w for w in found)
    assert any(w.startswith("frame top sways in X on its panels") for w in found)
    assert not any("ABOUT" in w for w in found)


def test_joints_decide_whether_a_thick_frame_pays():
    # The override of the sway stiffness that the shipped scenario writes belongs to its own frame, and falls away with it.
    def sway(changes: dict) -> float:
        found = modes(model_of(desk("corexy", changes)))
        return next(m.frequency_hz for m in found if m.words.startswith("frame top sways in X"))

    thin, thick = (sway({"frame.part": p, "frame.joints": "rigid"}) for p in ("slot-2020", "slot-4040"))
    assert thick > 1.5 * thin
    mixed = sway({"frame.part": "slot-2020", "frame.columns": "slot-4040", "frame.joints": "rigid"})
    assert thin < mixed < thick
    # With one bracket in a corner the thick frame's weight takes away what its section brings.
    thin, thick = (sway({"frame.part": p, "frame.joints": "bracket"}) for p in ("slot-2020", "slot-4040"))
    assert thick < thin


def test_printed_frames_go_with_their_plastic():
    def lean(material: str) -> float:
        frame = machine_of(desk("corexy", {"frame.part": "printed", "frame.material": material,
                                           "frame.stiffness_x_n_per_mm": 1})).design.frame  # fmt: skip
        assert frame is not None
        return frame.elastic_modulus_pa

    assert lean("petg-carbon") > lean("abs") > lean("petg")
    told = machine_of(desk("corexy", {"frame.material": "pla"})).design.notices
    assert any("PLA softens" in n for n in told)


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({"carriage.lines": 1}, "single rod"),
        ({"carriage.preload_n": 20}, "only wheels have eccentrics"),
        ({"carriage.ends": "glued"}, "ends"),
        ({"carriage.blocks": 3}, "blocks"),
        ({"frame.columns": "rigid"}, "bend like all others"),
        ({"frame.columns": "slot-2021"}, "columns"),
        ({"motors.stepping": "half"}, "stepping"),
        ({"bed.z_drive": "rope"}, "z_drive"),
    ],
)
def test_choices_that_cannot_be_meant_are_refused(changes, text):
    with pytest.raises(ScenarioError) as error:
        machine_of(desk("corexy", changes))
    assert text in " ".join(error.value.problems)


def test_keys_that_do_nothing_are_told():
    told = machine_of(desk("corexy", {"carriage.guide": "rail-12", "carriage.ends": "built-in"})).design.notices
    assert any("carriage.ends does nothing here" in n for n in told)
    told = machine_of(desk("corexy", {"carriage.blocks": 2})).design.notices
    assert any("carriage.blocks does nothing here" in n for n in told)


def test_stiffer_rod_ends_hold_the_carriage_higher():
    sags = []
    for ends in ("supported", "clamped", "built-in"):
        s = model_of(desk("corexy", {"carriage.ends": ends}))
        q = equilibrium(s, s.middle)
        sags.append(float(q[s.dof_names.index("gantry z")] - q[s.dof_names.index("carriage z")]))
    assert sags[0] > sags[1] > sags[2] > 0


def test_friction_follows_the_preload_of_wheels():
    # Rolling resistance is a share of what presses the wheels on: twice the preload, twice the friction.
    frictions = []
    for preload in (20, 40):
        guide = machine_of(
            desk("corexy", {"carriage.guide": "wheels", "carriage.preload_n": preload})
        ).design.carriage.guide
        assert guide is not None
        frictions.append(guide.friction_n)
    assert frictions[1] == pytest.approx(2 * frictions[0])
    own = machine_of(
        desk("corexy", {"carriage.guide": "wheels", "carriage.preload_n": 40, "carriage.friction_n": 0.7})
    ).design.carriage.guide
    assert own is not None
    assert own.friction_n == 0.7


def test_a_wheel_that_leaves_its_profile_is_told():
    # The same hard move with little and with much preload; only the first has wheels that lift.
    move = {
        "carriage.guide": "wheels", "gantry.guide": "rigid", "bed.guide": "rigid", "feet.part": "rigid",
        "frame.part": "rigid", "motion.acceleration_mm_s2": 20_000, "move.pattern": "step", "move.size_mm": 20,
        "move.settle_ms": 20, "carriage.belt_above_guide_mm": 40, "carriage.friction_n": 1,
    }  # fmt: skip
    for preload, lifts in ((1, True), (200, False)):
        scenario = desk("corexy", move | {"carriage.preload_n": preload})
        s = model_of(scenario)
        trace = run(s, plan_of(scenario, s))
        assert trace.ended == "complete"
        assert any("more than its preload" in n for n in trace.notes) is lifts


def test_a_growing_print_slows_the_bed():
    # In a moving-bed machine the bed with its print is the Y carriage: f goes with 1 / sqrt(m) where belts hold it.
    tones = []
    for grams in (0, 1000):
        s = rigid_model("moving-bed", {"bed.mass_g": 1000, "bed.print_g": grams})
        y = s.dof_names.index("bed y")
        tones.append(next(m.frequency_hz for m in modes(s) if abs(m.shape[y]) * np.sqrt(s.mass[y, y]) > 0.9))
    assert tones[0] / tones[1] == pytest.approx(np.sqrt(2.0), rel=1e-6)


def test_the_gantry_of_a_moving_bed_stands_half_way_up():
    machine = machine_of(desk("moving-bed"))
    assert machine.gantry_height_m is not None
    assert 0 < machine.gantry_height_m < machine.design.frame_size.height_m
    firm = {"frame.stiffness_x_n_per_mm": 1000, "frame.stiffness_y_n_per_mm": 1600}
    assert any(w.startswith("frame top rocks about X on its columns") for w in words(firm, "moving-bed"))


@pytest.mark.parametrize("count", [3, 4, 5, 6])
def test_feet_bear_the_machine_together(count):
    # Statics: what the feet bear adds up to the weight, and balances it about the mass centre.
    scenario = desk("corexy", {"feet.count": count, "frame.part": "rigid", "motors.part": "ideal",
                               "carriage.guide": "rigid", "gantry.guide": "rigid", "bed.guide": "rigid"})  # fmt: skip
    machine = machine_of(scenario)
    assert len(machine.feet_points) == count
    s = model_of(scenario)
    q = equilibrium(s, s.middle)
    at = s.dof_names.index("base x")
    feet = np.array(machine.feet_points) - np.array(machine.body("base").centre)
    sunk = q[at + 2] + np.cross(q[at + 3 : at + 6], feet)[:, 2]
    spec = machine.design.feet
    assert spec is not None
    weight = 9.80665 * sum(b.mass_kg for b in machine.bodies)
    assert -spec.vertical_n_m * sunk.sum() == pytest.approx(weight, rel=1e-6)
    centre = sum(b.mass_kg * np.array(b.centre) for b in machine.bodies) / sum(b.mass_kg for b in machine.bodies)
    push = -spec.vertical_n_m * sunk
    aside = np.array(machine.feet_points)[:, :2] - centre[:2]
    assert np.abs(push @ aside).max() < 1e-3 * weight * np.ptp(aside, axis=0).max()
