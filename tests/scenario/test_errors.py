"""What a person reads when something is wrong: file, key, value, what is allowed, the nearest spelling, the way on."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from beltspring.sim.errors import ScenarioError
from beltspring.sim.scenario import names
from beltspring.sim.scenario.load import load_scenario, scenario_of
from beltspring.sim.scenario.source import LARGEST_BYTES, shipped_scenarios
from beltspring.sim.scenario.telling import nearest, shown
from scipy import constants

OUNCE_INCH = constants.oz * constants.g * constants.inch  # N m


def told(tree: dict[str, Any]) -> list[str]:
    with pytest.raises(ScenarioError) as caught:
        scenario_of(tree, "bench.toml")
    return caught.value.problems


def test_out_of_range_names_file_table_key_value_and_range(small: dict[str, Any]) -> None:
    small["belts"] = {"a": {"pretension_n": -40}}
    assert told(small) == ["bench.toml [belts.a] pretension_n = -40: must be 0 to 1000 N"]


@pytest.mark.parametrize(
    ("table", "key", "meant"),
    [
        ("belts", "pretensoin_n", "pretension_n"),
        ("belts", "Pretension_N", "pretension_n"),
        ("motors", "pully_teeth", "pulley_teeth"),
        ("motion", "acceleration_mm_s", "acceleration_mm_s2"),
        ("carriage", "nozzle_bellow_guide_mm", "nozzle_below_guide_mm"),
        ("frame", "stiffnes_x_n_per_mm", "stiffness_x_n_per_mm"),
        ("move", "row_spaceing_mm", "row_spacing_mm"),
        ("move", "level_raise_mm", "level_rise_mm"),
    ],
)
def test_the_nearest_spelling_is_offered(small: dict[str, Any], table: str, key: str, meant: str) -> None:
    small[table] = {key: 20}
    assert told(small) == [f"bench.toml [{table}] {key} = 20: unknown key {key}; did you mean {meant}?"]


@pytest.mark.parametrize(
    ("table", "key", "value", "way_on"),
    [
        ("space", "x_cm", 18, "write x_mm = 180"),
        ("space", "y_in", 6, f"write y_mm = {6 * constants.inch * 1e3:g}"),
        ("space", "z_m", 0.15, "write z_mm = 150"),
        ("belts", "pretension_kg", 2, f"write pretension_n = {2 * constants.kgf:.6g}"),
        ("belts", "pretension_lbf", 4, f"write pretension_n = {4 * constants.lbf:.6g}"),
        ("belts", "ea_kn", 15, "write ea_n = 15000"),
        ("carriage", "mass_kg", 0.32, "write mass_g = 320"),
        ("carriage", "mass_lb", 1, f"write mass_g = {constants.lb * 1e3:.6g}"),
        ("carriage", "mass_oz", 10, f"write mass_g = {10 * constants.oz * 1e3:.6g}"),
        ("motion", "speed_mm_min", 9000, "write speed_mm_s = 150"),
        ("motion", "speed_m_s", 0.15, "write speed_mm_s = 150"),
        ("motion", "acceleration_m_s2", 4, "write acceleration_mm_s2 = 4000"),
        ("motors", "current_ma", 1200, "write current_a = 1.2"),
        ("motors", "holding_torque_ozin", 60, f"write holding_torque_nm = {60 * OUNCE_INCH:.6g}"),
        ("motors", "holding_torque_ncm", 40, "write holding_torque_nm = 0.4"),
        ("motors", "inductance_h", 0.003, "write inductance_mh = 3"),
        ("move", "settle_s", 0.35, "write settle_ms = 350"),
        ("move", "sweep_s", 8, "write sweep_ms = 8000"),
        ("move", "to_khz", 0.2, "write to_hz = 200"),
        ("belts", "damping_percent", 3, "write damping = 0.03"),
    ],
)  # fmt: skip
def test_another_unit_is_converted_in_the_advice_only(
    small: dict[str, Any], table: str, key: str, value: float, way_on: str
) -> None:
    """Conversion factors against scipy.constants (CODATA and the exact international units)."""
    small.setdefault(table, {}).pop("x_mm" if key == "x_cm" else "none", None)
    small[table][key] = value
    found = told(small)
    assert len(found) == 1, "a key written in another unit is not missing as well"
    assert found[0].endswith(way_on)
    assert f"[{table}] {key} = " in found[0]


def test_limits_of_axes_are_spelled_out(small: dict[str, Any]) -> None:
    small["motion"] = {"axis": {"z_speed_mm_s": 12}}
    assert told(small) == ["bench.toml [motion.axis]: unknown table [motion.axis]; did you mean [motion.axes]?"]
    assert told(small | {"motion": {}, "axes": {"z_speed_mm_s": 12}}) == [
        "bench.toml [axes]: unknown table [axes]; did you mean [motion.axes]?"
    ]
    small["motion"] = {"axes": {"z_speed_mm_min": 720, "w_speed_mm_s": 3, "x_acceleration": 3000}}
    assert told(small) == [
        "bench.toml [motion.axes] z_speed_mm_min = 720: unknown key z_speed_mm_min; this quantity is not written in "
        "mm/min here; write z_speed_mm_s = 12",
        "bench.toml [motion.axes] w_speed_mm_s = 3: unknown key w_speed_mm_s; did you mean z_speed_mm_s?",
        "bench.toml [motion.axes] x_acceleration = 3000: unknown key x_acceleration; the unit belongs in the key; write "
        "x_acceleration_mm_s2",
    ]


def test_a_key_without_its_unit(small: dict[str, Any]) -> None:
    small["belts"] = {"pretension": 16}
    assert told(small) == [
        "bench.toml [belts] pretension = 16: unknown key pretension; the unit belongs in the key; write pretension_n"
    ]


def test_a_key_in_the_wrong_table_is_sent_home(small: dict[str, Any]) -> None:
    small["move"]["speed_mm_s"] = 100
    assert told(small)[0].endswith("unknown key speed_mm_s here; it belongs in [motion]")


def test_tables(small: dict[str, Any]) -> None:
    assert told(small | {"belts": 3}) == ["bench.toml belts = 3: must be a table; write [belts] and its keys below it"]
    small["belt"] = {"part": "belt-2mm-6-glass"}
    small["feet"] = [{}]
    assert set(told(small)) == {
        "bench.toml feet = [{}]: must be one table; write [feet] with single brackets",
        "bench.toml [belt]: unknown table [belt]; did you mean [belts]?",
    }


def test_all_problems_are_told_at_once(small: dict[str, Any]) -> None:
    small["layout"] = "corexz"
    small["belts"] = {"ea_n": 3, "a": {"damping": "none"}}
    small["motors"] = {"microsteps": 15}
    found = told(small)
    assert len(found) == 4
    assert (
        'bench.toml layout = "corexz": must be one of ' + ", ".join(names.LAYOUTS) + "; did you mean corexy?" in found
    )
    assert 'bench.toml [belts.a] damping = "none": must be 0 to 0.9, a number without quotes' in found


def test_a_flood_of_problems_is_cut(small: dict[str, Any]) -> None:
    small["belts"] = {f"wrong_{i}": i for i in range(5000)}
    found = told(small)
    assert len(found) <= 41
    assert found[-1] == "bench.toml: and perhaps more"


@pytest.mark.parametrize("name", ["motion.jerk_mm_s3", "move.gcode"])
def test_what_is_not_built_is_said(small: dict[str, Any], name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(names, "NOT_BUILT", {name: "things to come"})
    table, key = name.split(".")
    value: object = "part.gcode" if key == "gcode" else 5
    small.setdefault(table, {}).pop("pattern", None)
    small[table][key] = value
    (text,) = told(small)
    assert f"{key} = " in text
    assert "things to come are not built yet" in text


def test_rules_between_keys(small: dict[str, Any]) -> None:
    assert told(small | {"move": {"pattern": "square", "size_mm": 170}}) == [
        "bench.toml [move] size_mm = 170: must be at most 160, the reach given in [space]"
    ]
    assert told(small | {"carriage": {"friction_n": 2, "friction_static_n": 1}})[0].startswith(
        "bench.toml [carriage] friction_static_n = 1: must be at least friction_n = 2"
    )
    assert told(small | {"frame": {"width_mm": 180}})[0].startswith(
        "bench.toml [frame] width_mm = 180: must be more than"
    )
    assert told(small | {"move": {}}) == [
        f"bench.toml: [move] pattern is missing; write pattern, the test pattern ({', '.join(names.PATTERNS)})"
    ]


def test_control_characters_never_reach_the_terminal(small: dict[str, Any]) -> None:
    small["title"] = "red \x1b[31m"
    small["belts"] = {"\x1b[2Jkey": 3, "part": "belt\x07"}
    small["motors"] = {"a": {"\x9b": "\x9b31m"}}
    small["variant"] = [{"name": "\x1b[31m", "set": {"belts.ea_n": 3}}]
    found = told(small)
    assert len(found) == 4
    for text in found:
        assert text.isprintable(), text
    del small["belts"], small["motors"], small["title"]
    assert all(text.isprintable() for text in told(small | {"title": "A", "variant": [{"\x1b[31m": 3}]}))
    assert told(small | {"title": "A"})[0].startswith("bench.toml [[variant]] number 1: name = ")


def test_a_variant_is_told_by_its_number(small: dict[str, Any]) -> None:
    good = {"name": "good", "set": {"belts.ea_n": 20000}}
    third = told(small | {"variant": [good, good | {"name": "also good"}, {"nam": "x", "set": {}}]})
    assert third[0].startswith("bench.toml [[variant]] number 3: ")
    assert told(small | {"variant": [good, {"name": "x"}]}) == [
        "bench.toml [[variant]] number 2: set is missing; a variant has a name and a set, such as set = "
        '{ "belts.ea_n" = 20000 }'
    ]
    assert (
        told(small | {"variant": [good, 3]})[0] == "bench.toml [[variant]] number 2: must be a table with name and set"
    )
    assert told(small | {"variant": {"name": "x"}})[0].endswith("write [[variant]] with double brackets for each")


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (True, "true"), (2.0, "2"), (0.5, "0.5"), (1e15, "1e+15"), (1.05e15, "1.05e+15"),
        (999_999_999_999_999.0, "999999999999999"), (float("inf"), "inf"), (10**29, "1" + "0" * 29),
        (10**30, "a number of very many digits"), ([], "[]"), ([3], "[3]"), ([3, 4], "[3, ...]"), ({}, "{}"),
        ({"a": 1}, "{...}"), ("é", '"é"'), ("\x1b", '"\\u001b"'), ("x" * 58, '"' + "x" * 58 + '"'),
        ("x" * 59, '"' + "x" * 56 + "..."),
    ],
)  # fmt: skip
def test_a_value_is_shown_as_it_would_be_written_and_cut_at_sixty(value: object, said: str) -> None:
    assert shown(value) == said
    assert len(said) <= 60


def test_a_spelling_is_near_from_six_tenths_on() -> None:
    """The share of letters in common that difflib itself takes by default: 2 * 5 of 16 are, 2 * 4 of 14 are not."""
    assert nearest("abcdeqrs", ["abcdexyz"]) == "abcdexyz"
    assert nearest("abcdqrs", ["abcdxyz"]) is None
    assert nearest("ABCDEQRS", ["zzz", "Abcdexyz"]) == "Abcdexyz"


def test_microsteps_are_powers_of_two() -> None:
    """Common practice of drivers, no source."""
    assert list(names.MICROSTEPS) == [2**k for k in range(9)]


# --- files ---------------------------------------------------------------------------------------------------------


def refused(source: str | Path) -> str:
    with pytest.raises(ScenarioError) as caught:
        load_scenario(source)
    assert len(caught.value.problems) == 1
    return caught.value.problems[0]


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "bench.toml: the file is empty"),
        (b"\n# only a comment\n", "bench.toml: the file is empty"),
        (b"title = \n", "bench.toml line 1: title has no value"),
        (b"title = ]\n", "bench.toml line 1, column 9: "),
        (b'title = "a"\ntitle = "b"\n', "bench.toml line 2, column "),
        (b"\x00\x01\x02", "not a text file"),
        (b'title = "a"\nlayout = "\xff\xfe"', "bench.toml line 2: is not UTF-8"),
        ("title = 'a'".encode("utf-16"), "not a text file"),
        (b"a = " + b"[" * 3_000, "nested too deeply"),
        (b"a = " + b"[" * 100_000, "line 1: is 100004 characters long, and 4000 are the most"),
        (b"[" + b"a." * 9 + b"a]\n", "nested deeper"),
        (b"[" + b"a." * 3000 + b"a]\n", "line 1: is 6003 characters long"),
        (b'a."b" . c.' + b"d." * 100 + b"e = 1\n", "line 1: more than 12 names joined by dots"),
        (b"a = " + b"9" * 5000, "bench.toml line 1: is 5004 characters long"),
        (b"#" * (LARGEST_BYTES + 1), "larger than 2 MB"),
    ],
)
def test_files_that_are_no_scenario(tmp_path: Path, data: bytes, said: str) -> None:
    path = tmp_path / "bench.toml"
    path.write_bytes(data)
    assert said in refused(path)


def test_places_that_are_no_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert "is a folder" in refused(tmp_path)
    assert "no such file" in refused(tmp_path / "none.toml")
    assert "not an ordinary file" in refused("/dev/null")
    assert refused("a\0b").startswith('"a\\u0000b": cannot be read')
    assert "cannot be read (File name too long)" in refused("x" * 10_000)
    assert "no such file" in refused("")
    locked = tmp_path / "locked.toml"
    locked.write_text("title = 'a'")
    monkeypatch.setattr("os.open", lambda *_: (_ for _ in ()).throw(PermissionError(13, "Permission denied")))
    assert refused(locked) == f"{locked}: cannot be read (Permission denied); check the path"


def test_names_of_shipped_scenarios(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    shipped = shipped_scenarios()[0]
    assert load_scenario(shipped.name).title == shipped.title
    assert refused(shipped.name[:-1]).endswith(f"did you mean {shipped.name}?")
    assert refused("zzz").endswith(", ".join(s.name for s in shipped_scenarios()))
    Path("zzz.toml").write_text("title = 'mine'")
    assert refused("zzz").endswith("did you mean zzz.toml?")
    # A results folder of the same name does not stand in the way; a file of the person's own comes first.
    Path(shipped.name).mkdir()
    assert load_scenario(shipped.name).title == shipped.title


def test_marks_and_line_ends_of_other_systems(tmp_path: Path) -> None:
    text = 'title = "A"\nlayout = "corexy"\n[space]\nx_mm = 100\ny_mm = 100\nz_mm = 100\n[move]\npattern = "step"\n'
    path = tmp_path / "bench.toml"
    path.write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    assert load_scenario(path).title == "A"
