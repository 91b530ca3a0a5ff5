"""What moves and what stands: weighed, measured and named by hand. Sizes that are our own choice say so."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from beltspring.sim.machine.build import build_machine
from beltspring.sim.machine.machine import Body, Machine
from beltspring.sim.machine.masses import Lump, together
from beltspring.sim.scenario.load import load_scenario, scenario_of

LAYOUTS = ("corexy", "hframe", "box", "moving-bed", "delta")


def shipped(name: str, *sets: str) -> Machine:
    return build_machine(load_scenario(name, sets))


def machine(small: dict[str, Any], layout: str, **more: Any) -> Machine:
    space = {"x_mm": 180, "y_mm": 180 if layout == "delta" else 160, "z_mm": 150}
    return build_machine(scenario_of(small | {"layout": layout, "space": space} | more, "bench.toml"))


def body(made: Machine, name: str) -> Body:
    return next(b for b in made.bodies if b.name == name)


@pytest.mark.parametrize("layout", LAYOUTS)
def test_the_tool_stands_in_the_middle_of_its_reach_over_a_plate_a_centimetre_wider(
    small: dict[str, Any], layout: str
) -> None:
    """The reference pose, by definition; a centimetre around the reach is our choice."""
    made = machine(small, layout)
    assert made.tool_point[:2] == pytest.approx([(low + high) / 2 for low, high in made.reach[:2]])
    assert made.plate_m == pytest.approx([high - low + 0.020 for low, high in made.reach[:2]])
    bed = body(made, "bed")
    assert bed.centre[:2] == pytest.approx(made.tool_point[:2])
    # Half the height of the reach over the plate, whose own middle lies no more than 5 mm below.
    assert 0.0749 < made.tool_point[2] - bed.centre[2] < 0.0801


def test_points_weigh_by_the_square_of_their_distance() -> None:
    """m r^2 about each axis through the common mass centre (any text on mechanics); a box adds m (a^2 + b^2) / 12."""
    kg, centre, moments = together([Lump(1.0, (0.0, 0.0, 0.0)), Lump(3.0, (0.4, 0.0, 0.0)), Lump(4.0, (0.3, 0.2, 0.0))])
    assert kg == 8.0
    assert centre == pytest.approx((0.3, 0.1, 0.0))
    wanted_x = 1.0 * 0.01 + 3.0 * 0.01 + 4.0 * 0.01
    wanted_y = 1.0 * 0.09 + 3.0 * 0.01
    assert moments == pytest.approx((wanted_x, wanted_y, wanted_x + wanted_y))
    assert together([Lump(6.0, (1.0, 2.0, 3.0), (0.1, 0.2, 0.3))])[2] == pytest.approx((0.065, 0.05, 0.025))


def test_a_gantry_is_its_rails_two_printed_ends_four_idlers_and_two_blocks() -> None:
    """large-corexy: a rail of 519.5 mm at 650 g a metre, prints of 50 x 60 x 30 mm (our choice) at 1.05 g a cm3, idlers of
    7 g, blocks of 40 g: the same pieces that its shopping list has."""
    made = shipped("large-corexy")
    assert body(made, "gantry").mass_kg == pytest.approx(0.5195 * 0.650 + 2 * 0.0945 + 4 * 0.007 + 2 * 0.040, rel=1e-4)


def test_rods_of_a_bed_reach_past_its_travel() -> None:
    """400 mm of travel and 120 mm (our choice); half the plate's 420 mm and 50 mm apart, the rods' middle at half of it."""
    place = body(shipped("large-corexy"), "bed").place
    assert place is not None
    assert place.span_m == pytest.approx(0.520)
    assert place.before_m == pytest.approx(0.260)
    assert place.apart_m == pytest.approx(0.260)


def test_a_beam_of_forty_millimetres_turns_as_a_bar_does(small: dict[str, Any]) -> None:
    """A box of 40 x 40 mm (our choice) as long as its belt's shafts lie apart: m (a^2 + b^2) / 12."""
    made = machine(small, "moving-bed")
    gantry = body(made, "gantry")
    xs = [made.wheels[n].centre[0] for n in ("motor X", "idler X")]
    long = max(xs) - min(xs)
    about_length = gantry.mass_kg / 12 * 2 * 0.040**2
    across = gantry.mass_kg / 12 * (long**2 + 0.040**2)
    assert gantry.inertia == pytest.approx((about_length, across, across), rel=1e-9)


def test_ideal_motors_weigh_nothing(small: dict[str, Any]) -> None:
    """A motor of 17-40 size weighs what its list says; the frame carries both of a CoreXY."""
    with_motors = machine(small, "corexy", motors={"part": "motor-17-40"})
    without = machine(small, "corexy", motors={"part": "ideal"})
    spec = with_motors.design.motors["a"]
    assert spec is not None
    assert body(with_motors, "frame").mass_kg - body(without, "frame").mass_kg == pytest.approx(2 * spec.mass_kg)


def test_a_larger_idler_is_larger_by_half(small: dict[str, Any]) -> None:
    """Three millimetres of diameter are one and a half of radius; a flange stands out beyond the belt, and not far."""
    one, other = (machine(small, "corexy", idlers={"smooth_diameter_mm": mm}) for mm in (12, 15))
    for name, wheel in one.wheels.items():
        more = other.wheels[name].radius_m - wheel.radius_m
        assert more == pytest.approx(1.5e-3 if wheel.kind == "smooth idler" else 0.0, abs=1e-12), name
        if wheel.kind == "toothed idler":
            smooth = machine(small, "corexy", idlers={"smooth_diameter_mm": 12, "at_teeth": "smooth"}).wheels[name]
            larger = machine(small, "corexy", idlers={"smooth_diameter_mm": 15, "at_teeth": "smooth"}).wheels[name]
            assert larger.radius_m - smooth.radius_m == pytest.approx(1.5e-3)
            assert smooth.radius_m > 0.006  # teeth and pitch line lie outside the idler
            assert wheel.radius_m < wheel.flange_radius_m < wheel.radius_m + 0.005
            assert wheel.radius_m == pytest.approx(20 * 0.002 / (2 * math.pi))


def test_bodies_of_one_make_have_one_kind() -> None:
    kinds = {b.name: b.kind for b in shipped("small-delta").bodies}
    assert {kinds[f"carriage {x}"] for x in "abc"} == {"carriage"}
    assert kinds["effector"] == "effector"
    assert Body("spare bed", None, 1.0, (0.0, 0.0, 0.0)).kind == "spare bed"
    assert Body(" x", None, 1.0, (0.0, 0.0, 0.0)).kind == " x"


def test_a_towers_belt_is_held_at_its_carriages_two_ends() -> None:
    """A carriage 60 mm deep stands on end: its clamps lie so far apart, the lower one first."""
    made = shipped("tall-delta", "carriage.depth_mm=52")
    for belt in made.belts:
        assert belt.end.point[2] - belt.start.point[2] == pytest.approx(0.052)
        assert (belt.start.name, belt.end.name) == ("lower", "upper")
        assert belt.start.point[:2] == pytest.approx(belt.end.point[:2])


def test_the_platforms_joints_stand_above_the_nozzle_as_the_file_says() -> None:
    made = shipped("tall-delta", "delta.joints_above_nozzle_mm=47")
    for arm in made.arms:
        assert arm.ends[1][1][2] - made.tool_point[2] == pytest.approx(0.047)
    heights = [s.z_m for s in made.solids if s.body == "effector"]
    assert all(z is not None and (z[0] + z[1]) / 2 == pytest.approx(made.tool_point[2] + 0.047) for z in heights)


def test_columns_of_a_delta_stand_so_far_back_that_its_members_clear_the_belt() -> None:
    """The nearest member leaves a column 30 degrees to the side: its inner face must pass the pulley's flange in the belt's
    plane, half a belt further back (plane geometry)."""
    made = shipped("tall-delta", "carriage.belt_above_guide_mm=5")
    d = made.design
    arms = d.arms
    assert arms is not None
    assert made.column_radius_m is not None
    back = made.column_radius_m - (arms.tower_radius_m - d.carriage.belt_above_guide_m)
    belt = max(spec.width_m for spec in d.belts.values())
    # In the belt's plane, nearest the column, the member's middle line lies this far to the side of the column's middle.
    aside = (back - belt / 2) * math.tan(math.radians(30))
    inner = aside - 0.020 / math.cos(math.radians(30))  # half a profile of 40 mm, along the belt's plane
    pulley = max(made.wheels[f"motor {x}"].radius_m for x in "ABC")
    assert 0.003 < inner - pulley < 0.006  # flange and clearance


def test_a_frame_that_stands_rigidly_stands_on_its_corners() -> None:
    made = shipped("large-corexy", "feet.part=rigid")
    places = np.array(made.feet_points)[:, :2] - made.frame_point[:2]
    assert sorted(map(tuple, places.round(6))) == sorted((x, y) for x in (-0.31, 0.31) for y in (-0.31, 0.31))
