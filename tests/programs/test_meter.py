"""Path error measured on the way: against plane geometry and against every pair of point and line by brute force."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.analyse.path import meter as metering
from beltspring.sim.analyse.path import path_error
from beltspring.sim.analyse.path.error import MeanSquare
from beltspring.sim.analyse.path.meter import PathMeter, _fewer
from beltspring.sim.chain.chain import prepare, simulate_prepared
from beltspring.sim.simulate.keep import KeepAll
from beltspring.sim.simulate.run import run

from tests.programs.conftest import rings
from tests.support import shipped

# A quarter turn, a straight line and a full circle, all in XY.
ARCS = "G21 G90 F6000\nG1 X40 Y20\nG3 X60 Y40 I0 J20\nG1 X60 Y90\nG2 X60 Y90 I20 J0\nG1 X10 Y90\n"


def moved(trace, shift):
    """The trace with its tool where `shift` (n, 2) says, off the asked places."""
    tool = trace.asked.copy()
    tool[:, :2] += shift
    return replace(trace, tool=tool)


@pytest.fixture
def arcs(following):
    ready = prepare(following(ARCS))
    return simulate_prepared(ready).trace, ready.plan


def test_on_the_path_there_is_no_error(arcs):
    trace, plan = arcs
    found = path_error(moved(trace, 0.0), plan)
    assert found.across_max_m < 1.1e-7  # chords of arcs stay within 0.1 um
    assert found.along_max_m < 1e-6


def test_off_an_arc_it_is_the_change_of_radius(arcs):
    trace, plan = arcs
    centre = np.array([0.040, 0.040])
    from_centre = trace.asked[:, :2] - centre
    on_arc = (trace.source_line == 3) & (np.abs(np.hypot(*from_centre.T) - 0.020) < 1e-9)
    # Away from the ends of the arc, where the neighbouring lines may be nearer.
    angle = np.degrees(np.arctan2(from_centre[:, 1], from_centre[:, 0]))
    on_arc &= (angle > -80) & (angle < -10)
    assert on_arc.sum() > 50
    outward = from_centre / np.hypot(*from_centre.T)[:, None]
    for off_m in (30e-6, -30e-6):
        found = path_error(moved(trace, off_m * outward), plan)
        assert found.across_m[on_arc] == pytest.approx(abs(off_m), abs=1.5e-7)


def test_against_every_pair_of_place_and_line(following):
    """Distance of a point to a segment: clamp its projection (plane geometry), smallest over all lines of the program."""
    rng = np.random.default_rng(5)
    points = np.round(np.cumsum(rng.normal(0, 4, (40, 2)), axis=0) + 80, 3)
    points = np.clip(points, 1, 170)
    text = "G21 G90 F6000\n" + "\n".join(f"G1 X{x:.3f} Y{y:.3f}" for x, y in points)
    ready = prepare(following(text))
    trace = simulate_prepared(ready).trace
    shift = rng.normal(0, 20e-6, (len(trace.t_s), 2))
    off = moved(trace, shift)
    found = path_error(off, ready.plan)
    corner = np.concatenate([[[0.0, 0.0]], points / 1e3])
    a, run_ = corner[:-1], np.diff(corner, axis=0)
    gap = off.tool[:, None, :2] - a
    share = np.clip(np.sum(gap * run_, axis=2) / np.sum(run_**2, axis=1), 0, 1)
    nearest = np.hypot(*np.moveaxis(gap - share[:, :, None] * run_, 2, 0)).min(axis=1)
    # A far-off part of the path may pass closer by; such places are few. Once the motion is over the end is meant.
    moving = trace.t_s < ready.plan.move_s
    same = np.abs(found.across_m - nearest)[moving] < 1e-9
    assert same.mean() > 0.97
    assert np.all(found.across_m >= nearest - 1e-9)
    arrived = trace.t_s > ready.plan.move_s + 0.05
    assert found.across_m[arrived] == pytest.approx(np.hypot(*shift[arrived].T), abs=1e-9)


@pytest.mark.parametrize("pattern", ["zigzag", "square", "circle"])
def test_what_is_measured_on_the_way_and_afterwards_is_the_same_to_the_bit(pattern):
    shaped = {f"motion.shaper.{a}.{k}": v for a in "xy" for k, v in (("kind", "zero-vibration"), ("frequency_hz", 60))}
    ready = prepare(shipped("desk-corexy", {"move.pattern": pattern} | shaped))
    outcome = simulate_prepared(ready)
    on_the_way, afterwards = outcome.analysis.path, path_error(outcome.trace, ready.plan)
    for name in ("across_m", "along_m", "foot_m", "direction", "asked_m"):
        assert np.array_equal(getattr(on_the_way, name), getattr(afterwards, name)), name
    for name in ("across_max_m", "across_rms_m", "along_max_m", "along_rms_m", "worst_s", "own_max_m", "delay_max_m"):
        assert getattr(on_the_way, name) == getattr(afterwards, name), name


def test_the_mean_of_squares_is_that_of_the_lines_between_the_rows():
    """A line from 0 to 1 over half the time, then 1: by rows however spaced, the trapezoids of the squares (by hand)."""
    t, v = np.array([0.0, 1.0, 2.0, 4.0]), np.array([[0.0], [0.5], [1.0], [1.0]])
    whole, parts = MeanSquare(1), MeanSquare(1)
    whole.add(t, v)
    for k in range(4):
        parts.add(t[k : k + 1], v[k : k + 1])
    assert whole.root() == pytest.approx([math.sqrt((0.125 + 0.625 + 2.0) / 4.0)])
    assert np.allclose(parts.root(), whole.root(), rtol=1e-15)
    assert MeanSquare(2).root().tolist() == [0.0, 0.0]
    moment = MeanSquare(1)
    moment.add(t[1:2], v[1:2])
    assert moment.root().tolist() == [0.5], "of one moment its own size"


def test_a_rounded_corner_is_as_far_off_as_its_tolerance():
    """A machine that hardly gives way: the arc passes a right corner at the tolerance t, t / sqrt 2 from either line."""
    changes = {
        "motors.part": "ideal", "frame.part": "rigid", "belts.ea_n": 1e6, "belts.pretension_n": 1000,
        "carriage.guide": "rigid", "gantry.guide": "rigid", "motion.acceleration_mm_s2": 50,
        "motion.corner_tolerance_mm": 0.05, "motion.corner_speed_step_mm_s": 0, "record.step_ms": 0.5,
    }  # fmt: skip
    outcome = simulate_prepared(prepare(shipped("desk-corexy", changes)))
    assert outcome.analysis.path.across_max_m == pytest.approx(50e-6 / math.sqrt(2), abs=0.5e-6)
    # The foot of the arc's middle lies as far before the corner that is asked for at that moment.
    assert outcome.analysis.path.along_max_m == pytest.approx(50e-6 / math.sqrt(2), abs=0.5e-6)


def test_the_stretch_length_does_not_matter(following):
    ready = prepare(following(rings(500, 2)))
    found = []
    for longest in (0.3, 4.0):

        class Cut:
            shaper_delay_s = ready.plan.shaper_delay_s
            duration_s, start = ready.plan.duration_s, ready.plan.start

            def stretches(self, _: float, longest: float = longest):
                return ready.plan.stretches(longest)

        meter = PathMeter(ready.plan, KeepAll())
        found.append(meter.error(run(ready.system, Cut(), keep=meter).off_path))
    assert found[0].across_max_m == pytest.approx(found[1].across_max_m, abs=2e-9)
    assert found[0].along_rms_m == pytest.approx(found[1].along_rms_m, rel=1e-3)


def test_corners_of_a_program_are_its_points(following):
    ready = prepare(following("G21 G90 F3000\nG1 X10\nG1 X10 Y20\nG0 X30\nG1 Y0\n"))
    points = np.concatenate([stretch.corners()[1][:, :2] for stretch in ready.plan.stretches()])
    for wanted in ((0, 0), (10, 0), (10, 20), (30, 20), (30, 0)):
        assert np.hypot(*(points - np.array(wanted) / 1e3).T).min() < 1e-12


def test_the_shape_kept_for_pictures_stays_true(following, monkeypatch):
    monkeypatch.setattr(metering, "MOST_CORNERS", 300)
    outcome = simulate_prepared(prepare(following(rings(900, 1))))
    shape = outcome.analysis.path.asked_m
    assert len(shape) <= 301
    for x, y in ((0, 0), (0.130, 0.090)):
        assert np.hypot(shape[:, 0] - x, shape[:, 1] - y).min() < 1e-9  # sharp corners stay
    on_ring = np.hypot(shape[:, 0] - 0.09, shape[:, 1] - 0.09)
    assert on_ring[np.abs(on_ring - 0.04) < 0.005].min() == pytest.approx(0.037, abs=1e-4)


def test_fewer_corners_keep_within_their_grain():
    t = np.linspace(0, math.pi, 401)
    circle = np.c_[np.cos(t), np.sin(t)]
    kept = _fewer(circle, 1e-3)
    assert len(kept) == 201
    assert len(_fewer(circle, 1e-6)) == 401
