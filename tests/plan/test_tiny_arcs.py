"""Arcs shorter than anything the machine can do, and so many that cutting them must not fill the memory."""

from __future__ import annotations

import math

import numpy as np
import pytest
from beltspring.sim.plan.lookahead import arc_pieces, cut_arcs
from beltspring.sim.plan.segments import SegmentList
from beltspring.sim.plan.timing import MOST_AT_ONCE, _portions
from beltspring.sim.scenario.motion import MotionLimits

from tests.plan.conftest import PlanProgram

LIMITS = MotionLimits(0.15, 4.0, 0.0, 0.005, 0.0)


def circle(radius_m: float, speed_m_s: float = 0.15) -> SegmentList:
    path = SegmentList((0.05, 0.05, 0.0), speed_m_s, 4.0)
    path.arc(0.05 + radius_m, 0.05, math.tau)
    return path


@pytest.mark.parametrize(("radius_m", "most"), [(1e-9, 1), (1e-7, 10), (1e-6, 32), (1e-3, 240), (10e-3, 240)])
def test_an_arc_is_cut_into_no_more_pieces_than_the_machine_can_follow(radius_m: float, most: int) -> None:
    # Round a circle of radius R at the acceleration limit A: v = sqrt(A R), so it takes 2 pi sqrt(R / A); 1 nm: 0.1 ms.
    lasts_s = max(math.tau * math.sqrt(radius_m / 4.0), math.tau * radius_m / 0.15)
    (pieces,) = arc_pieces(circle(radius_m).done())
    assert pieces <= most
    assert pieces <= math.ceil(1.01 * lasts_s / 1e-4)
    cut = cut_arcs(circle(radius_m).done())
    assert len(cut) == pieces
    assert cut.length_m.sum() == pytest.approx(math.tau * radius_m)
    assert np.abs(cut.ends()[-1] - cut.starts()[0]).max() <= 1e-12


def test_a_hundred_thousand_circles_of_a_nanometre_stay_small(planned: PlanProgram) -> None:
    plan = planned("G1 X50 Y50 F6000\n" + "G2 I0.000001\n" * 100_000, LIMITS)
    assert sum(len(block.segments) for block in plan.stream()) <= 100_002


def test_short_lines_that_ask_for_long_arcs_are_planned_in_portions(planned: PlanProgram) -> None:
    text = "G1 X50 Y50 F6000\n" + "G2I1\n" * 3000
    plan = planned(text, LIMITS)
    most = max(len(block.segments) for block in plan.stream())
    assert sum(len(block.segments) for block in plan.stream()) > 6 * MOST_AT_ONCE
    assert most <= 2.5 * MOST_AT_ONCE
    # v = sqrt(A R) at 0.998 of it, 2 pi R round; lookahead gives away less than a hundredth.
    assert plan.move_s == pytest.approx(3000 * math.tau * math.sqrt(1e-3 / (0.998 * 4.0)), rel=0.01)


def test_portions_are_the_whole_chunk() -> None:
    path = circle(2e-3)
    for _ in range(700):
        path.arc(path.at[0] + 2e-3, path.at[1], math.tau)
        path.line_to(path.at[0] + 1e-6, path.at[1])
    whole = path.done()
    parts = list(_portions(whole))
    assert len(parts) > 1
    assert np.array_equal(np.concatenate([p.geo for p in parts]), whole.geo)
    assert all(arc_pieces(p).sum() <= MOST_AT_ONCE for p in parts)
