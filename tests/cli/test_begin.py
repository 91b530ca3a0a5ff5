"""`new`, `keys`, and what small commands say: written where, refused why."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from beltspring.sim.scenario.index import all_keys, dotted


def test_new_writes_a_machine_that_check_passes(beltspring, tmp_path):
    file = tmp_path / "my-bench.toml"
    said = beltspring("new", file, "--layout", "hframe", "--space", "150,140,120", "--set", "belts.pretension_n=14")
    assert said.code == 0
    assert "nothing stops it" in said.out
    assert f"beltspring check {file}" in said.out
    text = file.read_text(encoding="utf-8")
    assert 'title = "My bench"' in text
    assert "pretension_n = 14 " in text
    assert beltspring("check", file).code == 0


def test_new_never_overwrites_unasked(beltspring, tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text("mine", encoding="utf-8")
    said = beltspring("new", file)
    assert said.code == 2
    assert "--replace" in said.err
    assert file.read_text(encoding="utf-8") == "mine"
    assert beltspring("new", file, "--replace", "--quiet").out == ""
    assert "layout" in file.read_text(encoding="utf-8")
    assert [p.name for p in tmp_path.iterdir()] == ["mine.toml"]


def test_new_into_a_folder_and_as_json(beltspring, tmp_path):
    said = beltspring("new", "--out", tmp_path / "begun", "--json")
    found = json.loads(said.out)
    assert (found["stops"], found["warnings"]) == (0, 0)
    assert (tmp_path / "begun" / "scenario.toml").exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "which file?"),
        (["mine.toml", "--layout", "deltta"], "did you mean delta?"),
        (["mine.toml", "--space", "200,200"], "three lengths"),
        (["mine.toml", "--space", "200,200,nan"], "three lengths"),
        (["mine.toml", "--space", "5,200,200"], "10 to 3000"),
        (["mine.toml", "--variant", "steel cord"], "--variant"),
        (["no/such/folder/mine.toml"], "cannot be written"),
    ],
)
def test_new_tells_what_is_wrong(beltspring, arguments, words, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    said = beltspring("new", *arguments)
    assert (said.code, said.out) == (2, "")
    assert words in said.err
    assert list(tmp_path.iterdir()) == []


def test_keys_tells_every_key(beltspring):
    found = json.loads(beltspring("keys", "--json").out)
    assert [entry["key"] for entry in found] == [dotted(path) for path, _ in all_keys()]
    words = beltspring("keys").out
    for entry in found:
        assert entry["meaning"]
        assert entry["key"].rpartition(".")[2] in words
        assert entry["required"] or entry["default"] is not None or entry["otherwise"]
    assert max(map(len, words.splitlines())) <= 80


def test_keys_of_a_table_a_key_and_a_near_miss(beltspring):
    assert {entry["table"] for entry in json.loads(beltspring("keys", "belts", "--json").out)} == {"belts"}
    (one,) = json.loads(beltspring("keys", "belts.a.part", "--json").out)
    assert one["otherwise"] == "that of [belts]"
    assert "steel" in " ".join(one["choices"])
    assert len(json.loads(beltspring("keys", "guide", "--json").out)) == 3
    assert "did you mean belts?" in beltspring("keys", "belst").err
    assert "nothing to change here" in beltspring("keys", "--set", "belts.ea_n=3").err


def test_parts_refuses_changes_of_no_scenario(beltspring):
    said = beltspring("parts", "belts", "--set", "belts.part=belt-2mm-9-glass")
    assert said.code == 2
    assert "name a scenario" in said.err
    assert "belt-2mm-9-glass" in beltspring("parts", "desk-corexy", "--set", "belts.part=belt-2mm-9-glass").out


@pytest.mark.parametrize(
    ("arguments", "file"),
    [
        (["modes", "spring-mass"], "modes.json"),
        (["show", "spring-mass"], "scenario.toml"),
        (["parts", "belts"], "parts.json"),
    ],
)
def test_out_is_told(beltspring, tmp_path, arguments, file):
    place = tmp_path / "o"
    told = " ".join(beltspring(*arguments, "--out", place).out.split())
    assert f"Written to {place}:" in told
    assert file in told


def test_a_decimal_comma_has_words_of_its_own(beltspring, tmp_path):
    words = "a decimal point here, not a comma: write 16.5"
    assert words in beltspring("check", "desk-corexy", "--set", "belts.pretension_n=16,5").err
    file = tmp_path / "comma.toml"
    file.write_text('title = "x"\nlayout = "box"\n[space]\nx_mm = 16,5  # wide\n', encoding="utf-8")
    said = beltspring("check", file).err
    assert "line 4" in said
    assert words in said
    assert words in beltspring("film", "desk-corexy", "--from-ms", "16,5").err


def test_the_page_of_the_file_format_is_the_schema(beltspring):
    page = (Path(__file__).parents[2] / "viz" / "guide" / "file-format.md").read_text(encoding="utf-8")
    assert beltspring("keys", "--page").out == page, "write it anew: beltspring keys --page > viz/guide/file-format.md"
    for path, key in all_keys():
        assert f"`{path[-1]}`" in page
        assert key.meaning in page
    assert "leave the rest out" in beltspring("keys", "belts", "--page").err


def test_show_of_a_key_says_whence_and_what_it_does(beltspring):
    said = json.loads(beltspring("show", "desk-corexy", "belts.ea_n", "--json").out)
    assert (said["value"], said["origin"], said["unit"]) == (15000, "part", "N")
    (other,) = said["others"]
    assert other["value"] == "16500 N"
    changes = " ".join(other["changes"])
    # Stiffer belts: both axes ring higher and are held stiffer; nothing is heavier or bought differently.
    for axis in "XY":
        then, now = re.search(rf"{axis} rings at ([\d.]+) Hz and not ([\d.]+)", changes).groups()
        assert 1 < float(then) / float(now) < 1.05  # at most the root of 1.1
    assert "weighs" not in changes
    assert "order" not in changes


def test_show_of_a_key_that_only_check_and_order_read(beltspring):
    page = " ".join(beltspring("show", "desk-corexy", "gantry.shaft").out.split())
    assert "`check` then says stop shaft-fit" in page
    assert "rings" not in page
    assert "this machine does not use it" in beltspring("show", "desk-corexy", "delta.arm").out
    assert "belongs to the move" in beltspring("show", "desk-corexy", "motion.speed_mm_s").out
    assert "which of" in beltspring("show", "desk-corexy", "guide").err
    assert "did you mean" in beltspring("show", "desk-corexy", "belts.ea").err


def test_physics_prints_its_page(beltspring, tmp_path):
    page = (Path(__file__).parents[2] / "sim" / "model" / "PHYSICS.md").read_text(encoding="utf-8")
    assert beltspring("physics").out.strip() == page.strip()
    some = beltspring("physics", "Stribeck").out
    assert "Stribeck" in some
    assert len(some) < len(page)
    assert beltspring("physics", "unicorn").code == 2
    assert "physics.md" in beltspring("physics", "--out", tmp_path / "p").out
