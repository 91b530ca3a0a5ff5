"""Where the pieces of a machine stand: clear of each other over the reach, mirrored, as thick as what they are made of."""

from __future__ import annotations

import math
import tomllib

import numpy as np
import pytest
from beltspring.sim.check.solids import guide_solids
from beltspring.sim.machine.frame import corner, two_column_stiffness
from beltspring.sim.machine.panels import FACES, faces
from beltspring.sim.machine.pieces import square
from beltspring.sim.machine.starter import starter
from beltspring.sim.machine.towers import TOWERS_DEG, out, turned
from beltspring.sim.parts.design import FrameSize
from beltspring.sim.scenario.load import scenario_of

from tests.support import LINEAR_LAYOUTS, machine_of, shipped, workshop

WIDE = {"space.x_mm": 150, "frame.width_mm": 480, "frame.depth_mm": 500}  # nothing is square by chance


def made(layout, changes=None):
    return machine_of(workshop(layout, {**WIDE, **(changes or {})}))


def edges(piece):
    """(low, high) corners of a piece seen from above, m."""
    points = np.array(piece.points)
    return points.min(axis=0), points.max(axis=0)


def area(points):
    x, y = np.array(points).T
    return 0.5 * abs(x @ np.roll(y, -1) - y @ np.roll(x, -1))


@pytest.mark.parametrize("layout", LINEAR_LAYOUTS)
def test_the_carriage_meets_no_wheel_at_the_ends_of_its_reach(layout):
    """Wheels of the belts that it carries or passes stand at its height: their rims stay 4 mm from its sides at least."""
    machine = made(layout)
    (carriage,) = [s for s in machine.solids if s.kind == "carriage"]
    low, high = edges(carriage)
    for x in machine.reach[0]:
        offsets = machine.offsets(np.array([x, *machine.middle[1:]]))
        for wheel in machine.wheels.values():
            if wheel.body != "gantry":
                continue
            centre = (np.array(wheel.centre) + offsets[wheel.body])[:2]
            near = np.clip(centre, low + offsets["carriage"][:2], high + offsets["carriage"][:2])
            assert np.linalg.norm(centre - near) > wheel.radius_m + 0.004, wheel.name


@pytest.mark.parametrize("layout", LINEAR_LAYOUTS)
def test_wheels_on_the_gantry_stay_clear_of_those_on_the_frame(layout):
    """At both ends of Y: rims with their belts 2 mm apart at least where they stand at one height."""
    machine = made(layout)
    for y in machine.reach[1]:
        offsets = machine.offsets(np.array([machine.middle[0], y, machine.middle[2]]))
        at = {w.name: np.array(w.centre) + offsets[w.body] for w in machine.wheels.values()}
        for a in machine.wheels.values():
            for b in machine.wheels.values():
                if a.body == "gantry" and b.body != "gantry" and abs(at[a.name][2] - at[b.name][2]) < 0.003:
                    gap = np.linalg.norm((at[a.name] - at[b.name])[:2]) - a.radius_m - b.radius_m
                    assert gap > 0.002, (a.name, b.name)


@pytest.mark.parametrize("layout", LINEAR_LAYOUTS)
def test_belts_lie_on_the_carriage_and_not_in_it(layout):
    machine = made(layout)
    (carriage,) = [s for s in machine.solids if s.kind == "carriage"]
    held = [(c, b) for b in machine.belts for c in (b.start, b.end) if c.body == "carriage"]
    assert held
    for clamp, belt in held:
        assert carriage.z_m[1] <= clamp.point[2] - belt.spec.width_m / 2
        assert carriage.z_m[1] >= clamp.point[2] - belt.spec.width_m / 2 - 0.020


@pytest.mark.parametrize("layout", ["corexy", "hframe", "box"])
def test_what_is_drawn_of_a_gantry_spans_its_rails_and_its_ends_lie_over_them(layout):
    machine = made(layout)
    middle = machine.middle[:2]
    pieces = [o for o in machine.outlines if o.kind == "gantry"]
    rails = sorted(np.array(o.points)[:, 0].mean() for o in machine.outlines if o.kind == "rail" and o.name == "rail")
    ends = sorted((edges(o) for o in pieces if o.name == "gantry end"), key=lambda e: e[0][0])
    assert len(ends) == 2
    for (low, high), rail in zip(ends, (rails[0], rails[-1]), strict=True):
        assert low[0] < rail < high[0]
        assert low[1] < high[1]
        # A carrier of a hand's breadth: it holds two idlers beside each other, or a pair of bushings.
        assert 0.015 < high[0] - low[0] < 0.060
        assert 0.030 < high[1] - low[1] < 0.120
    (left_low, left_high), (right_low, right_high) = ends
    assert left_low[0] + right_high[0] == pytest.approx(rails[0] + rails[-1])
    assert left_high[0] + right_low[0] == pytest.approx(rails[0] + rails[-1])
    (beam,) = [edges(o) for o in pieces if o.name != "gantry end"]
    assert beam[0][0] + beam[1][0] == pytest.approx(rails[0] + rails[-1])
    assert rails[-1] - rails[0] - 0.010 <= beam[1][0] - beam[0][0] <= rails[-1] - rails[0] + 0.010
    assert 0.010 < beam[1][1] - beam[0][1] < 0.050
    assert abs(beam[0][1] + beam[1][1] - 2 * middle[1]) < 0.100


@pytest.mark.parametrize("layout", LINEAR_LAYOUTS)
def test_motors_are_as_large_as_their_data_sheet_says(layout):
    machine = made(layout)
    motors = [s for s in machine.solids if s.kind == "motor"]
    assert len(motors) == len(machine.motors)
    for solid, motor in zip(
        motors, sorted(machine.motors, key=lambda m: [s.name for s in motors].index(m.name)), strict=True
    ):
        assert area(solid.points) == pytest.approx(motor.spec.body_m**2)
        assert np.mean(solid.points, axis=0) == pytest.approx(motor.centre[:2])
    assert square(1.0, 2.0, 0.5) == ((0.75, 1.75), (1.25, 1.75), (1.25, 2.25), (0.75, 2.25))


def test_two_columns_stand_at_the_ends_of_the_frame_and_carry_a_beam_as_tall_as_its_profile():
    machine = made("moving-bed")
    size, profile = machine.design.frame_size, machine.design.frame
    columns = sorted((edges(s) for s in machine.solids if s.kind == "column"), key=lambda e: e[0][0])
    middles = [(low + high) / 2 for low, high in columns]
    assert middles[0][0] + middles[1][0] == pytest.approx(2 * machine.middle[0])
    assert middles[1][0] - middles[0][0] == pytest.approx(size.width_m - profile.side_a_m)
    (beam,) = [s for s in machine.solids if s.name == "beam"]
    low, high = edges(beam)
    assert high[0] - low[0] == pytest.approx(size.width_m)
    assert low[0] + high[0] == pytest.approx(2 * machine.middle[0])
    assert high[1] - low[1] == pytest.approx(profile.side_a_m)
    guide_z = machine.frame_point[2]
    assert beam.z_m == pytest.approx((guide_z - profile.side_b_m / 2, guide_z + profile.side_b_m / 2))


def test_a_rail_lies_on_the_beam_it_is_screwed_to():
    machine = made("corexy", {"carriage.guide": "rail-12", "gantry.guide": "rail-12"})
    (beam,) = [s for s in machine.solids if s.kind == "gantry" and s.name == "gantry"]
    (rail,) = [s for _, s in guide_solids(machine) if s.name == "a rail of the carriage's guide"]
    assert 0 <= rail.bounds[0][2] - beam.z_m[1] < 0.003
    assert beam.z_m[1] - beam.z_m[0] == pytest.approx(0.020)


def test_every_face_of_a_frame_is_a_rectangle():
    size = FrameSize(0.5, 0.4, 0.3)
    wanted = {"sides": (0.4, 0.3), "rear": (0.5, 0.3), "front": (0.5, 0.3), "top": (0.5, 0.4), "bottom": (0.5, 0.4)}
    for place in FACES:
        for face in faces(place, size):
            p = face.points
            assert (face.b_m, face.h_m) == pytest.approx(wanted[place])
            assert face.diagonal_m == pytest.approx(math.hypot(*wanted[place]))
            assert p[2] - p[1] == pytest.approx(p[3] - p[0])
            assert (p[1] - p[0]) @ (p[3] - p[0]) == pytest.approx(0)
            assert math.dist(p[0], p[2]) == pytest.approx(face.diagonal_m)
            assert math.dist(p[1], p[3]) == pytest.approx(face.diagonal_m)


def test_a_bed_of_a_written_mass_carries_its_print():
    """What nobody wrote is told: 420 x 420 x 6 mm of aluminium of 2700 kg/m3 are 2858 g (density from memory)."""
    written = machine_of(shipped("desk-corexy", {"bed.mass_g": 600, "bed.print_g": 0})).body("bed")
    assert (written.mass_kg, written.mass_note) == (0.6, "")
    loaded = machine_of(shipped("desk-corexy", {"bed.mass_g": 600, "bed.print_g": 100})).body("bed")
    assert (loaded.mass_kg, loaded.mass_note) == (pytest.approx(0.7), "with the print on it")
    assert machine_of(shipped("large-corexy")).body("bed").mass_note.startswith("plate 2858 g, glass 0 g")


def test_a_corner_grows_with_its_profile_by_the_cube():
    """Similar corners on a profile of twice the side: k = c k20 (w/20) (d/20)^2, eight times as stiff; on 20 x 40 mm four
    times about its strong axis and twice about its weak one."""
    wide, oblong = (
        machine_of(
            shipped("desk-corexy", {"frame.part": part, "frame.width_mm": 460, "frame.depth_mm": 460})
        ).design.frame
        for part in ("slot-4040", "slot-2040")
    )
    base = 1000.0
    k = corner(base, wide.member("top"), 1.0)
    assert k == pytest.approx((8 * base, 8 * base, 8 * base))
    assert sorted(corner(base, oblong.member("top"), 1.0)) == pytest.approx([2 * base, 2 * base, 4 * base])


def test_two_columns_reach_to_both_ends_of_their_base_where_nothing_else_is_said():
    machine = made("moving-bed", {"frame.panels.sides.diagonals": 2, "frame.panels.sides.part": "slot-2020"})
    size = machine.design.frame_size
    half = size.depth_m / 2
    assert two_column_stiffness(machine.design.frame, size, 0.2) == pytest.approx(
        two_column_stiffness(machine.design.frame, size, 0.2, (half, half))
    )


def test_bars_from_two_columns_go_down_to_the_ends_of_their_own_base():
    """The columns stand behind the middle of the base: a bar to its rear end is steeper than one to its front."""
    machine = made("moving-bed", {"frame.panels.sides.diagonals": 1, "frame.panels.sides.part": "slot-2020"})
    size, column = machine.design.frame_size, machine.frame_point[1]
    ys = [p[1] for p in machine.feet_points]
    behind, before = max(ys) - column, column - min(ys)
    assert before > behind + 0.02
    assert behind + before == pytest.approx(size.depth_m)
    own = two_column_stiffness(machine.design.frame, size, machine.gantry_height_m, (behind, before))
    assert machine.frame_stiffness == pytest.approx(own)


def test_places_at_a_tower_are_turned_about_the_middle():
    """Outward and to the right of a tower, as a compass has it: nothing gets longer, and the right is a quarter turn on."""
    for degrees in TOWERS_DEG.values():
        (a, b) = turned([(0.2, 0.0), (0.2, 0.03)], degrees)
        assert a == pytest.approx(out(0.2, degrees, 0.0)[:2])
        assert math.dist(a, b) == pytest.approx(0.03)
        assert math.hypot(*b) == pytest.approx(math.hypot(0.2, 0.03))
        # Seen from the middle, so clockwise from above.
        assert a[0] * b[1] - a[1] * b[0] == pytest.approx(-0.2 * 0.03)


def test_what_stands_at_a_tower_is_as_wide_as_it_is_made():
    """Columns as wide as their profile, motors as their body, and the platform's mass half in its joints, half below it."""
    machine = machine_of(shipped("small-delta"))
    profile = machine.design.frame.side_a_m
    for solid in machine.solids:
        if solid.kind == "column":
            assert area(solid.points) == pytest.approx(profile**2)
            assert math.hypot(*np.mean(solid.points, axis=0)) == pytest.approx(machine.column_radius_m)
        if solid.kind == "motor":
            side = next(m for m in machine.motors if m.name == solid.name).spec.body_m
            assert solid.z_m[1] - solid.z_m[0] == pytest.approx(side)
            assert math.dist(solid.points[1], solid.points[2]) == pytest.approx(side)
    tool = machine.body("effector")
    above = machine.design.arms.joints_above_nozzle_m
    assert tool.centre[2] - machine.tool_point[2] == pytest.approx(0.75 * above)


@pytest.mark.parametrize(
    ("reach", "screws", "bed"),
    [(200, 1, "rod-8-pair"), (220, 2, "rod-8-pair"), (221, 2, "rod-12-pair"), (300, 2, "rod-12-pair"),
     (301, 4, "rod-12-pair"), (351, 4, "rail-12")],
)  # fmt: skip
def test_a_larger_bed_is_begun_with_more_to_lift_it(reach, screws, bed):
    """Up to 200 mm one drive, up to 300 mm two (common practice: above 250 mm two at least)."""
    begun = tomllib.loads(starter("corexy", (reach, 200, 200)))
    assert begun["bed"] == {"guide": bed, "z_drives": screws}
    assert begun["motors"]["part"].startswith("motor-17")
    assert begun["motors"]["supply_v"] == 24
    scenario_of(begun, "begun.toml")


def test_nothing_said_begins_a_reach_of_200_mm():
    assert tomllib.loads(starter())["space"] == {"x_mm": 200, "y_mm": 200, "z_mm": 200}
