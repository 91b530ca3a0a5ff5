"""Short ways to a plan: from a program's text, or from a pattern's name."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from beltspring.sim.plan.build import MotionPlan, build_plan
from beltspring.sim.scenario.motion import MotionLimits, MoveSpec, ShaperSpec

REACH = ((0.0, 0.2), (0.0, 0.2), (0.0, 0.2))
LIMITS = MotionLimits(0.15, 4.0, 0.0, 0.005, 0.0)

PlanProgram = Callable[..., MotionPlan]


@pytest.fixture
def planned(tmp_path: Path) -> PlanProgram:
    """planned(text or bytes, limits=..., shapers=..., reach=...) -> the plan of that program."""

    def plan(
        text: str | bytes,
        limits: MotionLimits = LIMITS,
        shapers: dict[str, ShaperSpec] | None = None,
        reach: tuple[tuple[float, float], ...] = REACH,
    ) -> MotionPlan:
        path = tmp_path / "job.gcode"
        path.write_bytes(text.encode() if isinstance(text, str) else text)
        return build_plan(limits, shapers or {}, MoveSpec(None, path, 0.06, 1, "x", 0.05), reach)

    return plan
