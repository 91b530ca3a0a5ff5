"""The shipped scenarios pass without a stop; three deliberately faulty ones are caught for the right reason."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from beltspring.sim.check.check import check
from beltspring.sim.machine.layouts import LAYOUTS
from beltspring.sim.scenario.load import load_scenario, scenario_of
from beltspring.sim.scenario.names import DETAILS
from beltspring.sim.scenario.source import shipped_scenarios
from beltspring.viz.cli import main

FAULTY = Path(__file__).parent / "faulty"
KEYS = {"rule", "severity", "where", "value", "limit", "unit", "basis", "change"}


@pytest.mark.parametrize("name", [s.name for s in shipped_scenarios()])
def test_a_shipped_scenario_passes(name):
    report = check(load_scenario(name))
    assert [f for f in report.findings if f.severity == "stop"] == []


@pytest.mark.parametrize("detail", DETAILS)
@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_machine_with_nothing_but_defaults_passes_and_no_belt_rubs(layout, detail):
    space = {"x_mm": 180, "y_mm": 180, "z_mm": 180}
    tree = {"title": "Defaults", "layout": layout, "detail": detail, "space": space, "move": {"pattern": "square"}}
    report = check(scenario_of(tree, "defaults.toml"))
    assert [f for f in report.findings if f.severity == "stop"] == []
    assert {f.severity for f in report.findings if f.rule == "belt-rub"} <= {"note"}


def test_the_example_of_the_readme_passes(tmp_path):
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    example = tmp_path / "example.toml"
    example.write_text(readme.split("```toml\n")[1].split("```")[0], encoding="utf-8")
    report = check(load_scenario(str(example)))
    assert [f for f in report.findings if f.severity == "stop"] == []


def run_json(capsys, *arguments):
    capsys.readouterr()
    code = main(list(arguments))
    return code, json.loads(capsys.readouterr().out)


@pytest.mark.parametrize(
    ("file", "rules"),
    [
        ("rubbing-belts", {"belt-rub"}),
        ("smooth-idlers", {"smooth-under-teeth"}),
        ("large-bed-one-drive", {"bed-sag", "z-drives", "shaft-fit"}),
    ],
)
def test_a_faulty_machine_is_caught(capsys, file, rules):
    code, said = run_json(capsys, "check", str(FAULTY / f"{file}.toml"), "--json")
    assert code == 1
    assert list(said) == ["findings"]
    stops = {f["rule"] for f in said["findings"] if f["severity"] == "stop"}
    assert rules <= stops
    for finding in said["findings"]:
        assert set(finding) == KEYS
        assert finding["severity"] in ("stop", "warn", "note")


def test_the_belts_rub_because_of_both_faults(capsys):
    """At the crossing beside the carriage, with the carriage at the right end; either remedy is named."""
    _, said = run_json(capsys, "check", str(FAULTY / "rubbing-belts.toml"), "--json")
    crossing = next(f for f in said["findings"] if f["rule"] == "belt-rub")
    assert "rear a far to gantry a far" in crossing["where"]
    assert "right clamp to gantry b near" in crossing["where"]
    assert crossing["value"] < 0
    assert "level_gap_mm" in crossing["change"]
    assert "carriage_raise_mm" in crossing["change"]
    for remedy in ("belts.level_gap_mm=4", "belts.carriage_raise_mm=0"):
        _, after = run_json(capsys, "check", str(FAULTY / "rubbing-belts.toml"), "--json", "--set", remedy)
        left = [f["where"] for f in after["findings"] if f["rule"] == "belt-rub" and f["severity"] == "stop"]
        assert not any("right clamp to gantry b near" in where for where in left)


def test_a_sound_machine_exits_zero_and_an_impossible_one_two(capsys):
    assert main(["check", "desk-corexy", "--quiet"]) == 0
    assert main(["check", "desk-corexy", "--set", "bed.shaft=h5"]) == 2
    assert "h6" in capsys.readouterr().err


def test_the_page_says_what_why_and_what_to_change(capsys):
    assert main(["check", str(FAULTY / "large-bed-one-drive.toml")]) == 1
    page = " ".join(capsys.readouterr().out.split())
    for words in ("Stop", "shaft-fit", "Change:", "Limit from:", "ISO 286-2", "Caution", "not a certificate of safety"):
        assert words in page


def test_results_folder(tmp_path, capsys):
    place = tmp_path / "judged"
    assert main(["check", "desk-corexy", "--out", str(place), "--quiet"]) == 0
    assert sorted(p.name for p in place.iterdir()) == ["check.json", "scenario.toml"]
    assert json.loads((place / "check.json").read_text())["findings"]
    assert main(["check", "desk-corexy", "--out", str(place), "--replace", "--quiet"]) == 0
