"""Nothing is worked out from what is drawn: a machine without its signs, and without its solids, weighs and rings the same."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.check.check import check
from beltspring.sim.machine.layouts import LAYOUTS
from beltspring.sim.model.sag import bed_sag
from beltspring.sim.order import shopping

from tests.support import ALL_LAYOUTS, machine_of, model_of, workshop

#: Rules about belts that come near something: these alone read the solids.
ABOUT_SOLIDS = {"belt-rub", "arm-clear"}
CHANGES = {"frame.width_mm": 480, "frame.depth_mm": 480}


def without(monkeypatch, layout: str, *fields: str) -> None:
    """Build machines of the layout without what some fields hold."""
    known = LAYOUTS[layout]
    blank = dict.fromkeys(fields, ())
    monkeypatch.setitem(LAYOUTS, layout, replace(known, build=lambda d: replace(known.build(d), **blank)))


def findings(layout: str) -> list:
    return [(f.rule, f.where, f.value, f.limit, f.words) for f in check(workshop(layout, CHANGES)).findings]


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_a_machine_without_signs_is_judged_alike(layout, monkeypatch):
    before = findings(layout)
    without(monkeypatch, layout, "signs")
    assert findings(layout) == before


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_a_machine_without_solids_is_weighed_bought_and_moved_alike(layout, monkeypatch):
    scenario = workshop(layout, CHANGES)
    machine, system, judged = machine_of(scenario), model_of(scenario), findings(layout)
    without(monkeypatch, layout, "signs", "solids")
    bare_machine, bare_system = machine_of(scenario), model_of(scenario)
    assert bare_machine.outlines == ()
    assert shopping.items(bare_machine) == shopping.items(machine)
    assert bed_sag(bare_machine) == bed_sag(machine)
    assert np.array_equal(bare_system.mass, system.mass)
    assert np.array_equal(bare_system.travel, system.travel)
    assert [f for f in findings(layout) if f[0] not in ABOUT_SOLIDS] == [f for f in judged if f[0] not in ABOUT_SOLIDS]


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_solids_and_what_is_given_agree(layout):
    machine = machine_of(workshop(layout))
    assert set(machine.outlines) == {*machine.solids, *machine.signs}
    for piece in machine.solids:
        assert piece.z_m[1] > piece.z_m[0]
        if piece.kind == "bed":
            assert np.ptp(np.array(piece.points), axis=0) == pytest.approx(machine.plate_m, abs=1e-12)
    for motor in machine.motors:
        (body,) = [s for s in machine.solids if s.kind == "motor" and s.name == motor.name]
        assert body.body == motor.stator
        assert motor.face_z_m < motor.centre[2]
        if machine.arms:  # its shaft lies level, at half of its height
            assert sum(body.z_m) / 2 == pytest.approx(motor.centre[2], abs=1e-12)
        else:
            assert body.z_m[1] == motor.face_z_m
