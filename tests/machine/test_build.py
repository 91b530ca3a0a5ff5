"""From a scenario to a machine: masses worked out, frames met as written, bodies that move as they should, clear refusals."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim.errors import MachineError
from beltspring.sim.machine.build import sway_stiffness
from beltspring.sim.scenario.load import scenario_of

from tests.support import ALL_LAYOUTS, LINEAR_LAYOUTS, bare, machine_of, model_of, workshop


def origin(machine, key: str):
    return next(o for o in machine.design.origins if o.key == key)


@pytest.mark.parametrize(
    ("reach_mm", "plate_mm", "glass_mm", "mass_kg"),
    [(215, 6, 0, 0.89465), (280, 6, 0, 1.4580), (215, 6, 4, 0.89465 + 0.55225), (280, 6, 3, 1.4580 + 0.6750)],
)
def test_mass_of_a_bed(reach_mm, plate_mm, glass_mm, mass_kg):
    # Plate and glass by handbook densities (from memory): aluminium 2700, soda-lime glass 2500 kg/m3. A bed is 20 mm
    # larger than the reach: 235 and 300 mm square here. A rigid guide weighs nothing.
    changes = {"space.x_mm": reach_mm, "space.y_mm": reach_mm, "bed.plate_mm": plate_mm, "bed.glass_mm": glass_mm}
    scenario = bare("moving-bed", changes)
    tree = {**scenario.tree, "bed": {k: v for k, v in scenario.tree["bed"].items() if k != "mass_g"}}
    machine = machine_of(scenario_of(tree))
    assert machine.body("bed").mass_kg == pytest.approx(mass_kg, rel=1e-4)
    assert origin(machine, "bed.mass_g").origin == "computed"
    assert float(origin(machine, "bed.mass_g").value) == pytest.approx(1e3 * mass_kg, rel=1e-3)


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_written_masses_are_kept(layout):
    machine = machine_of(workshop(layout, {"carriage.mass_g": 321, "bed.mass_g": 987, "frame.top_mass_g": 4321}))
    carriages = [body for body in machine.bodies if body.name.startswith("carriage")]
    assert [body.mass_kg for body in carriages] == pytest.approx([0.321] * max(1, len(machine.arms)), rel=1e-12)
    assert machine.body("frame").mass_kg == pytest.approx(4.321, rel=1e-12)


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_a_written_sway_stiffness_is_met_exactly(layout):
    machine = machine_of(workshop(layout, {"frame.stiffness_x_n_per_mm": 123, "frame.stiffness_y_n_per_mm": 456}))
    assert sway_stiffness(machine, 0) == pytest.approx(123e3, rel=1e-9)
    assert sway_stiffness(machine, 1) == pytest.approx(456e3, rel=1e-9)
    system = model_of(workshop(layout, {"frame.stiffness_x_n_per_mm": 123}))
    i = system.dof_names.index("frame x")
    assert system.stiffness[i, i] == pytest.approx(123e3, rel=1e-9)


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_bodies_move_so_that_the_tool_gets_there(layout):
    machine = machine_of(workshop(layout))
    goal = machine.middle + np.array([0.013, -0.021, 0.005])
    moved = machine.offsets(goal)
    assert moved[machine.tool_body] - moved[machine.work_body] == pytest.approx([0.013, -0.021, 0.005], abs=1e-12)
    for body in machine.bodies:
        if body.slide is None and body.parent is not None and not body.free:
            assert moved[body.name] == pytest.approx(moved[body.parent], abs=1e-15)


def test_on_a_moving_bed_machine_the_bed_goes_the_other_way():
    machine = machine_of(workshop("moving-bed"))
    moved = machine.offsets(machine.middle + np.array([0.01, 0.02, 0.0]))
    assert moved["bed"] == pytest.approx([0, -0.02, 0], abs=1e-15)
    assert moved["carriage"] == pytest.approx([0.01, 0, 0], abs=1e-15)


@pytest.mark.parametrize(
    ("layout", "key"),
    [(name, key) for name in LINEAR_LAYOUTS for key in ("width_mm", "depth_mm")]
    + [(name, "height_mm") for name in ALL_LAYOUTS if name not in LINEAR_LAYOUTS],
)
def test_a_frame_too_small_is_refused_with_the_size_it_needs(layout, key):
    with pytest.raises(MachineError) as caught:
        machine_of(workshop(layout, {f"frame.{key}": 230}))  # more than the reach, not enough for what stands beside it
    message = str(caught.value)
    assert message.startswith(f"frame.{key} = 230: too small")
    needed = int(message.split(f"{key} = ")[-1].split()[0])
    machine_of(workshop(layout, {f"frame.{key}": needed}))  # what it says is enough, is enough


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_off_switches_take_coordinates_away(layout):
    full = set(model_of(workshop(layout)).dof_names)
    no_frame = set(model_of(workshop(layout, {"frame.part": "rigid"})).dof_names)
    ideal = set(model_of(workshop(layout, {"motors.part": "ideal"})).dof_names)
    assert full - no_frame == {"frame x", "frame y"}
    assert {name for name in full if name.startswith("rotor")} >= full - ideal
    assert model_of(bare(layout)).frictions == ()
    # Two slides; on arms three carriages and the platform, since arms are springs.
    assert len(model_of(bare(layout)).dof_names) == (2 if layout in LINEAR_LAYOUTS else 6)


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
@pytest.mark.parametrize("reach_mm", [(50, 50), (180, 300), (900, 600)])
@pytest.mark.parametrize("carriage_mm", [40, 150])
def test_the_default_frame_has_room(layout, reach_mm, carriage_mm):
    # Only title, layout, space and move must be written: what is left out must fit the rest.
    x_mm, y_mm = reach_mm
    tree = {
        "title": "little written",
        "layout": layout,
        "space": {"x_mm": x_mm, "y_mm": y_mm if layout in LINEAR_LAYOUTS else x_mm, "z_mm": 100},
        "carriage": {"width_mm": carriage_mm},
        "move": {"pattern": "step"},
    }
    machine = machine_of(scenario_of(tree))
    assert model_of(scenario_of(tree)).n >= 4
    assert machine.design.frame_size.width_m > x_mm / 1e3
