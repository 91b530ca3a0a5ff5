"""Where the layouts put things, by what a belt-driven machine must be like and by the heights that a file writes down.

A strand whose two ends move against each other has to run along the travel, or its length would not follow the motor
(geometry); what is built twice is built in the mirror; members weigh and balance as bars do (textbook statics).
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from beltspring.sim.errors import MachineError
from beltspring.sim.machine import masses
from beltspring.sim.machine.build import build_machine, design_of, frame_shares, machine_of
from beltspring.sim.machine.machine import Body, Machine
from beltspring.sim.machine.masses import Lump
from beltspring.sim.machine.routing import Span, belt_path
from beltspring.sim.scenario.load import load_scenario, scenario_of

PLANAR = ("corexy", "hframe", "box", "moving-bed")
#: Heights of the carriage that no layout would choose by itself, mm.
HEIGHTS = {"belt_above_guide_mm": 23.5, "mass_centre_above_guide_mm": 7.25, "nozzle_below_guide_mm": 61.5}


def machine(small: dict[str, Any], layout: str, **more: Any) -> Machine:
    return build_machine(scenario_of(small | {"layout": layout} | more, "bench.toml"))


def body(made: Machine, name: str) -> Body:
    return next(b for b in made.bodies if b.name == name)


@pytest.mark.parametrize("layout", PLANAR)
@pytest.mark.parametrize(("pulley", "idler"), [(20, 20), (16, 30), (30, 18)])
def test_strands_that_grow_and_shrink_run_along_the_travel(
    small: dict[str, Any], layout: str, pulley: int, idler: int
) -> None:
    made = machine(small, layout, motors={"pulley_teeth": pulley}, idlers={"teeth": idler})
    moving = 0
    for belt in made.belts:
        for span in belt_path(made, belt).pieces:
            if isinstance(span, Span) and span.start_body != span.end_body:
                moving += 1
                assert min(abs(span.end - span.start)) == pytest.approx(0, abs=1e-9), (belt.name, span)
    assert moving >= 4


@pytest.mark.parametrize("layout", ["corexy", "hframe", "box"])
def test_left_and_right_are_mirrored(small: dict[str, Any], layout: str) -> None:
    """About the middle of the reach; two levels and two lanes apart where belts cross."""
    made = machine(small, layout)
    xs = {w.name: w.centre[0] - 0.090 for w in made.wheels.values() if w.body in ("frame", "gantry")}
    assert sorted(round(x, 9) for x in xs.values()) == sorted(round(-x, 9) for x in xs.values())
    ends = sorted((c.point[0] - 0.090 for belt in made.belts for c in (belt.start, belt.end)), key=abs)
    assert sum(ends) == pytest.approx(0, abs=1e-9) or layout == "box"  # there the Y belts hold the gantry's two sides
    for kind in ("gantry", "column", "motor"):
        pieces = [np.array(s.points)[:, 0] - 0.090 for s in made.solids if s.kind == kind and s.body == "gantry"]
        if kind == "gantry" and len(pieces) == 2:
            assert pieces[0].min() == pytest.approx(-pieces[1].max())
            assert pieces[0].max() == pytest.approx(-pieces[1].min())


@pytest.mark.parametrize("layout", PLANAR)
def test_heights_of_the_carriage_are_those_of_the_file(small: dict[str, Any], layout: str) -> None:
    made = machine(small, layout, carriage=dict(HEIGHTS))
    carriage = body(made, "carriage")
    assert carriage.place is not None
    guide = carriage.place.point[2]
    assert carriage.centre[2] - guide == pytest.approx(7.25e-3)
    assert guide - made.tool_point[2] == pytest.approx(61.5e-3)
    own = [belt for belt in made.belts if belt.start.body == "carriage"]
    # Of belts on two levels their middle.
    middle = sum(made.wheels[belt.wraps[0].wheel].centre[2] for belt in own) / len(own)
    assert middle - guide == pytest.approx(23.5e-3)
    for belt in made.belts:
        heights = {round(made.wheels[wrap.wheel].centre[2], 9) for wrap in belt.wraps}
        clamps = {round(c.point[2] - belt.spec.carriage_raise_m, 9) for c in (belt.start, belt.end)}
        assert len(heights) == 1, belt.name
        assert clamps == heights, belt.name


def test_a_belt_raised_at_the_carriage_is_raised_on_every_layout(small: dict[str, Any]) -> None:
    for layout in PLANAR:
        made = machine(small, layout, belts={"carriage_raise_mm": 2.5})
        for belt in made.belts:
            for clamp in (belt.start, belt.end):
                height = clamp.point[2] - made.wheels[belt.wraps[0].wheel].centre[2]
                assert height == pytest.approx(2.5e-3), (layout, belt.name)


def balance(lumps: list[Lump]) -> tuple[float, float]:
    """(kg, height of the mass centre) of some bars."""
    kg = sum(lump.mass_kg for lump in lumps)
    return kg, sum(lump.mass_kg * lump.centre[2] for lump in lumps) / kg


def test_a_frame_of_bars_weighs_and_balances_as_its_bars_do() -> None:
    """620 x 620 x 700 of 40 mm profile, 1.41 kg a metre: ring and upper halves of four columns with the top, the rest below."""
    design = design_of(load_scenario("large-corexy"))
    top, base = masses.frame_members(design, (0.0, 0.0), 0.100, 0.800)
    ring, halves = 4 * 0.620 * 1.41, 4 * 0.350 * 1.41
    # Halves of the columns balance a quarter of the height from their ends.
    for lumps, z, middle in ((top, 0.800, 0.800 - 0.175), (base, 0.100, 0.100 + 0.175)):
        kg, height = balance(lumps)
        assert kg == pytest.approx(ring + halves, rel=1e-9)
        assert height == pytest.approx((ring * z + halves * middle) / kg, rel=1e-9)
        _, _, inertia = masses.together(lumps)
        # About Z: bars across at half a width, thin bars' own length squared over 12, columns on the corners.
        about_z = ring / 4 * (4 * 0.310**2 + 4 * 0.620**2 / 12) + halves * 2 * 0.310**2
        assert inertia[2] == pytest.approx(about_z, rel=1e-9)
        # About X: the ring above or below, the columns' halves, all from the common mass centre.
        about_x = ring / 4 * (2 * 0.310**2 + 2 * 0.620**2 / 12) + ring * (z - height) ** 2
        about_x += halves * (0.310**2 + 0.350**2 / 12 + (middle - height) ** 2)
        assert inertia[0] == pytest.approx(about_x, rel=1e-9)


def test_two_columns_with_a_beam_balance_alike() -> None:
    """400 x 400 x 440 of 20 x 40 profile, 0.92 kg a metre; a brace at each side from the columns' tops to the rear."""
    sets = ["frame.panels={ sides = { diagonals = 1, part = 'slot-2020' } }"]
    design = design_of(load_scenario("moving-bed-wheels", sets))
    top, base = masses.portal_members(design, (0.0, 0.0), 0.030, 0.0, 0.440)
    reach = 0.200 - 0.030
    brace = 0.460 * math.hypot(reach, 0.440)
    assert balance(top)[0] == pytest.approx(0.92 * (0.400 + 2 * 0.220) + brace)
    assert balance(base)[0] == pytest.approx(0.92 * (4 * 0.400 + 2 * 0.220) + brace)
    kg, height = balance(top)
    assert height * kg == pytest.approx(0.92 * (0.400 * 0.440 + 2 * 0.220 * 0.330) + brace * 0.330)
    # About Z: the beam as a thin bar, halves of the columns at its ends, braces a quarter of the way back and half as long.
    _, (_, y, _), inertia = masses.together(top)
    beam, halves = 0.92 * 0.400, 0.92 * 2 * 0.220
    about = beam * (0.400**2 / 12 + (0.030 - y) ** 2) + halves * (0.200**2 + (0.030 - y) ** 2)
    about += brace * (0.200**2 + (0.030 + reach / 4 - y) ** 2 + (reach / 2) ** 2 / 12)
    assert inertia[2] == pytest.approx(about, rel=1e-9)
    kg, height = balance(base)
    assert height * kg == pytest.approx(0.92 * 2 * 0.220 * 0.110 + brace * 0.110)
    # Each brace leaves the column towards the rear: halves of it a quarter and three quarters of the way.
    for lumps, share in ((top, 0.25), (base, 0.75)):
        own = [lump for lump in lumps if lump.mass_kg == pytest.approx(brace / 2)]
        assert [lump.centre[1] for lump in own] == pytest.approx([0.030 + share * reach] * 2)


def test_written_masses_are_not_drawn_and_computed_ones_are_with_what_turns(small: dict[str, Any]) -> None:
    scenario = scenario_of(small | {"carriage": {"mass_g": 300}}, "bench.toml")
    plain = machine_of(design_of(scenario))
    drawn = machine_of(replace(design_of(scenario), mass_factors={"carriage": 1.3, "gantry": 1.2}))
    assert body(drawn, "carriage").mass_kg == body(plain, "carriage").mass_kg == pytest.approx(0.300)
    assert body(drawn, "carriage").inertia == body(plain, "carriage").inertia
    assert body(drawn, "gantry").mass_kg == pytest.approx(1.2 * body(plain, "gantry").mass_kg)
    assert body(drawn, "gantry").inertia == pytest.approx([1.2 * v for v in body(plain, "gantry").inertia])
    assert body(drawn, "bed") == body(plain, "bed")


@pytest.mark.parametrize("name", ["large-corexy", "moving-bed-wheels"])
def test_the_corners_share_of_a_frames_stiffness_is_what_stiffer_corners_would_add(name: str) -> None:
    """A share is dK / d ln k (its definition): by making the corners a hundredth stiffer and softer in the file."""
    written = 900.0
    made, more, less = (
        build_machine(load_scenario(name, [f"frame.joint_nm_per_rad={written * by}"])) for by in (1.0, 1.01, 0.99)
    )
    assert more.frame_stiffness is not None
    assert less.frame_stiffness is not None
    slope = (more.frame_stiffness - less.frame_stiffness) / 0.02
    found = frame_shares(made)["corners"]
    assert found == pytest.approx(slope, rel=2e-3, abs=1e-6 * abs(slope).max())


def test_on_three_columns_all_stands_about_the_middle() -> None:
    made = build_machine(load_scenario("tall-delta"))
    assert body(made, "bed").centre[:2] == (0.0, 0.0)
    assert body(made, "bed").centre[2] < 0  # the nozzle comes down to 0
    assert body(made, "effector").centre[:2] == pytest.approx((0.0, 0.0))
    for names in (["motor A", "motor B", "motor C"], ["idler A", "idler B", "idler C"]):
        centres = np.array([made.wheels[n].centre for n in names])
        apart = [np.linalg.norm(centres[i] - centres[i - 1]) for i in range(3)]
        assert apart == pytest.approx([apart[0]] * 3)
    # Belts pass the members, which stand between the columns, on the columns' inner side.
    belt = min(math.hypot(*made.wheels[n].centre[:2]) for n in ("motor A", "motor B", "motor C"))
    assert made.column_radius_m is not None
    assert belt < made.column_radius_m


def test_columns_of_a_delta_have_room_for_the_idlers_at_their_tops() -> None:
    """At the height that a refusal names the idlers still lie below the columns' tops, and not a centimetre too low."""
    with pytest.raises(MachineError) as told:
        build_machine(load_scenario("tall-delta", ["frame.height_mm=700"]))
    needed = float(str(told.value).split("height_mm = ")[-1].split()[0].rstrip(",;:"))
    made = build_machine(load_scenario("tall-delta", [f"frame.height_mm={needed}"]))
    top = max(s.z_m[1] for s in made.solids if s.z_m is not None and s.body == "frame")
    idler = made.wheels["idler A"]
    assert 0 < top - idler.centre[2] - idler.radius_m < 0.025


def test_three_columns_and_two_triangles_weigh_and_balance_as_bars_do() -> None:
    """1.41 kg a metre; 950 mm high, columns 300 mm from the middle: sides of 300 sqrt 3."""
    design = design_of(load_scenario("tall-delta"))
    top, base = masses.triangle_members(design, 0.300, 0.050, 1.000)
    side = 0.300 * math.sqrt(3)
    ring, halves = 3 * side * 1.41, 3 * 0.475 * 1.41
    for lumps, z, middle in ((top, 1.000, 1.000 - 0.2375), (base, 0.050, 0.050 + 0.2375)):
        kg, (x, y, height), inertia = masses.together(lumps)
        assert kg == pytest.approx(ring + halves, rel=1e-9)
        assert (x, y) == pytest.approx((0, 0), abs=1e-9)
        assert height == pytest.approx((ring * z + halves * middle) / kg, rel=1e-9)
        # About Z: a side lies half the columns' distance from the middle; thin bars, side squared over 12.
        assert inertia[2] == pytest.approx(ring * (0.150**2 + side**2 / 12) + halves * 0.300**2, rel=1e-9)
        # About any level axis half of what lies about Z, and the distances in height.
        level = ring * (z - height) ** 2 + halves * ((middle - height) ** 2 + 0.475**2 / 12)
        assert inertia[0] == pytest.approx(inertia[2] / 2 + level, rel=1e-9)
        assert inertia[1] == pytest.approx(inertia[0], rel=1e-9)


def test_sheets_go_with_what_they_are_screwed_to() -> None:
    """620 x 620 x 700: plywood of 6 mm, 650 kg/m3 in the catalogue; what stands goes half with the top, half with the base."""
    sheet = "{ part = 'plywood', thickness_mm = 6 }"
    bare = masses.frame_members(design_of(load_scenario("large-corexy")), (0.0, 0.0), 0.0, 0.700)
    lying, standing = 0.62 * 0.62 * 0.006 * 650, 0.62 * 0.70 * 0.006 * 650
    for place, count, up, down in (("top", 1, lying, 0), ("bottom", 1, 0, lying), ("rear", 1, standing / 2, standing / 2),
                                   ("sides", 2, standing, standing)):  # fmt: skip
        design = design_of(load_scenario("large-corexy", [f"frame.panels={{ {place} = {sheet} }}"]))
        made = masses.frame_members(design, (0.0, 0.0), 0.0, 0.700)
        more = [lumps[len(plain) :] for lumps, plain in zip(made, bare, strict=True)]
        assert [sum(lump.mass_kg for lump in lumps) for lumps in more] == pytest.approx([up, down]), place
        heights = {round(lump.centre[2], 6) for lumps in more for lump in lumps}
        assert heights == {"top": {0.7}, "bottom": {0.0}}.get(place, {0.175, 0.525}), place
        for lump in (lump for lumps in more for lump in lumps):
            assert sorted(lump.size_m)[1:] == pytest.approx(
                [0.35, 0.62] if count and place in ("rear", "sides") else [0.62] * 2
            )


def edges(made: Machine) -> list[np.ndarray]:
    """The corners of the reach."""
    (x0, x1), (y0, y1), (z0, z1) = made.reach
    return [np.array([x, y, z]) for x in (x0, x1) for y in (y0, y1) for z in (z0, z1)]


@pytest.mark.parametrize("layout", PLANAR)
@pytest.mark.parametrize("teeth", [16, 36])
def test_in_the_smallest_frame_all_shafts_stand_inside_and_no_wheel_meets_another(
    small: dict[str, Any], layout: str, teeth: int
) -> None:
    """The smallest frame is the one that a refusal names: less than it was too small, by the machine's own word."""
    more: dict[str, Any] = {"motors": {"pulley_teeth": teeth, "part": "motor-17-40"}, "idlers": {"teeth": teeth}}
    sizes: dict[str, float] = {"width_mm": 185, "depth_mm": 165}
    for _ in range(3):
        try:
            made = machine(small, layout, frame={"part": "slot-2020"} | sizes, **more)
            break
        except MachineError as told:
            key, value = next(iter(told.remedy.items()))
            sizes[key.removeprefix("frame.")] = float(str(value))
    width, depth = (made.design.frame_size.width_m / 2, made.design.frame_size.depth_m / 2)
    assert (2e3 * width, 2e3 * depth) == pytest.approx((sizes["width_mm"], sizes["depth_mm"]))
    middle = np.mean(made.feet_points, axis=0)
    for place in edges(made):
        offsets = made.offsets(place)
        at = {w.name: np.array(w.centre) + offsets[w.body] for w in made.wheels.values()}
        for wheel in made.wheels.values():
            assert abs(at[wheel.name][0] - middle[0]) <= width, wheel.name
            if wheel.body in ("frame", "base"):
                assert abs(at[wheel.name][1] - middle[1]) <= depth, wheel.name
            for other in made.wheels.values():
                if other.name < wheel.name and abs(at[other.name][2] - at[wheel.name][2]) < 0.003:
                    apart = np.linalg.norm((at[other.name] - at[wheel.name])[:2])
                    assert apart > wheel.radius_m + other.radius_m, (wheel.name, other.name)


@pytest.mark.parametrize(("feet", "left", "right", "rear"), [(3, 1, 1, 1), (4, 2, 2, 0), (5, 3, 2, 0), (6, 3, 3, 0)])
def test_feet_stand_under_the_corners_and_along_the_sides(feet: int, left: int, right: int, rear: int) -> None:
    """620 x 620."""
    made = build_machine(load_scenario("large-corexy", [f"feet.count={feet}"]))
    places = np.array(made.feet_points) - [*made.frame_point[:2], 0]
    assert len(places) == feet
    for x, count in ((-0.310, left), (0.310, right)):
        ys = sorted(p[1] for p in places if p[0] == pytest.approx(x))
        wanted = np.linspace(-0.310, 0.310, count) if count > 1 else [-0.310]
        assert ys == pytest.approx(list(wanted))
    assert sum(tuple(p[:2]) == pytest.approx((0.0, 0.310)) for p in places) == rear


def test_a_pair_of_arms_is_two_of_half_its_mass_and_stiffness_side_by_side() -> None:
    made = build_machine(load_scenario("tall-delta"))
    for pair in made.arms:
        one, other = pair.single
        assert (one.mass_kg, one.stiffness_n_m) == (pair.mass_kg / 2, pair.stiffness_n_m / 2)
        assert one.apart_m == other.apart_m == 0.0
        assert one.along == pytest.approx(pair.along)
        across = np.array(other.ends[0][1]) - np.array(one.ends[0][1])
        assert np.linalg.norm(across) == pytest.approx(pair.apart_m)
        assert across[2] == 0.0
        assert across @ pair.along == pytest.approx(0, abs=1e-12)
        assert (np.array(other.ends[0][1]) + one.ends[0][1]) / 2 == pytest.approx(np.array(pair.ends[0][1]))


def test_arms_keep_their_length_wherever_the_tool_is() -> None:
    """Each carriage stands above its arm's joint on the platform by the rest of the arm (Pythagoras)."""
    made = build_machine(load_scenario("tall-delta"))
    for way in ((0.06, 0.02, 0.03), (-0.05, 0.04, -0.02)):
        offsets = made.offsets(made.middle + np.array(way))
        for arm in made.arms:
            (body_a, a), (body_b, b) = arm.ends
            ends = np.array(a) + offsets[body_a] - np.array(b) - offsets[body_b]
            assert np.linalg.norm(ends) == pytest.approx(arm.length_m, rel=1e-12)
            assert offsets[body_a][:2] == pytest.approx((0, 0))
            assert offsets[body_b] == pytest.approx(way)
            assert abs(a[2] + offsets[body_a][2]) > abs(b[2] + offsets[body_b][2])
