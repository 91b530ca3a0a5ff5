"""What a design is set beside, and what is compared of two machines: by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from beltspring.sim.machine.build import build_machine
from beltspring.sim.study import effect
from beltspring.sim.study.sure import _other

from tests.support import shipped


@pytest.mark.parametrize(
    ("best", "order", "other"), [(2, (2, 0, 1), 0), (0, (0, 2, 1), 2), (0, (0,), None), (1, (1, 0), 0)]
)
def test_the_best_is_set_against_the_first_or_that_against_the_next(best: int, order: Any, other: int | None) -> None:
    assert _other(SimpleNamespace(best=best, order=order)) == other  # type: ignore[arg-type]


def test_what_holds_a_tool_without_end_or_not_at_all_is_no_number(monkeypatch: pytest.MonkeyPatch) -> None:
    machine = build_machine(shipped("spring-mass"))
    monkeypatch.setattr(effect, "held_stiffness", lambda system, place: (107143.0, np.inf))
    told = effect._quantities(machine)
    assert told["the tool is held in X with"] == pytest.approx(107.143)
    assert "the tool is held in Y with" not in told
    monkeypatch.setattr(effect, "held_stiffness", lambda system, place: (None, 2e4))
    told = effect._quantities(machine)
    assert "the tool is held in X with" not in told
    assert told["the tool is held in Y with"] == pytest.approx(20.0)
    assert set(told) <= set(effect.QUANTITIES)
