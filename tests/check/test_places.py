"""Belts and what comes near them, kept for designs of one shape: the same answer, and never another shape's."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim.check.clearance import Scene, nearest_pairs, poses
from beltspring.sim.check.places import nearest_of, shape_key
from beltspring.sim.machine.build import build_machine

from tests.support import shipped

SAME = [
    {"belts.part": "belt-2mm-6-steel"}, {"belts.pretension_n": 30}, {"motors.current_a": 1.0}, {"carriage.mass_g": 200},
    {"frame.material": "pla"}, {"frame.joints": "plates"}, {"motion.speed_mm_s": 50}, {"carriage.friction_n": 1},
    {"frame.panels.sides.screws": 40},
]  # fmt: skip
OTHER = [
    {"belts.part": "belt-2mm-9-glass"}, {"carriage.belt_above_guide_mm": 5}, {"motors.pulley_teeth": 16},
    {"carriage.guide": "rail-9"}, {"gantry.guide": "rod-10-pair"}, {"space.x_mm": 170}, {"frame.width_mm": 400},
    {"belts.carriage_raise_mm": 1}, {"carriage.width_mm": 64}, {"motors.part": "motor-17-48"}, {"layout": "hframe"},
    {"idlers.part": "idler-16"}, {"frame.side_mm": 50}, {"belts.level_gap_mm": 6}, {"bed.guide_gap_mm": 25},
]  # fmt: skip


@pytest.mark.parametrize("changes", SAME, ids=lambda c: next(iter(c)))
def test_one_shape_is_looked_at_once(changes) -> None:
    here, there = build_machine(shipped("desk-corexy")), build_machine(shipped("desk-corexy", changes))
    assert shape_key(here) == shape_key(there)
    assert nearest_of(here) is nearest_of(there)


@pytest.mark.parametrize("changes", OTHER, ids=lambda c: next(iter(c)))
def test_another_shape_is_not(changes) -> None:
    assert shape_key(build_machine(shipped("desk-corexy"))) != shape_key(build_machine(shipped("desk-corexy", changes)))


@pytest.mark.parametrize("changes", [*SAME[:4], *OTHER[:3]], ids=lambda c: next(iter(c)))
def test_the_answer_is_the_one_worked_out_anew(changes) -> None:
    nearest_of(build_machine(shipped("desk-corexy")))
    machine = build_machine(shipped("desk-corexy", changes))
    kept, anew = nearest_of(machine), nearest_pairs(machine)
    assert [(n.first.name, n.second.name, n.gap_m, tuple(n.tool)) for n in kept] == [
        (n.first.name, n.second.name, n.gap_m, tuple(n.tool)) for n in anew
    ]


@pytest.mark.parametrize("name", ["desk-corexy", "small-box", "small-delta"])
def test_what_stands_where_it_stood_is_what_is_made_anew(name) -> None:
    machine = build_machine(shipped(name))
    scene, count = Scene(machine), len(Scene(machine).solids(machine.middle))
    for tool in (*poses(machine, (2, 2, 2)), *poses(machine, (3, 2, 1))):
        known = scene.some(range(count), tool)
        for i, made in enumerate(scene.solids(tool)):
            assert known[i].name == made.name
            assert np.array_equal(known[i].points, made.points)
            assert known[i].disc == made.disc
