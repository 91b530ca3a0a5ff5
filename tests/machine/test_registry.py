"""The registry of layouts is the only place that knows them, but for the list of names a scenario may write."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from beltspring.sim.machine.layouts import LAYOUTS
from beltspring.sim.scenario import names
from beltspring.sim.scenario.names import DETAILS
from beltspring.sim.scenario.schema import ScenarioFile

from tests.support import ALL_LAYOUTS, bare, machine_of, model_of, workshop

ROOT = Path(__file__).resolve().parents[2]
KNOWS = {ROOT / "sim" / "scenario" / "names.py", ROOT / "sim" / "machine" / "layouts" / "__init__.py"}


def test_a_scenario_may_name_what_is_registered_and_nothing_else():
    assert sorted(names.LAYOUTS) == sorted(LAYOUTS)
    assert len(set(names.LAYOUTS)) == len(names.LAYOUTS)


@pytest.mark.parametrize("room", ["sim", "viz"])
def test_no_other_file_names_a_layout(room):
    found = []
    tables = set(ScenarioFile.model_fields)  # a table of the file may be called as a layout is
    for path in sorted((ROOT / room).rglob("*.py")):
        if path in KNOWS:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and node.value in set(LAYOUTS) - tables:
                found.append(f"{path.relative_to(ROOT)}:{node.lineno}")
    assert not found


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_drives_are_the_motors_in_order(layout):
    machine = machine_of(bare(layout))
    assert tuple(m.name for m in machine.motors) == LAYOUTS[layout].drives
    assert {b.name for b in machine.belts} & set(LAYOUTS[layout].drives)


@pytest.mark.parametrize("detail", DETAILS)
@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_what_a_drive_of_its_own_holds_is_no_coordinate(layout, detail):
    scenario = workshop(layout, {"detail": detail})
    machine, system = machine_of(scenario), model_of(scenario)
    held = [b for b in machine.bodies if b.held]
    assert len(held) == (0 if machine.arms else 1)  # on arms the belts lift the tool
    for body in held:
        assert body.slide == 2
        assert not body.driven
        assert not any(name.startswith(f"{body.name} ") for name in system.dof_names)
    for body in machine.bodies:
        if body.driven:
            assert any(name.startswith(f"{body.name} ") for name in system.dof_names)
