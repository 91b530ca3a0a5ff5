"""What shapers cost: nothing where there are none."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from beltspring.sim.study import rounded


def outcome(made: bool, *, delay_s: float = 0.0) -> Any:
    return SimpleNamespace(plan=SimpleNamespace(shaping=SimpleNamespace(made=made, delay_s=delay_s)))


def test_without_shapers_no_corner_is_rounded_and_nothing_is_said() -> None:
    assert rounded.roundest_m(outcome(False)) == 0.0
    assert rounded.cost_of_shaping(["plain"], [outcome(False)]) == []


def test_the_roundest_corner_and_the_lag_are_told_of_each_shaped_design(monkeypatch: pytest.MonkeyPatch) -> None:
    corners = [SimpleNamespace(distance_m=30e-6), SimpleNamespace(distance_m=45e-6)]
    monkeypatch.setattr(rounded, "corner_rounding", lambda plan: corners)
    shaped = outcome(True, delay_s=0.0104)
    assert rounded.roundest_m(shaped) == 45e-6
    (said,) = rounded.cost_of_shaping(["plain", "shaped"], [outcome(False), shaped])
    assert said == "What the shapers cost in lag and in round corners: shaped: 10.4 ms and 45 µm."
