"""A round reach about the middle: what stays in it is planned, what leaves it is told, arcs by their farthest point."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from beltspring.sim.errors import ProgramError, ScenarioError
from beltspring.sim.plan.build import build_plan
from beltspring.sim.scenario.motion import MoveSpec

from tests.plan.conftest import LIMITS

REACH = ((-0.1, 0.1), (-0.1, 0.1), (0.0, 0.2))


def planned(tmp_path: Path, text: str):
    path = tmp_path / "round.gcode"
    path.write_text(text, encoding="utf-8")
    move = MoveSpec(None, path, 0.06, 1, "x", 0.1, 0.45e-3)
    return build_plan(LIMITS, {}, move, REACH, round_reach=True)


def test_a_program_starts_in_the_middle_and_may_go_to_the_rim(tmp_path):
    plan = planned(tmp_path, "G1 X60 Y80 Z10 F6000\nG1 X-100 Y0\nG3 X0 Y-100 I100 J0\n")
    assert np.asarray(plan.start) == pytest.approx([0, 0, 0])


@pytest.mark.parametrize(
    ("text", "line", "far_mm"),
    [
        ("G1 X10 F600\nG1 X80 Y80\n", 2, 113.1371),  # inside the square, outside the circle
        # Round (60, 0) with 40 mm, over its far side at 100 mm: allowed; round (60, 20) it comes to 63.2 + 40 mm.
        ("G1 X60 Y-20 F600\nG3 X60 Y60 I0 J40\n", 2, 63.2456 + 40),
    ],
)
def test_what_leaves_the_circle_is_told(tmp_path, text, line, far_mm):
    with pytest.raises(ProgramError) as caught:
        planned(tmp_path, text)
    assert f"line {line}" in str(caught.value)
    assert f"{int(far_mm * 100) / 100:.2f}" in str(caught.value)
    assert "round, 100 mm" in str(caught.value)


def test_an_arc_that_turns_its_near_side_to_the_rim_is_followed(tmp_path):
    planned(tmp_path, "G1 X60 Y-20 F600\nG2 X60 Y60 I0 J40\n")


@pytest.mark.parametrize(("pattern", "most_mm"), [("square", 200 / np.sqrt(2)), ("circle", 200)])
def test_patterns_know_the_circle(pattern, most_mm):
    for size_mm, fits in ((0.999 * most_mm, True), (1.001 * most_mm, False)):
        move = MoveSpec(pattern, None, size_mm / 1e3, 1, "x", 0.1, 0.45e-3)
        if fits:
            build_plan(LIMITS, {}, move, REACH, round_reach=True)
        else:
            with pytest.raises(ScenarioError, match="the reach is"):
                build_plan(LIMITS, {}, move, REACH, round_reach=True)
