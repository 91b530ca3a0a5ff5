"""From scenario to design: SI by hand, overlays, sub-tables, switched-off parts, origins, and the way back to a file."""

from __future__ import annotations

import math
import tomllib
from typing import Any

import pytest
from beltspring.sim.errors import ScenarioError
from beltspring.sim.machine.build import build_machine
from beltspring.sim.machine.layouts import LAYOUTS
from beltspring.sim.parts.catalogue import catalogue
from beltspring.sim.parts.completed import completed_toml
from beltspring.sim.parts.design import Design, Origin
from beltspring.sim.parts.resolve import resolve
from beltspring.sim.parts.uncertain import key_bands
from beltspring.sim.scenario.load import scenario_of, with_changes, with_variant
from beltspring.sim.scenario.motion import axis_limits, motion_limits, move_spec, pattern_choices, shapers

AB = LAYOUTS["corexy"].drives


def design(small: dict[str, Any], **more: Any) -> Design:
    return resolve(scenario_of(small | more, "bench.toml"), AB)


def told(small: dict[str, Any], **more: Any) -> list[str]:
    with pytest.raises(ScenarioError) as caught:
        design(small, **more)
    return caught.value.problems


def origin(d: Design, key: str) -> Origin:
    (found,) = [o for o in d.origins if o.key == key]
    return found


def test_file_units_become_si_once(small: dict[str, Any]) -> None:
    """Each number converted by hand."""
    d = design(
        small,
        carriage={
            "mass_g": 320, "guide": "rail-9", "friction_n": 2, "friction_static_n": 3, "stribeck_mm_s": 4,
            "presliding_um": 8, "stiffness_n_per_mm": 12000, "stiffness_nm_per_rad": 900, "belt_above_guide_mm": -12,
            "width_mm": 70, "tool_mass_g": 99,
        },
        belts={"ea_n": 14000, "pretension_n": 18, "damping": 0.04, "mass_g_m": 8},
        motors={
            "current_a": 1.1, "rotor_inertia_g_cm2": 50, "inductance_mh": 3.2, "holding_torque_nm": 0.41, "mass_g": 280,
            "pulley_teeth": 16, "supply_v": 36, "microsteps": 32,
        },
        idlers={"smooth_diameter_mm": 13, "inertia_g_mm2": 110, "mass_g": 9, "teeth": 18},
        frame={"stiffness_x_n_per_mm": 90, "joint_nm_per_rad": 700, "top_mass_g": 2500, "width_mm": 420},
        feet={"stiffness_vertical_n_per_mm": 25, "count": 6},
        bed={"plate_mm": 5, "glass_mm": 3, "print_g": 40, "mass_g": 900},
    )  # fmt: skip
    assert (d.space.x_m, d.space.y_m, d.space.z_m) == pytest.approx((0.18, 0.16, 0.15))
    assert d.carriage.mass_kg == pytest.approx(0.32)
    assert d.carriage.belt_above_guide_m == pytest.approx(-0.012)
    assert (d.carriage.width_m, d.carriage.tool_mass_kg) == pytest.approx((0.070, 0.099))
    guide = d.carriage.guide
    assert guide is not None
    assert (guide.friction_n, guide.friction_static_n, guide.stribeck_m_s) == pytest.approx((2, 3, 0.004))
    assert (guide.presliding_m, guide.stiffness_n_m, guide.stiffness_nm_rad) == pytest.approx((8e-6, 1.2e7, 900))
    belt = d.belts["a"]
    assert (belt.ea_n, belt.pretension_n, belt.damping, belt.mass_kg_m) == pytest.approx((14000, 18, 0.04, 0.008))
    assert (belt.pitch_m, belt.width_m, belt.pitch_line_m) == pytest.approx((0.002, 0.006, 0.000254))
    motor = d.motors["b"]
    assert motor is not None
    assert (motor.rotor_inertia_kg_m2, motor.inductance_h, motor.mass_kg) == pytest.approx((50e-7, 0.0032, 0.28))
    assert (motor.current_a, motor.supply_v, motor.microsteps, motor.rotor_teeth) == (1.1, 36, 32, 50)
    assert (motor.body_m, motor.length_m, motor.holding_torque_nm) == pytest.approx((0.0423, 0.040, 0.41))
    assert d.pulley_teeth == {"a": 16, "b": 16}
    assert (d.idlers.smooth_diameter_m, d.idlers.inertia_kg_m2, d.idlers.mass_kg) == pytest.approx(
        (0.013, 110e-9, 0.009)
    )
    assert (d.idlers.teeth, d.idlers.width_m) == (18, pytest.approx(0.007))
    assert d.frame is not None
    assert (d.frame.stiffness_x_n_m, d.frame.stiffness_y_n_m, d.frame.top_mass_kg) == (90e3, None, 2.5)
    assert (d.frame.joint_nm_rad, d.frame.elastic_modulus_pa) == (700, pytest.approx(69e9))
    assert (d.frame.i_strong_m4, d.frame.area_m2, d.frame.side_b_m) == pytest.approx((7000e-12, 170e-6, 0.020))
    assert d.feet is not None
    assert (d.feet.vertical_n_m, d.feet.count) == (25e3, 6)
    assert (d.bed.plate_thickness_m, d.bed.glass_thickness_m, d.bed.print_mass_kg) == pytest.approx(
        (0.005, 0.003, 0.04)
    )
    assert (d.bed.plate_density_kg_m3, d.bed.mass_kg) == (2700, pytest.approx(0.9))


def test_one_belt_and_one_motor_of_their_own(small: dict[str, Any]) -> None:
    d = design(
        small,
        belts={"pretension_n": 16, "ea_n": 14000, "b": {"part": "belt-2mm-9-steel"}, "a": {"damping": 0.1}},
        motors={"current_a": 1.2, "b": {"part": "ideal"}},
    )
    assert (d.belts["a"].ea_n, d.belts["a"].damping, d.belts["a"].pretension_n) == (14000, 0.1, 16)
    # An override of the belt of all does not reach a belt with a part of its own; how it is tightened does.
    assert (d.belts["b"].ea_n, d.belts["b"].width_m, d.belts["b"].pretension_n) == (60000, pytest.approx(0.009), 16)
    assert d.motors["b"] is None
    assert d.motors["a"] is not None
    assert d.motors["a"].current_a == 1.2
    assert d.idlers.width_m == pytest.approx(0.010), "idlers take the widest belt"


def test_a_motor_of_its_own_has_its_own_usual_current(small: dict[str, Any]) -> None:
    d = design(small, motors={"b": {"part": "motor-17-28"}})
    for motor in d.motors.values():
        assert motor is not None
        assert motor.current_a == pytest.approx(0.8 * motor.rated_current_a)
    assert d.motors["a"] != d.motors["b"]


def test_too_much_current_is_said(small: dict[str, Any]) -> None:
    assert design(small, motors={"current_a": 2.3}).notices == []
    (text,) = design(small, motors={"current_a": 3}).notices
    assert text.startswith("motors.current_a = 3: ")


def test_switched_off_parts_remove_their_records(small: dict[str, Any]) -> None:
    d = design(
        small, carriage={"guide": "rigid"}, gantry={"guide": "rigid"}, bed={"guide": "rigid"}, frame={"part": "rigid"},
        feet={"part": "rigid"}, motors={"part": "ideal", "pulley_teeth": 24},
    )  # fmt: skip
    assert (d.carriage.guide, d.gantry.guide, d.bed.guide, d.frame, d.feet) == (None,) * 5
    assert d.motors == {"a": None, "b": None}
    assert d.pulley_teeth == {"a": 24, "b": 24}
    assert d.frame_size.width_m > d.space.x_m, "a rigid frame is drawn all the same"
    assert not [o for o in d.origins if o.key.endswith(("friction_n", "joint_nm_per_rad", "rotor_inertia_g_cm2"))]


@pytest.mark.parametrize(
    ("table", "keys"),
    [
        ("carriage", {"guide": "rigid", "friction_n": 1}),
        ("frame", {"part": "rigid", "damping": 0.02}),
        ("frame", {"part": "rigid", "stiffness_x_n_per_mm": 20}),
        ("frame", {"part": "slot-2020", "wall_mm": 3}),
        ("frame", {"joints": "rigid", "joint_nm_per_rad": 3}),
        ("feet", {"part": "rigid", "damping": 0.02}),
        ("motors", {"part": "ideal", "rotor_inertia_g_cm2": 40}),
    ],
)
def test_an_override_of_what_is_not_there_is_refused(small: dict[str, Any], table: str, keys: dict[str, Any]) -> None:
    (text,) = told(small, **{table: keys})
    name, value = list(keys.items())[-1]
    assert text.startswith(f"bench.toml [{table}] {name} = {value}: has no effect, since ")


def test_settings_that_do_nothing_are_told_not_refused(small: dict[str, Any]) -> None:
    d = design(small, frame={"material": "abs"}, move={"pattern": "square", "axis": "y"})
    assert [text.partition(":")[0] for text in d.notices] == [
        "frame.material does nothing here",
        "move.axis does nothing here",
    ]


@pytest.mark.parametrize(
    ("pattern", "own"),
    [
        ("square", {}),
        ("acceleration-ladder", {"levels": 5, "level_rise_mm": 1}),
        ("speed-ladder", {"levels": 5, "level_rise_mm": 1}),
        ("raster", {"row_spacing_mm": 2}),
        ("chirp", {"from_hz": 10, "to_hz": 120, "sweep_ms": 10_000}),
    ],
)
def test_a_pattern_shows_its_own_choices_and_no_others(small: dict[str, Any], pattern: str, own: dict) -> None:
    choices = ("levels", "level_rise_mm", "row_spacing_mm", "from_hz", "to_hz", "sweep_ms")
    d = design(small, move={"pattern": pattern})
    shown = {o.key.removeprefix("move."): (o.value, o.origin) for o in d.origins if o.key.startswith("move.")}
    assert {k: v for k, v in shown.items() if k in choices} == {k: (v, "default") for k, v in own.items()}
    # Written for a pattern that does not take it, a choice is said to do nothing.
    d = design(small, move={"pattern": pattern, "levels": 3})
    idle = "move.levels does nothing here: only the patterns acceleration-ladder and speed-ladder take it"
    assert (idle in d.notices) == ("levels" not in own)


def test_axis_limits_are_shown_where_they_are_written(small: dict[str, Any]) -> None:
    assert not [o for o in design(small).origins if o.key.startswith("motion.axes")]
    d = design(small, motion={"axes": {"z_speed_mm_s": 12}})
    assert [(o.key, o.value, o.origin) for o in d.origins if o.key.startswith("motion.axes")] == [
        ("motion.axes.z_speed_mm_s", 12, "file")
    ]


def test_unknown_parts_and_sub_tables_name_the_choices(small: dict[str, Any]) -> None:
    found = told(small, belts={"part": "belt-2mm-6-glas"}, frame={"joints": "glue", "material": "aluminium-profile"})
    assert found[0].startswith('bench.toml [belts] part = "belt-2mm-6-glas": must be one of belt-2mm-6-glass, ')
    assert found[0].endswith("; did you mean belt-2mm-6-glass?")
    assert found[1] == 'bench.toml [frame] joints = "glue": must be one of bracket, tapped-bore, plates, rigid'
    assert found[2].endswith("must be one of abs, petg, petg-carbon, pla")
    assert told(small, motors={"c": {"current_a": 1}, "x": {}}) == [
        "bench.toml [motors.c]: the motors of corexy have [motors.a], [motors.b]",
        "bench.toml [motors.x]: the motors of corexy have [motors.a], [motors.b]",
    ]
    scenario = scenario_of(small, "bench.toml")
    with pytest.raises(ScenarioError, match=r"^--set belts\.part = .*did you mean belt-2mm-9-steel"):
        resolve(with_changes(scenario, {"belts.part": "belt-2mm-9-stel"}), AB)
    with pytest.raises(ScenarioError, match=r"^--set \[belts\.q\]"):
        resolve(with_changes(scenario, {"belts.q.ea_n": 20000}), AB)


def test_a_single_rod_is_refused_with_the_reason(small: dict[str, Any]) -> None:
    (text,) = told(small, carriage={"lines": 1})
    assert text.startswith("bench.toml [carriage] lines = 1: a single rod leaves the carriage free to turn")


def test_friction_follows_the_number_of_lines(small: dict[str, Any]) -> None:
    one = catalogue().get("guides", "rail-12")
    d = design(small, carriage={"guide": "rail-12"}, gantry={"guide": "rail-12"})
    carriage, gantry = d.carriage.guide, d.gantry.guide
    assert carriage is not None
    assert gantry is not None
    assert (carriage.lines, gantry.lines) == (1, 2), "one rail under a carriage, one on each side under a gantry"
    assert gantry.friction_n == pytest.approx(2 * one.si("friction_n"))
    assert gantry.line_mass_kg_m == pytest.approx(2 * carriage.line_mass_kg_m)
    # A written sliding friction takes its break-away friction along, zero included.
    none = design(small, carriage={"friction_n": 0}).carriage.guide
    assert none is not None
    assert (none.friction_n, none.friction_static_n) == (0, 0)
    assert told(small, carriage={"friction_static_n": 0.1})[0].startswith(
        "bench.toml [carriage] friction_static_n = 0.1: must be at least friction_n"
    )


def test_printed_members(small: dict[str, Any]) -> None:
    d = design(small, frame={"part": "printed", "material": "abs", "side_mm": 30, "wall_mm": 15}).frame
    assert d is not None
    assert d.i_strong_m4 == pytest.approx(0.030**4 / 12), "walls that meet make a full bar"
    assert d.area_m2 == pytest.approx(0.030**2)
    assert d.torsion_m4 == pytest.approx(0.1406 * 0.030**4), "and a full bar's torsion, not a tube's"
    assert d.mass_kg_m == pytest.approx(1040 * 0.030**2)
    assert (d.elastic_modulus_pa, d.kind) == (pytest.approx(2.0e9), "printed")
    (text,) = told(small, frame={"part": "printed", "side_mm": 30, "wall_mm": 16})
    assert text.startswith("bench.toml [frame] wall_mm = 16: must be at most half of side_mm, 15")
    (text,) = told(small, frame={"part": "printed", "side_mm": 5})
    assert text.startswith("bench.toml [frame] side_mm = 5: must be at least twice wall_mm")
    assert any("PLA softens" in text for text in design(small, frame={"part": "printed", "material": "pla"}).notices)


def test_rigid_joints(small: dict[str, Any]) -> None:
    frame = design(small, frame={"joints": "rigid"}).frame
    assert frame is not None
    assert frame.joint_nm_rad == math.inf


def test_a_frame_nobody_measured_has_room_for_what_stands_in_it(small: dict[str, Any]) -> None:
    usual = design(small)
    assert origin(usual, "frame.width_mm").origin == "computed"
    assert usual.frame_size.width_m == pytest.approx(0.180 + 0.060 + 0.100)
    wide = design(small, carriage={"width_mm": 120}, motors={"pulley_teeth": 40}, frame={"part": "slot-4040"})
    assert wide.frame_size.width_m >= usual.frame_size.width_m + 0.060 + 0.040 + 2 * 20 * 0.002 / math.pi
    own = design(small, frame={"width_mm": 333})
    assert own.frame_size.width_m == pytest.approx(0.333)
    assert origin(own, "frame.width_mm").origin == "file"


def test_every_value_says_where_it_comes_from(small: dict[str, Any]) -> None:
    small |= {"belts": {"pretension_n": 16}, "variant": [{"name": "v", "set": {"motors.current_a": 1}}]}
    scenario = with_variant(with_changes(scenario_of(small, "bench.toml"), {"belts.damping": 0.05}), "v")
    d = resolve(scenario, AB)
    kinds = {o.key: o.origin for o in d.origins}
    assert kinds["title"] == kinds["belts.pretension_n"] == "file"
    assert kinds["belts.damping"] == "set"
    assert kinds["motors.current_a"] == "variant"
    assert kinds["belts.ea_n"] == "part"
    assert kinds["motion.speed_mm_s"] == kinds["carriage.guide"] == "default"
    assert kinds["move.size_mm"] == "computed"
    assert origin(d, "belts.ea_n").note.startswith("belt-2mm-6-glass: ")
    assert "our estimate" in origin(d, "belts.ea_n").note
    assert len({o.key for o in d.origins}) == len(d.origins)
    assert set(kinds.values()) <= {"file", "set", "variant", "part", "default", "computed"}
    still_open = [o.key for o in d.origins if o.value is None]
    assert still_open == [
        "carriage.mass_g", "gantry.mass_g", "bed.mass_g", "frame.stiffness_x_n_per_mm", "frame.stiffness_y_n_per_mm",
        "frame.top_mass_g", "frame.base_mass_g",
    ]  # fmt: skip
    assert {o.origin for o in d.origins if o.value is None} == {"computed"}


def test_the_machine_fills_what_was_left_open(small: dict[str, Any]) -> None:
    for choice in ({}, {"frame": {"part": "rigid"}}, {"layout": "moving-bed"}):
        origins = build_machine(scenario_of(small | choice, "bench.toml")).design.origins
        assert [o.key for o in origins if o.value is None] == []
        tables = [o.key.rpartition(".")[0] for o in origins]
        assert len([t for t, before in zip(tables, ["-", *tables], strict=False) if t != before]) == len(set(tables))


def same(one: Design, other: Design) -> bool:
    """Equal but for who decided what; as sure of the values that both have."""
    blank = {"origins": [], "notices": [], "uncertain": ()}
    theirs = key_bands(other, other.uncertain)
    for key, band in key_bands(one, one.uncertain).items():
        assert theirs[key] == pytest.approx(band, rel=1e-5), key
    return vars(one) | blank == vars(other) | blank


CHOICES = [
    *[{"belts": {"part": name}} for name in catalogue().names("belts")],
    *[{"motors": {"part": name}} for name in catalogue().names("motors")],
    *[{table: {"guide": name}} for name in catalogue().names("guides") for table in ("carriage", "gantry", "bed")],
    *[{"frame": {"part": name}} for name in catalogue().names("frames")],
    *[{"frame": {"joints": name}} for name in catalogue().names("joints")],
    *[{"frame": {"part": "printed", "material": name}} for name in ("abs", "petg", "petg-carbon", "pla")],
    *[{"feet": {"part": name}} for name in catalogue().names("feet")],
    *[{"bed": {"plate": name}} for name in catalogue().names("plates")],
    *[{"idlers": {"part": name}} for name in catalogue().names("idlers")],
    {"belts": {"pretension_n": 16, "a": {"part": "belt-2mm-9-steel", "damping": 0.1}, "b": {}}},
    {"motors": {"a": {"part": "ideal"}, "b": {"current_a": 0.3}}},
    {"move": {"pattern": "step", "axis": "xy", "size_mm": 33.3, "repeats": 2}},
    {"title": 'quote " backslash \\ and ζ', "motion": {"speed_mm_s": 1e-1, "acceleration_mm_s2": 123456.789}},
    {"variant": [{"name": "v", "set": {"belts": {"part": "belt-2mm-9-glass"}, "frame.wall_mm": 3, "frame.part": "printed"}}]},
]  # fmt: skip


@pytest.mark.parametrize("choice", CHOICES, ids=str)
def test_the_completed_file_loads_to_the_same_design(small: dict[str, Any], choice: dict[str, Any]) -> None:
    scenario = scenario_of(small | choice, "bench.toml")
    d = resolve(scenario, AB)
    text = completed_toml(scenario, d)
    again = scenario_of(tomllib.loads(text), "completed.toml")
    assert same(resolve(again, AB), d)
    assert again.variants == scenario.variants
    assert completed_toml(again, resolve(again, AB)).count("\n") >= text.count("\n")


MOVES = [
    {"move": {"pattern": "chirp", "axis": "xy", "from_hz": 15.5, "to_hz": 90, "sweep_ms": 4000}},
    {"move": {"pattern": "speed-ladder", "levels": 7, "level_rise_mm": 0.3}},
    {"move": {"pattern": "raster", "row_spacing_mm": 0.8}, "motion": {"axes": {"z_speed_mm_s": 12.5}}},
    {"motion": {
        "axes": {"x_acceleration_mm_s2": 2500, "y_speed_mm_s": 90},
        "shaper": {"x": {"kind": "one-hump", "frequency_hz": "auto"}, "y": {"kind": "zero-vibration", "frequency_hz": 33}},
    }},
]  # fmt: skip


@pytest.mark.parametrize("choice", MOVES, ids=str)
def test_the_completed_file_asks_for_the_same_motion(small: dict[str, Any], choice: dict[str, Any]) -> None:
    scenario = scenario_of(small | choice, "bench.toml")
    again = scenario_of(tomllib.loads(completed_toml(scenario, resolve(scenario, AB))), "completed.toml")
    for part in (motion_limits, axis_limits, shapers, move_spec, pattern_choices):
        assert part(again) == part(scenario)
    written = [leaf for table in choice.values() for leaf in _leaves(table)]
    assert written
    assert {leaf for leaf in written if leaf not in _leaves(again.tree)} == set()


def _leaves(tree: dict[str, Any]) -> list[tuple[str, Any]]:
    return [leaf for k, v in tree.items() for leaf in (_leaves(v) if isinstance(v, dict) else [(k, v)])]


def test_a_completed_file_keeps_open_what_nobody_wrote(small: dict[str, Any]) -> None:
    """Written as a value, a part's number or a computed mass would stay as it is when a part changes later."""
    scenario = scenario_of(small | {"belts": {"part": "belt-2mm-6-glass", "ea_n": 15500}}, "bench.toml")
    d = resolve(scenario, AB)
    at = [o.key for o in d.origins].index("gantry.mass_g")
    d.origins[at] = Origin("gantry.mass_g", 412.5, "computed", "rods over 260 mm")
    text = completed_toml(scenario, d)
    assert "# mass_g = 412.5  # computed: rods over 260 mm" in text
    assert "# mass_g_m = 7.2  # part belt-2mm-6-glass" in text
    assert '# detail = "full"  # default' in text
    tree = tomllib.loads(text)
    assert tree["belts"] == {"part": "belt-2mm-6-glass", "ea_n": 15500}
    assert tree["gantry"] == {}
    written = scenario_of(small | {"gantry": {"mass_g": 400}}, "bench.toml")
    assert tomllib.loads(completed_toml(written, resolve(written, AB)))["gantry"]["mass_g"] == 400


def test_a_part_changed_in_a_completed_file_brings_its_own_numbers(small: dict[str, Any]) -> None:
    scenario = scenario_of(small | {"belts": {"part": "belt-2mm-6-glass"}}, "bench.toml")
    text = completed_toml(scenario, resolve(scenario, AB))
    edited = scenario_of(tomllib.loads(text.replace("belt-2mm-6-glass", "belt-2mm-9-steel")), "edited.toml")
    bought = scenario_of(small | {"belts": {"part": "belt-2mm-9-steel"}}, "bench.toml")
    assert same(resolve(edited, AB), resolve(bought, AB))
    assert resolve(edited, AB).belts["a"].ea_n != resolve(scenario, AB).belts["a"].ea_n


def test_a_variant_laid_over_is_written_out_and_the_others_left_behind(small: dict[str, Any]) -> None:
    small["variant"] = [{"name": "steel", "set": {"belts.part": "belt-2mm-6-steel"}}]
    scenario = with_variant(scenario_of(small, "bench.toml"), "steel")
    tree = tomllib.loads(completed_toml(scenario, resolve(scenario, AB)))
    assert tree["belts"]["part"] == "belt-2mm-6-steel"
    assert "variant" not in tree
