"""Small things that people meet: a full disk, Ctrl-C while files are written, narrow terminals, one finding for both axes."""

from __future__ import annotations

import errno
import gc
import json
import signal

import pytest
from beltspring.sim import shipped
from beltspring.sim.check.check import both_axes, check
from beltspring.sim.scenario.load import load_scenario, scenario_of
from beltspring.viz.cli import look_late


def test_a_film_on_a_full_disk_names_its_file(beltspring, tmp_path, monkeypatch):
    pytest.importorskip("PIL")
    from beltspring.viz.files import movie

    def full(self, frame):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(movie._Gif, "add", full)
    said = beltspring("film", "spring-mass", "--file", tmp_path / "swing.gif", "--to-ms", "100", "--speed", "1")
    assert said.code == 2
    assert "swing.gif: cannot be written" in said.err
    assert "make room" in said.err
    assert "standard output" not in said.err


@pytest.mark.parametrize("command", ["run", "compare"])
def test_ctrl_c_while_files_are_written_keeps_the_finished_run(beltspring, tmp_path, monkeypatch, command):
    from beltspring.viz.files import plain

    honest = plain.write_json

    def pressed(value, path):
        signal.raise_signal(signal.SIGINT)
        honest(value, path)

    monkeypatch.setattr(plain, "write_json", pressed)
    said = beltspring(command, "spring-mass", "--out", tmp_path / "kept")
    assert said.code == 130
    assert "what was finished is in" in said.err
    name = {"run": "summary.json", "compare": "compare.json"}[command]
    assert json.loads((tmp_path / "kept" / name).read_text(encoding="utf-8"))
    assert (tmp_path / "kept" / "picture.png").stat().st_size > 1000
    assert [p.name for p in tmp_path.iterdir()] == ["kept"]
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


@pytest.mark.parametrize("arguments", [("order", "desk-corexy"), ("modes", "desk-corexy"), ("run", "desk-corexy"),
                                       ("keys", "belts")])  # fmt: skip
def test_a_narrow_terminal_gets_no_line_beyond_its_edge(arguments, beltspring, monkeypatch):
    monkeypatch.setenv("COLUMNS", "44")
    lines = beltspring(*arguments).out.splitlines()
    assert max(map(len, lines)) <= 44


def test_what_is_said_of_x_and_of_y_alike_is_said_once():
    tree = {
        "title": "t", "layout": "hframe", "space": {"x_mm": 180, "y_mm": 180, "z_mm": 180}, "move": {"pattern": "square"},
    }  # fmt: skip
    found = [f for f in check(scenario_of(tree)).findings if f.rule == "joint-weak"]
    assert len(found) == 1
    assert "along X and along Y" in found[0].words
    for keys in ("frame.panels.rear", "frame.panels.sides"):
        assert keys in found[0].change


@pytest.mark.parametrize("name", [s.name for s in shipped()])
def test_nothing_is_left_that_could_be_one(name):
    findings = list(check(load_scenario(name)).findings)
    for rule in {f.rule for f in findings}:
        mine = [f for f in findings if f.rule == rule]
        assert both_axes(mine) == mine


def test_a_decimal_comma_inside_an_inline_table_is_told(beltspring, tmp_path):
    file = tmp_path / "x.toml"
    file.write_text('title = "x"\nlayout = "box"\nspace = { x_mm = 120,5, y_mm = 3 }\n', encoding="utf-8")
    assert "write 120.5" in beltspring("check", file).err
    assert "write 0.1" in beltspring("film", "spring-mass", "--speed", "0,1").err


def test_rubbish_is_looked_for_as_ever_once_a_command_lasts():
    own, listening = gc.get_threshold(), list(gc.callbacks)
    try:
        look_late()
        assert gc.get_threshold()[0] > 100 * own[0]
        gc.collect()  # what comes by itself once there are enough objects
        assert (gc.get_threshold(), gc.callbacks) == (own, listening)
        assert gc.get_freeze_count() > 1000
    finally:
        gc.unfreeze()
        gc.set_threshold(*own)
        gc.callbacks[:] = listening
