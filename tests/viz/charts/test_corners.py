"""Corners of a move by name, and the stretch of time each is looked at."""

from __future__ import annotations

from beltspring.viz.charts.corners import BEFORE_S, FADES, corner_at, worst_corner
from beltspring.viz.charts.shown import Shown


def test_corners_stand_where_legs_stop(desk):
    shown = Shown(desk)
    corners = shown.corners
    assert [c.name for c in corners] == ["corner 1", "corner 2", "corner 3", "end"]
    for corner, leg in zip(corners, desk.plan.legs, strict=True):
        assert corner.stop_s == leg.end_s
        assert corner.place_m == leg.end[:2]
    fades = max(r.fades_to_5_percent_s for r in desk.analysis.ringing.values())
    assert corners[1].end_s == corners[1].stop_s + FADES * fades
    assert corners[1].begin_s == corners[1].stop_s - BEFORE_S


def test_a_time_belongs_to_the_corner_begun_last(desk):
    corners = Shown(desk).corners
    assert corner_at(corners, 0.0) == 0
    assert corner_at(corners, corners[2].stop_s) == 2
    assert corner_at(corners, 99.0) == 3
    assert corner_at([], 1.0) is None


def test_the_worst_corner_is_the_one_the_analysis_tells(desk):
    corners = Shown(desk).corners
    worst = worst_corner(desk, corners)
    assert worst is not None
    assert corners[worst].leg == desk.analysis.ringing[desk.analysis.ringing_axis].leg
