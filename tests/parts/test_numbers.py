"""Numbers that a design is filled with, by hand: arms, guides, tubes, sizes, and which of them are known within a band only."""

from __future__ import annotations

import math
import tomllib
from typing import Any

import pytest
from beltspring.sim.errors import ScenarioError
from beltspring.sim.machine.build import build_machine
from beltspring.sim.parts.catalogue import catalogue
from beltspring.sim.parts.completed import completed_toml
from beltspring.sim.parts.completion import Completion
from beltspring.sim.parts.design import Design
from beltspring.sim.parts.keys import key_facts
from beltspring.sim.parts.numbers import Drawn, Uncertain
from beltspring.sim.parts.uncertain import key_bands

from tests.support import shipped


def design(name: str, changes: dict[str, Any] | None = None) -> Design:
    return build_machine(shipped(name, changes)).design


def refused(name: str, changes: dict[str, Any]) -> str:
    with pytest.raises(ScenarioError) as told:
        design(name, changes)
    (problem,) = told.value.problems
    return problem


def uncertain(found: Design) -> dict[str, Uncertain]:
    return {number.key: number for number in found.uncertain}


DELTA = """
title = "arms"
layout = "delta"
detail = "full"
space = {{ x_mm = {x}, y_mm = {x}, z_mm = 150 }}
move = {{ pattern = "square", size_mm = 20 }}
{more}
"""


def on_arms(x: float, more: str = "") -> Design:
    from beltspring.sim.scenario.load import scenario_of

    return build_machine(scenario_of(tomllib.loads(DELTA.format(x=x, more=more)), "arms.toml")).design


@pytest.mark.parametrize("x", [120, 160, 200, 270])
def test_arms_nobody_measured_stand_28_degrees_at_the_rim_and_are_no_longer_than_that_takes(x: float) -> None:
    """Lengths in steps of 5 mm; towers 45 mm beyond the platform's joints at the rim."""
    arms = on_arms(x).arms
    assert arms is not None
    assert arms.tower_radius_m == pytest.approx(x / 2e3 + arms.effector_radius_m + 0.045)
    spans = arms.across_m + x / 2e3
    assert 1e3 * arms.length_m == pytest.approx(5 * round(200 * arms.length_m))
    assert math.degrees(math.acos(spans / arms.length_m)) >= 28
    assert math.degrees(math.acos(min(1.0, spans / (arms.length_m - 0.005)))) < 28


def test_an_arm_weighs_its_tube_and_two_joints_and_gives_way_like_three_springs_in_a_row() -> None:
    part = catalogue().get("arms", "arm-tube-6")
    arms = design("small-delta").arms
    assert arms is not None
    grams = part.value("mass_g_m") * 0.215 + 2 * part.value("joint_mass_g")
    assert 1e3 * arms.arm_mass_kg == pytest.approx(grams, rel=1e-3)
    n_per_mm = 1 / (215 / part.value("ea_n") + 2 / part.value("joint_n_per_mm"))
    assert arms.arm_stiffness_n_m / 1e3 == pytest.approx(n_per_mm, rel=1e-3)


def test_arms_that_cannot_span_the_reach_are_refused_with_what_could() -> None:
    # The joints lie 103 mm from the middle, the rim 80 mm beyond: 183 mm level, and half a per cent to stand at all.
    assert "must be x_mm = 160" in refused("small-delta", {"space.y_mm": 150})
    told = refused("small-delta", {"delta.arm_mm": 183})
    assert "too short to span the reach" in told
    assert "write 210 or more" in told  # 183 / cos 28 degrees = 207.3, in steps of 5
    assert design("small-delta", {"delta.arm_mm": 184}).arms is not None
    # 25 mm of the carriage and 30 mm of the platform, and 10 mm for an arm that hangs at all.
    assert "the joints meet; write 65 or more" in refused("small-delta", {"delta.tower_radius_mm": 55})


def test_what_arms_have_no_use_for_is_told_where_it_is_written() -> None:
    idle = {
        "bed.z_drives": 2, "bed.friction_n": 1.0, "frame.width_mm": 500, "carriage.tool_mass_g": 100,
        "carriage.nozzle_below_guide_mm": 30,
    }  # fmt: skip
    told = design("small-delta", idle).notices
    for key in idle:
        assert [n for n in told if n.startswith(f"{key} does nothing here: ")], key
    used = design("small-delta", {"bed.mass_g": 500, "bed.print_g": 50}).notices
    assert not [n for n in used if n.startswith("bed.")]
    assert [
        n for n in design("desk-corexy", {"delta.arm_mm": 200}).notices if n.startswith("delta.arm_mm does nothing")
    ]


def test_bearings_weigh_and_rub_by_how_many_there_are() -> None:
    """Two rails with two blocks each: four movers, and four times the friction of one; wheels by their preload."""
    rail = catalogue().get("guides", "rail-12")
    two = design("large-corexy", {"gantry.lines": 2, "gantry.blocks": 2}).gantry.guide
    assert two is not None
    assert two.mover_mass_kg == pytest.approx(4e-3 * rail.value("mover_mass_g"))
    assert two.line_mass_kg_m == pytest.approx(2 * rail.value("line_mass_kg_m"))
    assert two.friction_n == pytest.approx(4 * rail.value("friction_n"))
    assert two.friction_static_n == pytest.approx(4 * rail.value("friction_n") * rail.value("static_ratio"))
    one, tight = (
        design("desk-corexy-slot", {"carriage.guide": "wheels", "carriage.lines": 1} | more).carriage.guide
        for more in ({}, {"carriage.preload_n": 2 * catalogue().get("guides", "wheels").value("preload_n")})
    )
    assert one is not None
    assert tight is not None
    assert tight.friction_n == pytest.approx(2 * one.friction_n)
    assert "only wheels have eccentrics" in refused("desk-corexy", {"carriage.preload_n": 5})
    assert "breaking away takes no less than sliding" in refused(
        "desk-corexy", {"carriage.friction_n": 2, "carriage.friction_static_n": 1.5}
    )


@pytest.mark.parametrize(
    ("changes", "idle"),
    [
        ({"gantry.guide": "rail-9", "gantry.lines": 2, "gantry.mismatch_um": 10}, False),
        ({"gantry.guide": "rail-9", "gantry.lines": 1, "gantry.mismatch_um": 10}, True),
        ({"gantry.mismatch_um": 10}, True),
    ],
)
def test_only_two_rails_can_differ_in_height(changes: dict[str, Any], idle: bool) -> None:
    told = [n for n in design("desk-corexy", changes).notices if n.startswith("gantry.mismatch_um")]
    assert bool(told) == idle


def test_belts_pass_over_what_the_carriage_runs_on_with_air_between() -> None:
    """Two levels of 6 mm belts with a gap between them: half of that below the middle, 4 mm of air, half of the guide; 16 mm
    at least (our choice)."""
    for changes in ({}, {"belts.part": "belt-2mm-12-glass"}, {"belts.level_gap_mm": 12}, {"carriage.guide": "rigid"}):
        found = design("desk-corexy", {"carriage.belt_above_guide_mm": 16, **changes})
        written = {o.key: o for o in found.origins}["carriage.belt_above_guide_mm"]
        assert written.origin == "set" or written.value == 16
    wide = 12.0
    free = build_machine(
        _without(
            "desk-corexy",
            "carriage",
            "belt_above_guide_mm",
            {"belts.part": "belt-2mm-12-glass", "belts.level_gap_mm": 8},
        )
    ).design
    guide = free.carriage.guide
    assert guide is not None
    needed = 1e3 * guide.half_height_m + 4 + (2 * wide + 8) / 2
    assert needed > 20
    assert 1e3 * free.carriage.belt_above_guide_m == pytest.approx(needed)
    rigid = _without("desk-corexy", "carriage", "belt_above_guide_mm", {"carriage.guide": "rigid"})
    assert build_machine(rigid).design.carriage.belt_above_guide_m == pytest.approx(0.016)


def test_thicker_profile_takes_its_room_at_both_sides() -> None:
    """Reach, carriage, 100 mm beside it or 110 mm before and behind it, and what each of two members is wider than 20 mm,
    to the next centimetre."""
    for part, wider in (("slot-2020", 0), ("slot-4040", 40)):
        found = build_machine(
            _without(
                "desk-corexy-slot",
                "frame",
                "width_mm depth_mm",
                {"frame.part": part, "space.x_mm": 150, "carriage.depth_mm": 47},
            )
        ).design
        keys = {o.key: o.value for o in found.origins}
        beside = 150 + keys["carriage.width_mm"] + 100 + wider
        deep = 180 + 47 + 110 + wider
        assert keys["frame.depth_mm"] == 10 * math.ceil(deep / 10)
        assert keys["frame.width_mm"] == 10 * math.ceil(beside / 10)


def _without(name: str, table: str, key: str, changes: dict[str, Any]) -> Any:
    """A shipped scenario without some keys of a table."""
    from copy import deepcopy

    from beltspring.sim.scenario.load import scenario_of, with_changes

    tree = deepcopy(shipped(name).tree)
    for one in key.split():
        tree.get(table, {}).pop(one, None)
    found = scenario_of(tree, "less.toml")
    return with_changes(found, changes) if changes else found


def test_a_printed_tube_by_hand() -> None:
    """Side 40, wall 4 mm: A = 40^2 - 32^2 = 576 mm2, I = (40^4 - 32^4) / 12 = 125 952 mm4, after EN 10210-2 annex A (from
    memory) I_t = t (a - t)^3 + t^3 h / 3 with h = 4 (a - t): 186 624 + 3072 = 189 696 mm4. Full: 0.1406 a^4 (Roark)."""
    frame = design("desk-corexy", {"frame.side_mm": 40, "frame.wall_mm": 4}).frame
    assert frame is not None
    assert frame.kind == "printed"
    assert 1e6 * frame.area_m2 == pytest.approx(576)
    assert 1e12 * frame.i_strong_m4 == pytest.approx(125_952)
    assert 1e12 * frame.i_weak_m4 == pytest.approx(125_952)
    assert 1e12 * frame.torsion_m4 == pytest.approx(189_696)
    density = catalogue().get("materials", frame.material).value("density_kg_m3")
    assert frame.mass_kg_m == pytest.approx(576e-6 * density)
    full = design("desk-corexy", {"frame.side_mm": 40, "frame.wall_mm": 20}).frame
    assert full is not None
    assert 1e12 * full.i_strong_m4 == pytest.approx(40**4 / 12)
    assert 1e12 * full.torsion_m4 == pytest.approx(0.1406 * 40**4)
    told = refused("desk-corexy", {"frame.side_mm": 40, "frame.wall_mm": 20.5})
    assert "must be at most half of side_mm, 20;" in told


def test_columns_on_three_feet_are_as_high_as_their_carriages_go() -> None:
    """40 mm above the highest carriage for idlers, 80 mm below the bed for motors, to the next centimetre."""
    found = build_machine(_without("small-delta", "frame", "height_mm", {}))
    arms, space = found.design.arms, found.design.space
    assert arms is not None
    rise = math.sqrt(arms.length_m**2 - (arms.across_m - space.x_m / 2) ** 2)
    top = 1e3 * (space.z_m + arms.joints_above_nozzle_m + rise + found.design.carriage.depth_m / 2)
    assert 1e3 * found.design.frame_size.height_m == pytest.approx(10 * math.ceil((top + 120) / 10))


def test_three_columns_are_as_wide_and_deep_as_a_triangle() -> None:
    """Corners of an equilateral triangle of radius R: sqrt 3 R wide and 1.5 R deep, and half a column more at each side."""
    found = design("small-delta")
    assert found.frame is not None
    assert found.arms is not None
    side = found.frame.side_a_m
    radius = found.arms.tower_radius_m + side
    assert found.frame_size.width_m == pytest.approx(math.sqrt(3) * radius + side)
    assert found.frame_size.depth_m == pytest.approx(1.5 * radius + side)


def test_a_number_within_a_band_is_log_normal_in_two_pieces() -> None:
    """Two sigma up is the high end, two down the low one, one sigma their geometric mean with the value; of zero half a
    normal one."""
    number = Uncertain("k", ("k",), 10.0, 5.0, 40.0, "N", "r", ("file", "k"), ("file", "k"))
    assert [number.at(s) for s in (-2, -1, 0, 1, 2)] == pytest.approx([5, math.sqrt(50), 10, 20, 40])
    zero = Uncertain("k", ("k",), 0.0, 0.0, 4.0, "N", "r", ("file", "k"), ("file", "k"))
    assert [zero.at(s) for s in (-2, 0, 1, 2)] == pytest.approx([4, 0, 2, 4])
    drawn = Drawn()
    drawn.put(Uncertain("m", ("m",), 2.0, 1.0, 3.0, "kg", "r", ("mass", "bed"), ("mass", "bed")), 3.0)
    drawn.put(number, 7.0)
    drawn.put(Uncertain("a", ("a.b", "c.d"), 2.0, 1.0, 3.0, "N", "r", ("file", "a.b"), ("file", "a.b")), 2.5)
    drawn.put(Uncertain("p", ("p",), 2.0, 1.0, 3.0, "N", "r", ("belts", "one", "ea_n"), ("x",)), 2.2)
    assert drawn.masses == {"bed": 1.5}
    assert drawn.keys == {("k",): 7.0, ("a", "b"): 2.5, ("c", "d"): 2.5}
    assert drawn.parts == {("belts", "one", "ea_n"): 2.2}


def test_what_a_design_takes_from_parts_is_uncertain_and_what_somebody_wrote_is_not() -> None:
    found = uncertain(design("desk-corexy-slot"))
    slot, guide = catalogue().get("frames", "slot-2020"), catalogue().get("guides", "rod-8-pair")
    for key in ("i_strong_mm4", "i_weak_mm4", "torsion_mm4"):
        assert (found[f"frames.slot-2020.{key}"].low, found[f"frames.slot-2020.{key}"].high) == slot.numbers[key].band
    assert {"materials.aluminium-profile.elastic_gpa", "materials.aluminium-profile.shear_gpa"} <= set(found)
    # One part serves at three places; each told by the key of the first table in the file.
    rubbing = found["carriage.friction_n"]
    assert rubbing.keys == ("carriage.friction_n", "gantry.friction_n", "bed.friction_n")
    assert (rubbing.low, rubbing.high) == guide.numbers["friction_n"].band
    # Aluminium's shear modulus has no band of its own: as wide as Young's, by the same shares.
    young, shear = (found[f"materials.aluminium-profile.{key}"] for key in ("elastic_gpa", "shear_gpa"))
    assert shear.low / shear.value == pytest.approx(young.low / young.value)
    assert shear.high / shear.value == pytest.approx(young.high / young.value)
    assert shear.draw == young.draw
    assert "belts.pretension_n" not in found
    assert "motors.current_a" not in found
    free = uncertain(build_machine(_without("desk-corexy-slot", "belts", "pretension_n", {})).design)
    belt = catalogue().get("belts", "belt-2mm-6-glass").numbers["install_tension_n"]
    assert (free["belts.pretension_n"].low, free["belts.pretension_n"].high) == belt.band
    written = uncertain(design("desk-corexy-slot", {"carriage.friction_n": 1.0}))
    assert written["gantry.friction_n"].keys == ("gantry.friction_n", "bed.friction_n")
    assert "guides.rod-8-pair.static_ratio" in written
    static = {f"{table}.friction_static_n": 9.0 for table in ("carriage", "gantry", "bed")}
    assert "guides.rod-8-pair.static_ratio" not in uncertain(design("desk-corexy-slot", static))


def test_what_the_textbook_model_leaves_out_is_not_uncertain_in_it() -> None:
    """How far a guide gives way belongs to detail full; a number that the file has a band for is told once."""
    full = uncertain(design("desk-corexy-slot", {"detail": "full"}))
    simple = uncertain(design("desk-corexy-slot", {"detail": "simple"}))
    assert "carriage.stiffness_n_per_mm" in full
    assert "carriage.stiffness_n_per_mm" not in simple
    assert {"belts.ea_n", "carriage.friction_n", "frames.slot-2020.i_strong_mm4"} <= set(simple)
    from beltspring.sim.scenario.load import scenario_of

    tree = {**shipped("desk-corexy-slot").tree, "band": {"belts.ea_n": [14000, 16000]}}
    tree["belts"] = {**tree["belts"], "ea_n": 15000}
    for detail in ("full", "simple"):
        found = build_machine(scenario_of({**tree, "detail": detail}, "b.toml")).design
        mine = [n for n in found.uncertain if "belts.ea_n" in n.keys]
        assert [n.of for n in mine] == [("file", "belts.ea_n")]
    tree["carriage"] = {**tree["carriage"], "stiffness_n_per_mm": 6000}
    tree["band"] = {"carriage.stiffness_n_per_mm": [5000, 7000]}
    for detail, told in (("full", True), ("simple", False)):
        found = build_machine(scenario_of({**tree, "detail": detail}, "b.toml")).design
        mine = [n for n in found.uncertain if n.of == ("file", "carriage.stiffness_n_per_mm")]
        assert bool(mine) == told


def test_the_catalogue_read_anew_is_the_one_in_use() -> None:
    anew = catalogue.__wrapped__()
    assert anew.parts == catalogue().parts
    assert all(anew.parts.values())


def test_drives_stand_after_the_table_of_all() -> None:
    keys = [o.key for o in design("desk-corexy", {"belts.a.ea_n": 16000, "motors.b.current_a": 1.0}).origins]
    for table in ("belts", "motors"):
        mine = [key.split(".") for key in keys if key.startswith(f"{table}.")]
        depth = [len(path) for path in mine]
        assert depth == sorted(depth)
        assert depth[-1] == 3


def test_tables_of_another_layouts_drives_are_passed_over_where_the_file_has_them_and_refused_where_somebody_asks() -> (
    None
):
    from beltspring.sim.scenario.load import scenario_of, with_changes

    tree = dict(shipped("desk-corexy").tree)
    tree["belts"] = {**tree["belts"], "b": {"ea_n": 16000}}
    wide = {"layout": "box", "frame.width_mm": 500, "frame.depth_mm": 500}
    told = build_machine(with_changes(scenario_of(tree, "b.toml"), wide)).design.notices
    assert "belts.b does nothing here: the belts of box are x, y" in told
    with pytest.raises(ScenarioError, match=r"the belts of box have \[belts\.x\], \[belts\.y\]"):
        design("desk-corexy", {**wide, "belts.b.ea_n": 16000})


def test_a_part_is_a_table_and_a_bands_own_source_is_told_beside_it() -> None:
    from beltspring.sim.errors import PartError
    from beltspring.sim.parts.catalogue import read_parts, rows
    from beltspring.sim.parts.kinds import KINDS

    with pytest.raises(PartError, match=r"x.toml \[stone\]: must be a table"):
        read_parts("stone = 3", KINDS["belts"], "x.toml")
    listed = rows()
    assert {row.kind for row in listed} == set(KINDS)
    assert all(row.band_source == "" or row.source not in row.band_source for row in listed)
    assert [row for row in listed if row.band_source]
    assert [row for row in listed if row.mark == "our estimate" and row.why]


def test_parts_that_no_drive_has_are_not_uncertain() -> None:
    """Both belts have a part of their own: the one named for all is on no machine."""
    found = uncertain(design("desk-corexy", {"belts.a.part": "belt-2mm-9-glass", "belts.b.part": "belt-2mm-9-glass"}))
    of = {number.of[1] for number in found.values() if number.of[0] == "belts"}
    assert of == {"belt-2mm-9-glass"}


def test_the_band_of_two_rods_is_twice_that_of_one() -> None:
    found = design("desk-corexy-slot")
    bands = key_bands(found, found.uncertain)
    low, high = catalogue().get("guides", "rod-8-pair").numbers["friction_n"].band
    held = {o.key: o.value for o in found.origins}["carriage.friction_n"]
    times = held / catalogue().get("guides", "rod-8-pair").value("friction_n")
    assert times == 2
    assert bands["carriage.friction_n"] == pytest.approx((2 * low, 2 * high))


def test_a_band_of_a_drive_there_is_not_is_refused_and_one_of_nothing_is_told() -> None:
    from beltspring.sim.scenario.load import scenario_of

    def of(bands: dict[str, list[float]], **more: Any) -> Design:
        tree = tomllib.loads(DELTA.format(x=160, more=""))
        return build_machine(scenario_of({**tree, **more, "band": bands}, "b.toml")).design

    with pytest.raises(ScenarioError, match=r"the belts of delta have belts\.a\.ea_n, belts\.b\.ea_n, belts\.c\.ea_n"):
        of({"belts.x.ea_n": [1e4, 2e4]}, belts={"ea_n": 15000})
    found = of({"belts.ea_n": [14000, 16000]}, belts={"ea_n": 15000, "a": {"ea_n": 12000}, "b": {"damping": 0.02}})
    (mine,) = [n for n in found.uncertain if n.key == "belts.ea_n"]
    assert set(mine.keys) == {"belts.ea_n", "belts.b.ea_n"}
    assert (mine.low, mine.high, mine.of) == (14000, 16000, ("file", "belts.ea_n"))
    assert "b.toml" in mine.reason


def test_a_band_of_what_is_not_used_is_told() -> None:
    from beltspring.sim.scenario.load import scenario_of

    tree = {**tomllib.loads(DELTA.format(x=160, more="")), "motors": {"part": "ideal"}, "feet": {"part": "rigid"}}
    found = build_machine(scenario_of({**tree, "band": {"feet.damping": [0.01, 0.02]}}, "b.toml")).design
    assert "band.feet.damping does nothing here: the number is not used" in found.notices


def test_a_completed_file_finds_its_program_from_anywhere() -> None:
    from pathlib import Path

    scenario = shipped("key-tag")
    tree = tomllib.loads(completed_toml(scenario, build_machine(scenario).design))
    program = Path(tree["move"]["gcode"])
    assert program.is_absolute()
    assert program.is_file()


def test_values_are_written_as_toml_has_them() -> None:
    scenario = shipped("desk-corexy", {"motors.current_a": 1.5, "carriage.mass_g": 320.0, "title": 'a "b" 5 µm \\'})
    text = completed_toml(scenario, build_machine(scenario).design)
    tree = tomllib.loads(text)
    assert tree["motors"]["current_a"] == 1.5
    assert "\nmass_g = 320  # set\n" in text
    assert tree["title"] == 'a "b" 5 µm \\'
    assert "5 µm" in text
    assert "# friction_n = 0.6  # part rod-8-pair" in text
    banded = _without("desk-corexy", "band", "none", {})
    from beltspring.sim.scenario.load import scenario_of

    tree = {**banded.tree, "band": {"carriage.mass_g": [300, 350.5]}, "carriage": {"mass_g": 320}}
    text = completed_toml(*(lambda s: (s, build_machine(s).design))(scenario_of(tree, "b.toml")))
    assert tomllib.loads(text)["band"] == {"carriage.mass_g": [300, 350.5]}


def test_a_gap_in_the_program_is_no_fault_of_the_file() -> None:
    c = Completion(shipped("desk-corexy"), ("a", "b"))
    with pytest.raises(KeyError, match=r"belts\.ea_n"):
        c.value(("belts", "ea_n"))
    part = catalogue().get("guides", "rod-8-pair")
    assert c.value(("carriage", "presliding_um"), part) == part.value("presliding_um")
    assert c.value(("gantry", "presliding_um"), part, times=3) == 3 * part.value("presliding_um")
    notes = {o.key: o.note for o in c.origins() if o.key.endswith("presliding_um")}
    assert not notes["carriage.presliding_um"].startswith(f"{part.name}: 1 x")
    assert notes["gantry.presliding_um"].startswith(f"{part.name}: 3 x {part.value('presliding_um'):g}; ")


def test_a_part_of_one_drive_that_there_is_not_is_told_at_its_own_place() -> None:
    told = refused("desk-corexy", {"belts.a.part": "belt-of-gold"})
    assert told.startswith("--set belts.a.part = ")


def test_keys_are_told_with_where_they_stand_and_what_they_may_be() -> None:
    facts = {fact.name: fact for fact in key_facts()}
    assert facts["belts.ea_n"].each
    assert not facts["carriage.mass_g"].each
    assert facts["carriage.damping"].unit == ""
    assert facts["carriage.mass_g"].unit == "g"
    assert [f.name for f in key_facts("belts.a.ea_n")] == ["belts.a.ea_n"]
    assert key_facts("belts.a.ea_n")[0].instead == "that of [belts]"
    assert "(chirp)" in facts["move.from_hz"].instead
    assert {f.path[-1] for f in key_facts("mass_g")} == {"mass_g"}
    assert len(key_facts("mass_g")) > 2
    assert all(f.name.startswith("frame.panels.") for f in key_facts("[frame.panels]"))
