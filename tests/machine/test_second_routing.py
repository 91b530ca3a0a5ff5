"""A routing written for this test alone goes through everything: nothing outside its file and its registry line knows it."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pygame
import pytest
from beltspring.sim.machine.layouts import LAYOUTS
from beltspring.sim.machine.routing import Arc, belt_path
from beltspring.sim.model.facts import mixing
from beltspring.sim.scenario import names
from beltspring.viz.cli import main
from beltspring.viz.draw.machine import MachineState, MachineView
from beltspring.viz.draw.theme import look

from tests.machine import second_corexy
from tests.support import BUILT, bare, machine_of, model_of

NAME = "corexy-rear"


@pytest.fixture(autouse=True)
def registered(monkeypatch):
    """One line in each of the two lists that a new layout has to be written in."""
    monkeypatch.setitem(LAYOUTS, NAME, second_corexy.LAYOUT)
    monkeypatch.setattr(names, "LAYOUTS", (*names.LAYOUTS, NAME))


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "second.toml"
    path.write_text(BUILT.format(layout=NAME), encoding="utf-8")
    return path


def told(capsys, *words: str) -> dict:
    """What a command prints with --json."""
    assert main([*words, "--json", "--quiet"]) == 0
    return json.loads(capsys.readouterr().out)


def test_it_is_short():
    assert len(Path(second_corexy.__file__).read_text(encoding="utf-8").splitlines()) <= 90


def test_its_motors_mix_as_a_corexy_must():
    # A turns by X + Y, B by X - Y, up to the sign of each turn (I. E. Moyer, MIT, 2012, from memory).
    rows = mixing(model_of(bare(NAME)))
    assert np.abs(rows) == pytest.approx(np.ones((2, 2)), abs=1e-12)
    assert rows[0, 0] * rows[0, 1] * rows[1, 0] * rows[1, 1] == pytest.approx(-1.0, abs=1e-12)


def test_teeth_meet_toothed_wheels_and_both_belts_are_equally_long():
    machine = machine_of(bare(NAME))
    paths = [belt_path(machine, belt) for belt in machine.belts]
    assert paths[0].length_m == pytest.approx(paths[1].length_m, abs=1e-12)
    for path in paths:
        for arc in path.pieces:
            if isinstance(arc, Arc):
                assert arc.touches_teeth == (machine.wheels[arc.wheel].teeth is not None), arc.wheel


def test_modes_run_check_and_order(file, capsys):
    modes = told(capsys, "modes", str(file))
    assert modes["layout"] == NAME
    run = told(capsys, "run", str(file))
    assert run["layout"] == NAME
    assert list(run["motors"]) == list(second_corexy.DRIVES)
    check = told(capsys, "check", str(file))
    assert not [f for f in check["findings"] if f["rule"] in ("no-model", "teeth-on-back")]
    order = json.dumps(told(capsys, "order", str(file)))
    assert "plate-aluminium" in order


def test_it_is_drawn():
    machine = machine_of(bare(NAME))
    empty = pygame.Surface((500, 400), 0, 32)
    empty.fill(look("dark").theme.panel)
    drawn = empty.copy()
    box = MachineView(machine).draw(drawn, drawn.get_rect(), look("dark"), MachineState(machine.middle), labels="full")
    off = np.any(pygame.surfarray.array3d(drawn) != pygame.surfarray.array3d(empty), axis=2)
    assert off[box.x : box.right, box.y : box.bottom].mean() > 0.15
