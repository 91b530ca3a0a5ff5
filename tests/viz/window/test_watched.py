"""A saved file is read anew with the settings kept; a broken one is told, and the last good result stays."""

from __future__ import annotations

import os

import pytest
from beltspring.sim import load
from beltspring.viz.files.scenario import tree_toml
from beltspring.viz.window.runs import run_changed
from beltspring.viz.window.watched import EVERY_S, watched

from tests.viz.conftest import DESK
from tests.viz.words import assert_words


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "desk.toml"
    path.write_text(tree_toml(DESK), encoding="utf-8")
    return path


@pytest.fixture
def file_hands(open_window, file):
    scenario = load(file)
    return open_window([run_changed(scenario, {})], files=[watched(file, lambda: load(file), scenario)])


def save(path, words):
    before = path.stat().st_mtime_ns
    path.write_text(words, encoding="utf-8")
    os.utime(path, ns=(before + 10**9, before + 10**9))


def look(hands):
    for _ in range(3):
        hands.step(dt=EVERY_S)
    hands.settle()


def test_a_saved_change_is_run_and_settings_stay(file_hands, file):
    hands = file_hands
    hands.app.session.change({"belts.pretension_n": 20.0}, True)
    hands.settle()
    save(file, tree_toml({**DESK, "carriage": {**DESK["carriage"], "mass_g": 500}}))
    look(hands)
    session = hands.app.session
    assert session.default("carriage.mass_g") == 500
    assert session.value("belts.pretension_n") == 20.0
    assert session.shown.result.machine.body("carriage").mass_kg == pytest.approx(0.5)
    assert session.shown.result.design.belts["a"].pretension_n == 20.0


def test_a_broken_file_is_told_and_the_last_result_stays(file_hands, file):
    hands = file_hands
    shown = hands.app.session.shown
    save(file, "title = ")
    look(hands)
    assert hands.app.session.shown is shown
    assert "desk.toml" in hands.app.session.failed
    assert_words(hands, "desk.toml")
    save(file, tree_toml({**DESK, "title": "Mended"}))
    look(hands)
    assert hands.app.session.failed == ""
    assert hands.app.session.shown.result.title == "Mended"


def test_a_file_that_is_gone_or_still_changing_is_not_read(file):
    seen = watched(file, lambda: None, load(file))
    save(file, "half")
    assert not seen.changed(), "it may still be written"
    save(file, "half of")
    assert not seen.changed()
    assert seen.changed()
    assert not seen.changed()
    file.unlink()
    assert not seen.changed()
    assert not seen.changed()


def test_a_shipped_name_is_no_file():
    from pathlib import Path

    assert watched(Path("desk-corexy"), lambda: None, load("desk-corexy")) is None
