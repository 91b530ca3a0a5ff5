"""What the words of a motion program mean: ISO 6983 / RS-274, as far as it is followed."""

from __future__ import annotations

import math

import numpy as np
import pytest
from beltspring.sim.plan.build import MotionPlan
from beltspring.sim.plan.segments import ARC, HOLD, LINE, Segments

from tests.plan.conftest import PlanProgram


def path(plan: MotionPlan) -> Segments:
    """All segments of a plan, long arcs still cut as the look-ahead cut them."""
    return Segments.join([block.segments for block in plan.stream()])


def corners(plan: MotionPlan) -> np.ndarray:
    """End points of all segments, mm, rounded to a nanometre."""
    return np.round(1e3 * path(plan).ends(), 6)


def test_modes_carry_on_from_line_to_line(planned: PlanProgram) -> None:
    plan = planned("G90\nG1 X10 F600\nY20\nG91\nX5\nX5 Y-5\nG90 G0 X0 Y0\n")
    assert corners(plan).tolist() == [[10, 0, 0], [10, 20, 0], [15, 20, 0], [20, 15, 0], [0, 0, 0]]
    s = path(plan)
    assert s.speed_m_s == pytest.approx([0.01] * 4 + [0.15])  # F is mm per minute; G0 goes at full speed
    assert s.line.tolist() == [2, 3, 5, 6, 7]


@pytest.mark.parametrize(
    "text",
    [
        "G1 X10 Y20 F600\nG1 X30",
        "g1x10y20f600\ng1x30",
        "G01X10.Y+20F600\r\nN7 G1 X30*95\r\n",
        "%\n(start) G1 X1 0 Y 2 0 F600 ; to the rear\n; nothing\n\nX30 (on)",
        "N1G1X10Y20F600\rN2X30\r",
        "\ufeffG1\tX10\tY20\tF600\nX0030.000",
        "/G1 X10 Y20 F600\nX30",
        "F600\nG1 X10 Y20\nX30\nM30\nX100 Y100\nthis is never read",
    ],
)
def test_writing_does_not_matter(planned: PlanProgram, text: str) -> None:
    assert corners(planned(text)).tolist() == [[10, 20, 0], [30, 20, 0]]


def test_inches(planned: PlanProgram) -> None:
    plan = planned("G20 G1 X1 F60\nG21 Y50\n")
    assert corners(plan).tolist() == [[25.4, 0, 0], [25.4, 50, 0]]
    assert path(plan).speed_m_s == pytest.approx([0.0254, 0.0254])  # the feed was given in inches and stays


def test_offsets(planned: PlanProgram) -> None:
    plan = planned("G1 X10 Y10 F600\nG92 X0 Y5\nX5\nG28 X\nG92 X0\nY0\n")
    # G92 calls X10 Y10 by the name X0 Y5; G28 goes to the machine's own zero; Y0 is then the machine's Y5.
    assert corners(plan).tolist() == [[10, 10, 0], [15, 10, 0], [0, 10, 0], [0, 5, 0]]


def test_home_takes_the_axes_it_names(planned: PlanProgram) -> None:
    plan = planned("G1 X10 Y10 Z5 F600\nG28 Z\nG1 Z5\nG28\n")
    assert corners(plan).tolist() == [[10, 10, 5], [10, 10, 0], [10, 10, 5], [0, 0, 0]]


@pytest.mark.parametrize(
    ("word", "centre", "turn"),
    [
        ("G2 X20 Y20 I10 J0", (20, 10), -math.pi / 2),
        ("G3 X20 Y20 I0 J10", (10, 20), math.pi / 2),
        ("G3 X20 Y20 R10", (10, 20), math.pi / 2),
        ("G2 X20 Y20 R10", (20, 10), -math.pi / 2),
        ("G2 X20 Y20 R-10", (10, 20), -3 * math.pi / 2),
        ("G3 X20 Y20 R-10", (20, 10), 3 * math.pi / 2),
        ("G3 I0 J10", (10, 20), 2 * math.pi),
        ("G2 X10 Y10 I-5", (5, 10), -2 * math.pi),
        ("G3 X10 Y30 J10", (10, 20), math.pi),
    ],
)
def test_arcs(planned: PlanProgram, word: str, centre: tuple[float, float], turn: float) -> None:
    plan = planned(f"G1 X10 Y10 F600\n{word} F600\n")
    s = path(plan)
    arc = s[np.flatnonzero(s.kind == ARC)]
    radius = math.dist(centre, (10, 10))
    assert arc.geo[:, 0:2] * 1e3 == pytest.approx(np.tile(centre, (len(arc), 1)), abs=1e-9)
    assert arc.length_m.sum() == pytest.approx(1e-3 * radius * abs(turn))
    halfway = math.atan2(10 - centre[1], 10 - centre[0]) + turn / 2
    middle = (centre[0] + radius * math.cos(halfway), centre[1] + radius * math.sin(halfway))
    leg = plan.legs[-1]
    stretch = next(w for w in plan.stretches(longest_s=100.0) if w.t1 > leg.end_s - 1e-9)
    # At an even feed, half way in time is half way round (the ramps at both ends are alike).
    at = stretch.commanded(np.array([0.5 * (leg.start_s + leg.end_s)]))[0]
    assert 1e3 * at[:2] == pytest.approx(middle, abs=0.02)


def test_helix_rises_evenly(planned: PlanProgram) -> None:
    plan = planned("G1 X60 Y50 F6000\nG4 P1\nG3 X60 Y50 Z6 I-10\n")
    assert path(plan).length_m[2:].sum() == pytest.approx(1e-3 * math.hypot(2 * math.pi * 10, 6))
    leg = plan.legs[-1]
    stretch = [w for w in plan.stretches() if w.t0 <= leg.end_s][-1]
    t = np.linspace(stretch.t0, min(stretch.t1, leg.end_s), 100)
    x, y, z = (stretch.commanded(t) - [0.05, 0.05, 0.0]).T
    assert np.hypot(x, y) == pytest.approx(0.01)
    angle = np.unwrap(np.arctan2(y, x))
    assert angle - angle[-1] == pytest.approx((z - z[-1]) / 0.006 * 2 * math.pi, abs=1e-9)


def test_centre_words_may_be_rounded(planned: PlanProgram) -> None:
    """A radius that differs by a few micrometres between start and end is rounding; the arc ends where it says."""
    plan = planned("G1 X10 Y10 F600\nG3 X17.071 Y12.929 I0.001 J10.002\n")
    assert corners(plan)[-1].tolist() == [17.071, 12.929, 0]


def test_depositing(planned: PlanProgram) -> None:
    text = "G1 X10 F600 E1\nY10 E1\nX20 E0.5\nY20 E2\nG92 E0\nX30\nY30 E0.1\nM83\nX40 E0.1\nY40 E-1\nM82 X50 E0.2\n"
    s = path(planned(text))
    # Absolute: E must rise.  Relative: it must be above zero.  M82: back to absolute, where E stands at -0.8.
    assert s.depositing.tolist() == [True, False, False, True, False, True, True, False, True]
    stretches = list(planned(text).stretches())
    for when, depositing, line in ((0.5, True, 1), (1.5, False, 2), (3.5, True, 4)):
        stretch = next(w for w in stretches if w.t0 <= when < w.t1)
        assert stretch.depositing(np.array([when])).tolist() == [depositing]
        assert stretch.source_line(np.array([when])).tolist() == [line]


def test_straight_runs_are_one_segment(planned: PlanProgram) -> None:
    """Pieces of one straight line become one; it keeps the line number of its first."""
    s = path(planned("G1 X10 F600\nX20\nX30 F600\nX40 E1\nY10\n"))
    assert s.length_m == pytest.approx([0.03, 0.01, 0.01])  # depositing begins at X30, which parts the line there
    assert s.line.tolist() == [1, 4, 5]


def test_depositing_alone_holds_the_tool_still(planned: PlanProgram) -> None:
    """A move of E alone takes |E| / F: 2 mm at 600 mm/min is 0.2 s."""
    s = path(planned("G1 X10 E1 F600\nE-1\nG1 X20\n"))
    assert s.kind.tolist() == [LINE, HOLD, LINE]
    assert s.hold_s[1] == pytest.approx(0.2)


def test_waiting(planned: PlanProgram) -> None:
    plan = planned("G1 X10 F6000\nG4 P0.25\nG4 S1\nG1 X0\n")
    assert path(plan).hold_s[1:3] == pytest.approx([0.25, 1.0])
    still = [w for w in plan.stretches() if w.resting == (True, True, True)]
    assert sum(w.t1 - w.t0 for w in still) == pytest.approx(1.25 + 0.05)


def test_unknown_codes_are_listed_once(planned: PlanProgram) -> None:
    text = "M704 S200\nM707\nG629 X90 Y90\nG1 X10 F600\nM707\nM717 Hello, (world .5 ...\nT0\nG92.1\nM707 G1 X20\nX30 A5 B2\n"
    plan = planned(text)
    assert corners(plan)[-1].tolist() == [30, 0, 0]
    note = next(n for n in plan.notes if "skipped" in n)
    for part in (
        "M704 (once, in line 1)",
        "M707 (3 times, first in line 2)",
        "G629 (once, in line 3)",
    ):
        assert part in note
    for part in ("M717 (once, in line 6)", "T (once, in line 7)", "G92.1 (once, in line 8)"):
        assert part in note
    assert "A (once, in line 10)" in note


def test_unknown_codes_move_nothing(planned: PlanProgram) -> None:
    assert corners(planned("G1 X10 F600\nM92 X80 Y80 E93\nX20\n"))[-1].tolist() == [20, 0, 0]


def test_feeds_above_the_limit_are_lowered_and_said(planned: PlanProgram) -> None:
    plan = planned("G1 X10 F9000\nY50 F30000\nX90 F20000\n")
    assert path(plan).speed_m_s == pytest.approx([0.15] * 3)
    assert any("2 feeds above speed_mm_s = 150" in n and "line 2" in n for n in plan.notes)


def test_numbers_are_read_exactly(planned: PlanProgram) -> None:
    plan = planned("G1 X0.1 Y123.456789012 Z.5 F600\nX100.000000000000000000000001\n")
    assert path(plan).ends()[0].tolist() == pytest.approx([1e-4, 0.123456789012, 5e-4], rel=1e-15)
    assert path(plan).ends()[1][0] == pytest.approx(0.1, rel=1e-15)


def test_long_waits_are_noted_since_p_is_in_seconds(planned: PlanProgram) -> None:
    # RS-274: G4 waits P seconds. Whoever thinks in milliseconds means half a second by P500.
    plan = planned("G1 X10 F600\nG4 P500\nG1 X20\nG4 P19.9\nG4 P20\n")
    path(plan)
    assert plan.notes == ["G4 P500 in line 2 waits 500 seconds, and 1 more wait so long: P is in seconds."]
    assert planned("G1 X10 F600\nG4 P19.9\nG4 S100\n").notes == []


def test_codes_that_do_not_move_the_tool_are_skipped_and_counted(planned: PlanProgram) -> None:
    plan = planned("G1 X10 F600\nG54 X1\nG80\nG81\nG64 P0.1\nM704 S200\nG1 Y20\n")
    assert corners(plan).tolist() == [[10, 0, 0], [10, 20, 0]]
    (note,) = plan.notes
    assert all(f"{code} (once" in note for code in ("G54", "G80", "G81", "G64", "M704"))
