"""Small things of a plan by hand: offsets beside what is laid, pieces joined, when a leg cruises, words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.plan.build import build_plan
from beltspring.sim.plan.joining import Straightener
from beltspring.sim.plan.segments import Segments
from beltspring.sim.scenario.motion import MotionLimits, MoveSpec, PatternChoices

from tests.plan.conftest import LIMITS, REACH, PlanProgram


def test_every_offset_stands_by_itself_beside_what_is_laid(planned: PlanProgram) -> None:
    """G92 gives the place at hand another name on each axis, and E another count; nothing moves by it."""
    plan = planned("G1 X10 Y20 Z30 F600\nG92 X1 Y2 Z3 E4\nG1 X1 Y2 Z3 E5\nG1 X2 E4.5\nG1 Y4 E5.1\nG1 Z6\n")
    ends = [[round(1e3 * v, 9) for v in leg.end] for leg in plan.legs]
    assert ends == [[10, 20, 30], [11, 20, 30], [11, 22, 30], [11, 22, 33]]
    stretches = list(plan.stretches())
    middles = [0.5 * (leg.start_s + leg.end_s) for leg in plan.legs]
    laid = [next(s for s in stretches if s.t0 <= t < s.t1).depositing(np.array([t]))[0] for t in middles]
    assert laid == [False, False, True, False]


@pytest.mark.parametrize("words", ["X1 Z2   Y3", "Y3 X1 Z2", "Z2 Y3 X1"])
def test_what_an_offset_does_not_name_stays_whatever_the_columns(planned: PlanProgram, words: str) -> None:
    """E stands at 5: 4 lays nothing. Without any word all four would get zero."""
    for line, laid in ((f"G92 {words}", False), ("G92", True)):
        (leg,) = planned(f"G92 E5\n{line}\nG1 X9 E4 F600\n").legs
        stretch = next(iter(planned(f"G92 E5\n{line}\nG1 X9 E4 F600\n").stretches()))
        assert stretch.depositing(np.array([0.5 * leg.end_s]))[0] == laid


def pieces(count: int = 6) -> Segments:
    """Millimetre pieces of one straight line along X, all alike."""
    s = Segments.empty(count)
    s.geo[:, 0], s.geo[:, 3] = np.arange(count) * 1e-3, 1.0
    s.tangent_in[:, 0] = s.tangent_out[:, 0] = 1.0
    s.length_m[:], s.speed_m_s[:], s.acceleration_m_s2[:] = 1e-3, 0.1, 3.0
    return s


@pytest.mark.parametrize("what", ["speed_m_s", "acceleration_m_s2", "depositing", "leg"])
def test_pieces_of_a_line_are_joined_where_all_they_keep_to_is_alike(what: str) -> None:
    """Twice three pieces: one line where nothing differs, and two where the latter three have another number."""
    whole = Straightener().feed(pieces(), 1e-6, final=True)
    assert whole.length_m == pytest.approx([6e-3])
    parts = pieces()
    values = getattr(parts, what).copy()
    values[3:] = 2 * values[3:] + 1
    found = Straightener().feed(replace(parts, **{what: values}), 1e-6, final=True)
    assert found.length_m == pytest.approx([3e-3, 3e-3])
    assert getattr(found, what).tolist() == values[[0, 3]].tolist()


@pytest.mark.parametrize("speed", [0.5, 1.0, 1.5])
def test_a_leg_cruises_from_the_end_of_its_ramp_to_the_beginning_of_the_next(speed: float) -> None:
    """v / a from either end of a leg of 0.18 m at 20 m/s2."""
    limits = MotionLimits(speed, 20.0, 0.0, 0.0, 0.0)
    plan = build_plan(limits, {}, MoveSpec("step", None, 0.18, 1, "x", 0.05), REACH)
    leg = plan.legs[0]
    assert leg.cruise_speed_m_s == pytest.approx(speed)
    assert leg.cruise_from_s - leg.start_s == pytest.approx(speed / 20.0)
    assert leg.end_s - leg.cruise_to_s == pytest.approx(speed / 20.0)
    assert leg.end_s - leg.start_s == pytest.approx(0.18 / speed + speed / 20.0)


def test_a_raster_says_how_far_its_rows_are_apart() -> None:
    plan = build_plan(LIMITS, {}, MoveSpec("raster", None, 0.01, 1, "x", 0.1), REACH)
    rows = sorted({round(1e3 * leg.start[1], 6) for leg in plan.legs})
    apart = rows[1] - rows[0]
    assert plan.description.startswith(f"raster 10 mm, rows {apart:g} mm apart")


def test_the_way_of_a_chirp_is_told_by_enough_points_to_be_a_wave() -> None:
    """Sixty and more a cycle: what a polygon of so many misses of a swing is under a hundredth, 1 - cos(pi / 60) = 0.0014."""
    choices = PatternChoices(from_hz=20.0, to_hz=40.0, sweep_s=0.5)
    plan = build_plan(LIMITS, {}, MoveSpec("chirp", None, 0.06, 1, "x", 0.1), REACH, choices=choices)
    times = np.concatenate([s.corners()[0] for s in plan.stretches()])
    within = times[times < plan.move_s]
    assert np.diff(within).max() < 1 / (20.0 * 60)
    assert len(within) > 60 * 30 * 0.5
