"""--set and variants: parsing, origins, and the rule that a new part drops the old part's overrides and says so."""

from __future__ import annotations

import pickle
from typing import Any

import pytest
from beltspring.sim.errors import ScenarioError
from beltspring.sim.scenario.changes import DEEPEST, as_paths, parse_sets
from beltspring.sim.scenario.load import load_scenario, scenario_of, with_changes, with_variant
from beltspring.sim.scenario.motion import shapers
from beltspring.sim.scenario.schema import Scenario


def made(small: dict[str, Any], **more: Any) -> Scenario:
    return scenario_of(small | more, "bench.toml")


def problems(scenario: Scenario, *sets: str) -> list[str]:
    with pytest.raises(ScenarioError) as caught:
        with_changes(scenario, parse_sets(sets))
    return caught.value.problems


@pytest.mark.parametrize(
    ("text", "key", "value"),
    [
        ("belts.pretension_n=20", "belts.pretension_n", 20),
        (" belts.pretension_n = 2e1 ", "belts.pretension_n", 20.0),
        ("belts.part=belt-2mm-9-glass", "belts.part", "belt-2mm-9-glass"),
        ('belts.part="belt-2mm-9-glass"', "belts.part", "belt-2mm-9-glass"),
        ("title=Bench number 3", "title", "Bench number 3"),
        ("title=2024", "title", "2024"),
        ("title=a = b", "title", "a = b"),
        ("move.pattern=true", "move.pattern", True),
        (
            "motion.shaper.x={kind='zero-vibration', frequency_hz=48}",
            "motion.shaper.x",
            {"kind": "zero-vibration", "frequency_hz": 48},
        ),
        ("belts.ea_n=1\nbelts.damping=3", "belts.ea_n", "1\nbelts.damping=3"),
    ],
)
def test_values_are_toml_and_bare_words_are_text(text: str, key: str, value: object) -> None:
    assert parse_sets([text]) == {key: value}


def test_what_lies_deeper_than_any_key_stays_one_value() -> None:
    deep = {"a": {"b.c": {"d": {"e": {"f": {"g": 1}}}}}}
    assert as_paths(deep) == {("a", "b", "c", "d", "e"): {"f": {"g": 1}}}
    assert len(next(iter(as_paths(deep)))) == DEEPEST
    assert as_paths({"a": {"b": 1, "c": {}}, "d . e": 2}) == {("a", "b"): 1, ("a", "c"): {}, ("d", "e"): 2}


@pytest.mark.parametrize("text", ["", "belts.part", "=3", "belts.part=", "belts..part=x", ".=1"])
def test_what_is_no_set(text: str) -> None:
    with pytest.raises(ScenarioError, match="--set"):
        parse_sets([text])


def test_errors_name_set_and_not_the_file(small: dict[str, Any]) -> None:
    scenario = made(small)
    assert problems(scenario, "belts.pretension_n=-1") == ["--set belts.pretension_n = -1: must be 0 to 1000 N"]
    assert problems(scenario, "belts.pretensoin_n=1")[0].endswith(
        "unknown key pretensoin_n; did you mean pretension_n?"
    )
    assert "this is a table" in problems(scenario, "belts=3")[0]
    assert "single value" in problems(scenario, "title.x=3")[0]
    assert "variants cannot" in problems(scenario, "variant=3")[0]
    assert "no key lies that deep" in problems(scenario, "a" + ".a" * 3000 + "=3")[0]
    assert problems(scenario, "a.b.c.d.e.f=3") == ["--set a.b.c.d.e.f: no key lies that deep"]
    assert "unknown" in problems(scenario, "a.b.c.d.e=3")[0], "as deep as keys lie, it may be a misspelling"
    with pytest.raises(ScenarioError, match=r"--vary belts\.ea_n"):
        with_changes(scenario, {"belts.ea_n": -3}, source="--vary")


def test_every_value_knows_who_wrote_it(small: dict[str, Any]) -> None:
    small |= {"belts": {"pretension_n": 16}, "variant": [{"name": "v", "set": {"belts.damping": 0.1}}]}
    scenario = with_variant(with_changes(made(small), {"belts.ea_n": 20000}), "v")
    kinds = {path: where.kind for path, where in scenario.origins.items() if path[0] == "belts"}
    assert kinds == {
        ("belts", "pretension_n"): "file",
        ("belts", "ea_n"): "set",
        ("belts", "damping"): "variant",
    }
    assert scenario.variant == "v"
    assert scenario.file.belts.ea_n == 20000


def test_a_new_part_drops_the_overrides_of_the_old_one_and_says_so(small: dict[str, Any]) -> None:
    belts = {"part": "belt-2mm-6-glass", "ea_n": 14000, "pretension_n": 16, "a": {"ea_n": 13000}}
    scenario = made(small, belts=belts)
    changed = with_changes(scenario, {"belts.part": "belt-2mm-9-glass"})
    assert changed.file.belts.ea_n is None
    assert changed.file.belts.model_extra["a"].ea_n is None
    assert changed.file.belts.pretension_n == 16, "pretension is how the machine is set up, not a value of the part"
    assert changed.notices == (
        "--set: belts.part is now another part, which drops belts.ea_n = 14000, belts.a.ea_n = 13000",
    )
    gone = {("belts", "ea_n"), ("belts", "a", "ea_n")}
    assert gone <= set(scenario.origins)
    assert not gone & set(changed.origins), "nobody wrote what is not there any more"
    assert scenario.file.belts.ea_n == 14000, "the scenario it came from is untouched"
    assert scenario.tree["belts"]["ea_n"] == 14000


def test_a_program_replaces_the_pattern_and_a_pattern_the_program(small: dict[str, Any]) -> None:
    scenario = made(small)
    program = with_changes(scenario, {"move.gcode": "part.gcode"})
    assert (program.file.move.gcode, program.file.move.pattern) == ("part.gcode", None)
    assert program.notices[-1].startswith("--set: the program replaces move.pattern = ")
    back = with_changes(program, {"move.pattern": "circle"})
    assert (back.file.move.gcode, back.file.move.pattern) == (None, "circle")
    assert back.notices[-1] == '--set: the pattern replaces move.gcode = "part.gcode"'
    assert "write either pattern or gcode" in problems(scenario, "move.gcode=part.gcode", "move.pattern=circle")[0]


def test_the_same_part_again_and_overrides_of_the_same_change_stay(small: dict[str, Any]) -> None:
    scenario = made(small, belts={"ea_n": 14000})
    same = with_changes(scenario, {"belts.part": "belt-2mm-6-glass"})
    assert (same.file.belts.ea_n, same.notices) == (14000, ())
    both = with_changes(scenario, {"belts.part": "belt-2mm-9-glass", "belts.ea_n": 21000})
    assert (both.file.belts.ea_n, both.notices) == (21000, ())


def test_a_belt_with_its_own_part_is_left_alone(small: dict[str, Any]) -> None:
    scenario = made(small, belts={"a": {"part": "belt-2mm-6-steel", "ea_n": 38000}})
    changed = with_changes(scenario, {"belts.part": "belt-2mm-9-glass"})
    assert changed.file.belts.model_extra["a"].ea_n == 38000
    own = with_changes(scenario, {"belts.a.part": "belt-2mm-9-steel"})
    assert own.file.belts.model_extra["a"].ea_n is None


@pytest.mark.parametrize(
    ("table", "written", "change", "dropped"),
    [
        ("carriage", {"friction_n": 2, "mass_g": 300}, {"carriage.guide": "rail-9"}, {"friction_n"}),
        ("frame", {"stiffness_x_n_per_mm": 90, "width_mm": 400}, {"frame.joints": "plates"}, {"stiffness_x_n_per_mm"}),
        ("frame", {"stiffness_y_n_per_mm": 90, "damping": 0.1}, {"frame.part": "rigid"}, {"stiffness_y_n_per_mm", "damping"}),
        ("motors", {"mass_g": 200, "current_a": 1}, {"motors.part": "motor-17-48"}, {"mass_g"}),
        ("bed", {"plate_mm": 6}, {"bed.plate": "glass"}, {"plate_mm"}),
    ],
)  # fmt: skip
def test_what_counts_as_an_override(
    small: dict[str, Any], table: str, written: dict[str, Any], change: dict[str, Any], dropped: set[str]
) -> None:
    changed = with_changes(made(small, **{table: written}), change)
    left = getattr(changed.file, table)
    assert {name for name in written if getattr(left, name) is None} == dropped
    assert len(changed.notices) == (1 if dropped else 0), "all of a change in one notice"
    assert all(f"{table}.{name} = " in changed.notices[0] for name in dropped)


def test_variants_are_tried_when_the_file_is_loaded(small: dict[str, Any]) -> None:
    small["variant"] = [
        {"name": "good", "set": {"belts": {"part": "belt-2mm-9-glass"}}},
        {"name": "good", "set": {"belts.part": "belt-2mm-9-glass"}},
        {"name": "bad", "set": {"belts.ea_n": -3}},
        {"name": "empty", "set": {}},
    ]
    with pytest.raises(ScenarioError) as caught:
        scenario_of(small, "bench.toml")
    assert caught.value.problems == [
        'bench.toml [[variant]] number 2: there is already a variant "good"',
        'bench.toml variant "bad": belts.ea_n = -3: must be 100 to 10000000 N',
        'bench.toml variant "empty": changes nothing; write keys and values, such as belts.part',
    ]


def test_a_variant_that_is_not_there(small: dict[str, Any]) -> None:
    scenario = made(small, variant=[{"name": "9 mm belt", "set": {"belts.part": "belt-2mm-9-glass"}}])
    with pytest.raises(ScenarioError, match='no variant "9mm belt"; did you mean "9 mm belt"'):
        with_variant(scenario, "9mm belt")
    with pytest.raises(ScenarioError, match="it has no"):
        with_variant(made(small), "x")


def test_a_scenario_travels_to_another_process(small: dict[str, Any]) -> None:
    scenario = with_changes(made(small), {"belts.ea_n": 20000})
    assert pickle.loads(pickle.dumps(scenario)) == scenario


def test_overrides_at_loading() -> None:
    assert load_scenario("desk-corexy", ["belts.part=belt-2mm-9-glass"]).file.belts.part == "belt-2mm-9-glass"
    with pytest.raises(ScenarioError, match=r"--set belts\.part\.x: belts\.part is a single value, not a table"):
        load_scenario("desk-corexy", ["belts.part=9", "belts.part.x=3"])


def test_a_value_for_a_table_of_tables_is_told_with_an_example_that_works(small: dict[str, Any]) -> None:
    scenario = made(small)
    (told,) = problems(scenario, "motion.shaper=zv")
    example = 'motion.shaper.x = { kind = "zero-vibration", frequency_hz = 48 }'
    assert f"tables x and y; write {example}, or one key at a time" in told
    whole = with_changes(scenario, parse_sets([example]))
    single = with_changes(
        scenario, parse_sets(["motion.shaper.x.kind=zero-vibration", "motion.shaper.x.frequency_hz=48"])
    )
    assert shapers(whole) == shapers(single)
    assert (shapers(whole)["x"].kind, shapers(whole)["x"].frequency_hz) == ("zero-vibration", 48)
