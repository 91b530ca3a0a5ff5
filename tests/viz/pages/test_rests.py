"""Long rests of a program are left out of its still picture."""

from __future__ import annotations

import pytest
from beltspring.sim import run
from beltspring.viz.charts.shown import Shown
from beltspring.viz.pages.run import AFTER_S, busy_window

from tests.support import shipped


def shown_of(tmp_path, rest_s: float) -> Shown:
    file = tmp_path / "rest.gcode"
    file.write_text(f"G1 X40 F6000\nG4 P{rest_s}\nG1 X80 Y60 F6000\nG1 X40 Y60\n", encoding="utf-8")
    return Shown(run(shipped("spring-mass", {"move.gcode": str(file), "move.settle_ms": 100})))


def test_a_long_rest_is_left_out_and_a_short_one_is_not(tmp_path):
    assert busy_window(shown_of(tmp_path, 0.5)) is None
    shown = shown_of(tmp_path, 20)
    legs = shown.result.plan.legs
    assert shown.end_s > 20
    low, high = busy_window(shown)
    assert high - low < 4
    assert low <= shown.result.analysis.path.worst_s <= high
    first, last = (legs[0].start_s, legs[0].end_s) if high < 10 else (legs[1].start_s, legs[-1].end_s)
    assert low <= first
    assert high == pytest.approx(min(last + AFTER_S, shown.end_s))
