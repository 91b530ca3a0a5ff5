"""What to measure: the sheet against a fit that was made, the programs against the moves, the form against the reader."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest
from beltspring.sim import load
from beltspring.sim.scenario.load import with_changes
from beltspring.sim.study.fit.bench import build, give_m
from beltspring.sim.study.fit.found import fit
from beltspring.sim.study.fit.measured import FIELDS, Measured, Pitch, Push, measured_of
from beltspring.sim.study.fit.sheet import measuring_sheet, push_force
from beltspring.sim.study.fit.sheet_words import CAUTIONS, measured_form, program_text, sheet_text


@pytest.fixture(scope="module")
def sheet():
    return measuring_sheet(load("desk-corexy", ["detail=simple"]))


def test_cheapest_first_and_every_kind(sheet):
    minutes = [item.minutes for item in sheet.items]
    assert minutes == sorted(minutes)
    assert {item.kind for item in sheet.items} == set(FIELDS)
    for item in sheet.items:
        assert item.leaves, item.name
        for one in item.leaves:
            assert 0 < one.after < one.before


def test_all_of_it_leaves_less_than_any_of_it(sheet):
    together = {one.key: one.after for one in sheet.all_of_it}
    for item in sheet.items:
        for one in item.leaves:
            assert together[one.key] <= one.after * (1 + 1e-9)


def test_what_a_push_would_leave_is_what_a_fit_of_one_leaves(sheet):
    # The sheet reckons, the fit measures: the same push, at the model's own answer.
    scenario = load("desk-corexy", ["detail=simple"])
    (item,) = [i for i in sheet.items if i.name == "push tool x"]
    force = push_force(build(scenario, {}), 0)
    gives = give_m(build(scenario, {}), Push(0, force, 1.0, 1.0))
    found = fit(scenario, Measured("m", push=(Push(0, force, gives, 0.05 * gives),)))
    (learned,) = [p for p in found.parameters if p.key == "belts.ea_n"]
    (told,) = [one for one in item.leaves if one.key == "belts.ea_n"]
    assert 0.5 * np.log(learned.high / learned.low) == pytest.approx(told.after, rel=0.05)


def test_what_a_pitch_would_leave_is_what_a_fit_of_one_leaves():
    # A band alike on both sides: the sheet reckons with slopes, and the fit walks each side.
    scenario = load("desk-corexy", ["detail=simple", "belts.mass_g_m=7.2", "band.belts.mass_g_m=[6.4, 8.1]"])
    (item,) = [i for i in measuring_sheet(scenario).items if i.name == "pitch a right"]
    hertz = np.sqrt(16.0 / 7.2e-3) / (2 * 0.3)
    found = fit(scenario, Measured("m", pitch=(Pitch("a", "right", 0.3, hertz, 0.02 * hertz),)))
    (learned,) = [p for p in found.parameters if p.key == "belts.pretension_n"]
    assert 0.5 * np.log(learned.high / learned.low) == pytest.approx(item.leaves[0].after, rel=0.05)


def test_a_push_keeps_belts_taut_and_motors_in_step():
    loose = build(load("desk-corexy", ["detail=simple", "belts.pretension_n=3"]), {})
    tight = build(load("desk-corexy", ["detail=simple", "belts.pretension_n=60"]), {})
    assert push_force(loose, 0) < push_force(tight, 0) <= 20.0


def test_the_programs_are_the_moves_that_the_records_say(sheet, tmp_path):
    scenario = load("desk-corexy", ["detail=simple"])
    from beltspring.sim import prepare

    for move in sheet.moves:
        path = tmp_path / f"{move.name}.gcode"
        path.write_text(program_text(move), encoding="utf-8")
        limits = {k: v for k, v in move.set.items() if k.startswith("motion.")}
        read = prepare(with_changes(scenario, {**limits, "move.gcode": str(path)})).plan
        asked = prepare(with_changes(scenario, move.set)).plan
        legs = [leg for leg in asked.legs if leg.end_s > leg.start_s]
        own = [leg for leg in read.legs if leg.end_s > leg.start_s][-len(legs) :]
        for a, b in zip(legs, own, strict=True):
            assert np.allclose(a.start, b.start, atol=1e-6)
            assert np.allclose(a.end, b.end, atol=1e-6)
            assert a.end_s - a.start_s == pytest.approx(b.end_s - b.start_s, rel=1e-6)


def test_the_form_is_empty_until_it_is_filled_in_and_then_is_read(sheet, tmp_path):
    form = measured_form(sheet)
    assert tomllib.loads(form) == {}
    filled = []
    for line in form.splitlines():
        if line.startswith("#") and not line.startswith("# "):
            line = line[1:]
            line = f"{line} 100" if line.endswith("=") else line
        filled.append(line)
    tree = tomllib.loads("\n".join(filled))
    assert set(tree) == set(FIELDS)
    assert [r["file"] for r in tree["record"]] == ["step-x.csv", "step-y.csv", "square.csv"]
    assert tree["record"][-1]["use"] == "check"
    del tree["record"]
    found = measured_of(tree, "measured.toml", tmp_path)
    assert len(found.pitch) == 2


def test_the_sheet_says_cautions_and_limits(sheet):
    text = sheet_text(sheet)
    for caution in CAUTIONS:
        assert caution in text
    assert "acceleration 5000 mm/s2" in text
    assert "held out" in text


@pytest.mark.parametrize("name", ["small-delta", "moving-bed-wheels", "spring-mass"])
def test_every_layout_has_a_sheet(name):
    found = measuring_sheet(load(name, ["detail=simple"]))
    assert found.items
    assert sheet_text(found)
