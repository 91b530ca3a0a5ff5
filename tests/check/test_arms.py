"""Rules about a tool on arms: a sound machine, and one that fails each, with the number a hand calculation gives."""

from __future__ import annotations

import math

import numpy as np
import pytest
from beltspring.sim.check.arms import _way as direction_words

# The small delta: arms of 215 mm span 103 mm in the middle, the reach is 80 mm round.
#: rule -> (changes that make it fail, severity, value, limit); None: not compared here.
ON_ARMS = {
    "arm-lowest": ({"delta.arm_mm": 190}, "stop", round(math.degrees(math.acos(183 / 190)), 1), 20),
    "arm-steep": ({"delta.arm_mm": 300}, "warn", round(math.degrees(math.acos(103 / 300)), 1), 65),
    "arm-outward": ({"delta.tower_radius_mm": 130}, "warn", 75, 80),
    "joint-turn": ({"delta.tower_radius_mm": 130, "delta.arm_mm": 158}, "warn", round(math.degrees(math.asin(80 / 158)), 1), 30),
    "arm-stiffness": ({"belts.ea_n": 3000}, "warn", None, 10),
    "arm-clear": ({"delta.effector_radius_mm": 66}, "stop", None, 3),
}  # fmt: skip


def faults(report, rule):
    return [f for f in report.findings if f.rule == rule and f.severity != "note"]


@pytest.mark.parametrize("rule", ON_ARMS)
def test_a_sound_machine_passes_and_a_faulty_one_fails(report, rule):
    assert faults(report(name="small-delta"), rule) == []
    changes, severity, value, limit = ON_ARMS[rule]
    found = faults(report(changes, name="small-delta"), rule)
    assert found
    assert found[0].severity == severity
    assert found[0].limit == pytest.approx(limit, rel=1e-6)
    if value is not None:
        assert found[0].value == pytest.approx(value, abs=0.051)
    assert found[0].change != "nothing to change"
    # Two things that come near each other are told once, and nothing is compared with itself.
    pairs = [frozenset(f.where.split(" / ")) for f in found if f.rule == "arm-clear"]
    assert len(pairs) == len(set(pairs))
    assert all(len(pair) == 2 for pair in pairs)


def test_arms_that_stand_too_flat_are_to_be_so_long_that_they_stand_at_25_degrees(report):
    # At the rim they span 103 + 80 mm: 183 / cos 25 degrees is 201.9 mm.
    (found,) = faults(report({"delta.arm_mm": 190}, name="small-delta"), "arm-lowest")
    assert "delta.arm_mm = 202 " in found.change


def test_a_direction_is_told_without_a_zero_below_nothing(report):
    words = [f.words for f in report(name="small-delta").findings if f.rule == "arm-stiffness"]
    assert words
    assert "-0.00" not in words[0]
    assert direction_words(np.array([1.0, -0.001, 0.0])) == "1.00, 0.00, 0.00"


def test_without_power_the_carriages_drop(report):
    (told,) = [f for f in report(name="small-delta").findings if f.rule == "power-off"]
    assert "drop" in told.words
    assert "fingers" in told.caution
    assert not [f for f in report().findings if f.rule == "power-off"]


def test_the_numbers_of_the_stated_machine(report):
    # 1.85 times as fast, joints turn 23.6 degrees: worked beside tests/outside/test_delta_places.py.
    stated = {
        "space.x_mm": 200, "space.y_mm": 200, "space.z_mm": 200, "delta.arm_mm": 250, "delta.tower_radius_mm": 175,
    }  # fmt: skip
    told = {f.rule: f for f in report(stated, name="small-delta").findings}
    assert told["arm-lowest"].value == pytest.approx(28.4, abs=0.051)
    assert "1.85 times" in told["arm-lowest"].words
    assert told["joint-turn"].value == pytest.approx(23.6, abs=0.051)
