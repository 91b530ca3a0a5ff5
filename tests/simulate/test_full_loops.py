"""Full detail: the printed loop is the readable one, whatever the machine is made of."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from beltspring.sim.simulate.run import run

from tests.support import ALL_LAYOUTS, model_of, plan_of, shipped, workshop

#: A short move, so that the readable loop, ten thousand times slower, is done in a second.
SHORT: dict[str, Any] = {"detail": "full", "move.pattern": "step", "move.size_mm": 3, "move.settle_ms": 10}
#: What changes the printed text: guides with and without shared shafts, what is rigid, what is ideal, what goes slack.
CASES: dict[str, dict[str, Any]] = {
    "wheels on the carriage": {"carriage.guide": "wheels"},
    "rails": {"carriage.guide": "rail-12", "gantry.guide": "rail-9"},
    "rigid guides": {"carriage.guide": "rigid", "gantry.guide": "rigid"},
    "rigid frame and feet": {"frame.part": "rigid", "feet.part": "rigid"},
    "ideal motors": {"motors.part": "ideal"},
    "slack belts": {"belts.pretension_n": 0.5, "motion.acceleration_mm_s2": 20000},
    "lost steps": {"motors.current_a": 0.2, "motion.acceleration_mm_s2": 30000, "move.size_mm": 10},
    "no friction": {"carriage.friction_n": 0, "gantry.friction_n": 0},
    "dry friction, no Stribeck": {"carriage.friction_n": 2, "carriage.friction_static_n": 2},
    "circle": {"move.pattern": "circle"},
}


def assert_same(scenario: Any) -> Any:
    system = model_of(scenario)
    plan = plan_of(scenario, system)
    a, b = run(system, plan), run(system, plan, loop="reference")
    assert system.n > 12  # else it is the small model's printed text that is tested
    assert np.ptp(a.tool[:, 0]) > 1e-3
    assert np.abs(a.tool - b.tool).max() < 1e-9
    assert np.abs(a.q - b.q).max() < 1e-7
    assert a.tension_n == pytest.approx(b.tension_n, abs=1e-4)
    assert a.motor_nm == pytest.approx(b.motor_nm, abs=1e-6)
    assert a.motor_lag_rad == pytest.approx(b.motor_lag_rad, abs=1e-7)
    assert a.slack_s == pytest.approx(b.slack_s, abs=2 * a.step_s)
    assert [(s.motor, s.lost_steps) for s in a.slips] == [(s.motor, s.lost_steps) for s in b.slips]
    for mine, other in zip(a.stretches, b.stretches, strict=True):
        scale = max(1.0, float(np.abs(other.high).max()))
        assert np.abs(mine.low - other.low).max() < 1e-6 * scale
        assert np.abs(mine.high - other.high).max() < 1e-6 * scale
    return a


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_both_loops_are_one_for_every_layout(layout):
    assert_same(workshop(layout, SHORT))


@pytest.mark.parametrize("case", CASES)
def test_both_loops_are_one_whatever_the_machine_is_made_of(case):
    a = assert_same(shipped("desk-corexy-slot", SHORT | CASES[case]))
    if case == "slack belts":
        assert min(a.slack_s.values()) > 0
    if case == "lost steps":
        assert a.slips
