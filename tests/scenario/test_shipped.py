"""The shipped scenarios: they load without a word of complaint, teach with variants, and say that they are invented."""

from __future__ import annotations

import pytest
from beltspring.sim.machine.build import build_machine
from beltspring.sim.machine.routing import belt_path
from beltspring.sim.scenario.load import load_scenario, with_variant
from beltspring.sim.scenario.source import Shipped, shipped_scenarios

SHIPPED = shipped_scenarios()


def test_the_shelf_holds_the_machines_that_matter_most() -> None:
    names = {shipped.name for shipped in SHIPPED}
    assert {"desk-corexy", "large-corexy", "moving-bed-wheels", "spring-mass"} <= names
    assert len({shipped.title for shipped in SHIPPED}) == len(SHIPPED)


@pytest.mark.parametrize("shipped", SHIPPED, ids=lambda shipped: shipped.name)
def test_it_builds_and_so_does_every_variant(shipped: Shipped) -> None:
    scenario = load_scenario(shipped.name)
    assert scenario.title == shipped.title
    assert build_machine(scenario).design.notices == []
    assert scenario.variants == shipped.variants
    assert len(scenario.variants) >= 3
    for name in scenario.variants:
        build_machine(with_variant(scenario, name))


@pytest.mark.parametrize("shipped", SHIPPED, ids=lambda shipped: shipped.name)
def test_it_says_that_it_is_invented(shipped: Shipped) -> None:
    head = shipped.path.read_text(encoding="utf-8").partition("title =")[0]
    comment = " ".join(line.lstrip("# ") for line in head.splitlines() if line.startswith("#"))
    assert "invented" in comment or "invention" in comment
    assert "Thistledown Shed" in comment


def test_the_hand_worked_machine_has_the_runs_its_comment_works_with() -> None:
    machine = build_machine(load_scenario("spring-mass"))
    (belt,) = [b for b in machine.belts if b.name == "x"]
    path = belt_path(machine, belt)
    length = dict.fromkeys(path.runs, 0.0)
    for piece in path.pieces:
        if piece.run >= 0:
            arc = abs(piece.sweep_rad) * piece.radius_m if hasattr(piece, "sweep_rad") else piece.length_m
            length[path.runs[piece.run]] += arc
    assert length == pytest.approx({"left": 0.200, "right": 0.800}, abs=1e-9)
