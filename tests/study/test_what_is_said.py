"""What a run and a comparison say of shapers, guides that stick, chirps and axes; against closed forms."""

from __future__ import annotations

import itertools
import math
import re

import numpy as np
import pytest
from beltspring.sim.chain.chain import Outcome, simulate_scenario
from beltspring.sim.plan.build import MotionPlan
from beltspring.sim.study.choosing import varied
from beltspring.sim.study.compare import compare
from beltspring.sim.study.report import Report, run
from beltspring.viz.charts.panels import result_rows
from beltspring.viz.charts.shown import Shown

from tests.support import OPEN, shipped


def shaped(kind: str, frequency_hz: float, **more: object) -> Outcome:
    keys = {f"motion.shaper.{a}": {"kind": kind, "frequency_hz": frequency_hz, "damping": 0.05} for a in "xy"}
    return simulate_scenario(shipped("desk-corexy", keys | more))


def test_a_shapers_delay_is_told_apart_from_what_the_tool_lags():
    # In steady motion a shaper makes the command late by speed times the mean of its impulses' times, whatever the machine.
    plain, late = simulate_scenario(shipped("desk-corexy")), shaped("zero-slope", 20.0)
    assert isinstance(late.plan, MotionPlan)
    path = late.analysis.path
    speed = max(leg.cruise_speed_m_s for leg in late.plan.legs)
    assert path.delay_max_m == pytest.approx(speed * late.plan.shaping.delay_s, rel=0.01)
    assert path.delay_max_m > 3e-3
    # What is left is the machine's, of the size it has without a shaper.
    assert path.own_max_m < 1.5 * plain.analysis.path.along_max_m
    assert path.along_max_m == pytest.approx(path.own_max_m + path.delay_max_m, rel=0.05)
    said = late.analysis.sentences[-1]
    assert re.search(r"along the line it is at most \d+ µm, not counting the shapers' delay of up to 3\.\d+ mm\.", said)
    assert plain.analysis.path.delay_max_m == 0.0
    assert "delay" not in plain.analysis.reading


@pytest.mark.parametrize("tolerance_mm", [0, 0.05])
def test_with_shapers_too_the_distance_is_that_to_the_square(tolerance_mm):
    # Plane geometry: distance of a point to the outline of a square, the nearest of four sides.
    # A light frame that hardly sways: where one swings wide round a corner, the leg on either side of it may be the nearer.
    stiff = {**OPEN, "frame.stiffness_x_n_per_mm": 1000, "frame.stiffness_y_n_per_mm": 1600}
    outcome = shaped("zero-slope", 25.0, **{"motion.corner_tolerance_mm": tolerance_mm}, **stiff)
    corners = np.array([leg.start[:2] for leg in outcome.plan.legs] + [outcome.plan.legs[-1].end[:2]])
    moving = outcome.trace.t_s < outcome.plan.move_s
    tool = outcome.trace.tool[moving, :2]
    sides = []
    for a, b in itertools.pairwise(corners):
        share = np.clip((tool - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1)
        sides.append(np.hypot(*(tool - a - share[:, None] * (b - a)).T))
    true = np.min(sides, axis=0)
    found = outcome.analysis.path.across_m[moving]
    assert found.max() == pytest.approx(true.max(), rel=1e-3)
    assert found == pytest.approx(true, abs=0.05 * true.max())


def test_the_quietest_design_is_not_praised_for_its_round_corners():
    plain = shipped("desk-corexy", {f"motion.shaper.{a}": {"kind": "one-hump", "frequency_hz": 60} for a in "xy"})
    designs = varied(plain, ["motion.shaper.x.frequency_hz=15,60"])
    told = compare([d.label for d in designs], [run(d.scenario) for d in designs])
    warned = [s for s in told.sentences if s.startswith("But the shapers of ")]
    peaks = [max(r.peak_m for r in o.analysis.ringing.values() if r) for o in told.reports]
    assert len(warned) == 1
    quiet = int(np.argmin(peaks))
    assert f"of {told.labels[quiet]} round corners by" in warned[0]
    assert f"{1e6 * told.reports[quiet].analysis.path.across_max_m:.0f} µm off the line" in warned[0]
    # Without shapers nothing is rounded.
    hard = varied(shipped("desk-corexy"), ["belts.pretension_n=15,30"])
    assert not [s for s in compare(["a", "b"], [run(d.scenario) for d in hard]).sentences if "round" in s]


def test_a_frequency_raised_by_guides_that_stick_is_explained():
    # Without friction an axis rings at its linear mode, so there is nothing to explain.
    sticky, free = (
        simulate_scenario(shipped("desk-corexy", keys))
        for keys in ({}, {"carriage.friction_n": 0, "gantry.friction_n": 0})
    )
    said = sticky.analysis.raised
    ringing = sticky.analysis.ringing["y"]
    assert said is not None
    assert ringing is not None
    assert ringing.frequency_hz is not None
    mode = sticky.analysis.behind["y"][0].mode
    assert mode is not None
    assert ringing.frequency_hz > 1.05 * mode.frequency_hz
    assert f"Y at {ringing.frequency_hz:.3g} Hz, on the move at about {mode.frequency_hz:.3g} Hz" in said
    assert said.startswith("At rest an axis sticks")
    assert free.analysis.raised is None


@pytest.mark.parametrize("tolerance_mm", [0, 0.1])
def test_a_chirp_is_off_its_line_by_no_more_than_it_is_off_the_command(tolerance_mm):
    keys = {"move.pattern": "chirp", "motion.corner_tolerance_mm": tolerance_mm}
    outcome = simulate_scenario(shipped("desk-corexy", keys))
    off = (outcome.trace.tool - outcome.trace.commanded)[:, :2]
    way = np.array(outcome.plan.legs[0].direction[:2])
    assert outcome.analysis.path.along_max_m == pytest.approx(np.abs(off @ way).max(), rel=1e-9)
    assert outcome.analysis.path.across_max_m <= np.hypot(*off.T).max()
    assert "ripples" not in outcome.analysis.reading
    assert "answers the sweep" in outcome.analysis.sentences[0]


def test_a_star_is_off_its_rays_by_no_more_than_it_is_off_the_command():
    outcome = simulate_scenario(shipped("desk-corexy", {"move.pattern": "star"}))
    away = np.hypot(*(outcome.trace.tool - outcome.trace.asked)[:, :2].T).max()
    assert outcome.analysis.path.across_max_m <= away
    assert outcome.analysis.path.along_max_m <= 1 / math.sin(math.radians(15)) * away  # its sharpest corner turns 150


def test_ringing_after_the_last_leg_is_part_of_how_far_the_tool_strays():
    outcome = simulate_scenario(shipped("large-corexy"))
    ringing = outcome.analysis.ringing["y"]
    assert ringing is not None
    assert ringing.leg == "leg 4"
    # Rest and recording rate make the difference: where friction holds the tool, and a peak between two samples.
    assert outcome.analysis.path.across_max_m >= 0.97 * ringing.peak_m


def test_numbers_beside_a_picture_name_their_axis():
    outcome = simulate_scenario(shipped("large-corexy"))
    shown = Shown(Report(outcome))
    axis = outcome.analysis.ringing_axis
    assert axis is not None
    assert [what for what, _, _ in result_rows(shown)][1:] == [f"{axis.upper()} rings at", f"{axis.upper()} fades in"]
