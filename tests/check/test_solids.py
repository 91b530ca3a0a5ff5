"""Solids near belts by plain geometry: where rods, arms, members and wheels stand, how far two are apart, and where."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.check import clearance
from beltspring.sim.check.clearance import in_reach, nearest_arms, overlap, poses
from beltspring.sim.check.solids import (
    Convex,
    apart,
    arm_solids,
    box_gap,
    box_points,
    guide_solids,
    shape_solids,
    span_names,
    span_solids,
    wheel_solids,
)
from beltspring.sim.machine.build import build_machine
from beltspring.sim.machine.routing import Span, belt_path

from tests.support import shipped


def built(name, changes=None):
    return build_machine(shipped(name, changes))


def block(low, high, name="block"):
    return Convex(name, "shape", box_points(np.array(low, float), np.array(high, float)))


def test_rods_stand_in_pairs_about_their_bearings():
    """Rods of 8 mm under the desk machine's carriage, gantry and bed: the pair's middle passes through the bearings, and a
    rod is as long as it is free between its supports."""
    machine = built("desk-corexy")
    made = guide_solids(machine)
    for name in ("carriage", "gantry", "bed"):
        body = machine.body(name)
        place, slide = body.place, body.slide
        mine = [(parent, s) for parent, s in made if s.name == f"a rod of the {name}'s guide"]
        assert [parent for parent, _ in mine] == [body.parent] * 2
        low, high = (np.array([s.bounds[k] for _, s in mine]) for k in (0, 1))
        size = high - low
        level = [a for a in range(3) if a not in (slide, place.across)]
        assert size[:, slide] == pytest.approx([place.span_m] * 2)
        assert size[:, place.across] == pytest.approx([0.008] * 2)
        assert low[:, slide] == pytest.approx([place.point[slide] - place.before_m] * 2)
        middles = (low + high) / 2
        assert abs(middles[1] - middles[0])[place.across] == pytest.approx(place.apart_m)
        assert middles.mean(axis=0)[place.across] == pytest.approx(place.point[place.across])
        assert middles[:, level] == pytest.approx(np.array([np.array(place.point)[level]] * 2))


def test_a_single_rail_lies_in_the_middle():
    machine = built("desk-corexy", {"carriage.guide": "rail-9"})
    (rail,) = [s for _, s in guide_solids(machine) if s.name == "a rail of the carriage's guide"]
    place = machine.body("carriage").place
    assert (rail.bounds[0] + rail.bounds[1])[1] / 2 == pytest.approx(place.point[1])


def test_arms_are_bars_between_their_joints():
    """Arms of 215 mm, two of a pair side by side: seen along itself each is a square of 12 mm about the line of its joints."""
    machine = built("small-delta")
    tool = machine.middle + np.array([0.0, 0.0, 0.04])
    made = arm_solids(machine, machine.offsets(tool))
    assert len(made) == 6
    offsets = machine.offsets(tool)
    for k, pair in enumerate(machine.arms):
        (a_body, a), (b_body, b) = pair.ends
        line = (np.array(b) + offsets[b_body]) - (np.array(a) + offsets[a_body])
        assert np.linalg.norm(line) == pytest.approx(0.215)
        line /= np.linalg.norm(line)
        middles = []
        for solid in made[2 * k : 2 * k + 2]:
            along = solid.points @ line
            assert np.ptp(along) == pytest.approx(0.215)
            beside = solid.points - np.outer(along, line)
            assert np.linalg.norm(beside - beside.mean(axis=0), axis=1) == pytest.approx(0.006 * math.sqrt(2))
            middles.append(solid.points.mean(axis=0))
        assert np.linalg.norm(middles[1] - middles[0]) == pytest.approx(pair.apart_m)
        between = (np.array(a) + offsets[a_body] + np.array(b) + offsets[b_body]) / 2
        assert np.mean(middles, axis=0) == pytest.approx(between)


def test_members_of_a_triangle_run_from_column_to_column():
    machine = built("small-delta")
    (frame,) = [p for p in machine.solids if p.kind == "frame" and p.body == "frame"]
    made = [s for _, s in shape_solids(machine) if s.name.endswith("member of the frame")]
    assert [s.name.split()[0] for s in made] == ["left", "front", "right"]
    corners = np.array(frame.points)
    for solid, a, b in zip(made, corners, np.roll(corners, -1, axis=0), strict=True):
        flat = solid.points[:4, :2]
        assert flat.mean(axis=0) == pytest.approx((a + b) / 2)
        x, y = flat.T
        area = 0.5 * abs(x @ np.roll(y, -1) - y @ np.roll(x, -1))
        assert area == pytest.approx(frame.width_m * math.dist(a, b))
        along = (b - a) / math.dist(a, b)
        assert np.ptp(flat @ along) == pytest.approx(math.dist(a, b))
        assert tuple(np.array([solid.points[:, 2].min(), solid.points[:, 2].max()])) == pytest.approx(frame.z_m)


def test_members_of_a_rectangle_lie_along_its_inside():
    machine = built("desk-corexy")
    (frame,) = [p for p in machine.solids if p.kind == "frame" and p.body == "frame"]
    made = {s.name.split()[0]: s for _, s in shape_solids(machine) if s.name.endswith("member of the frame")}
    (x0, y0), (x1, y1) = np.min(frame.points, axis=0), np.max(frame.points, axis=0)
    w = frame.width_m
    seen = {name: (*s.bounds[0][:2], *s.bounds[1][:2]) for name, s in made.items()}
    assert seen["front"] == pytest.approx((x0, y0, x1, y0 + w))
    assert seen["rear"] == pytest.approx((x0, y1 - w, x1, y1))
    assert seen["left"] == pytest.approx((x0, y0, x0 + w, y1))
    assert seen["right"] == pytest.approx((x1 - w, y0, x1, y1))


@pytest.mark.parametrize("name", ["desk-corexy", "small-delta"])
def test_a_wheel_is_as_wide_as_its_flanges_and_never_thinner_than_its_circle(name):
    """A round disc about the wheel's axis, which is upright or lies across a column: 48 corners outside of the circle, by
    1 / cos(pi / 48) - 1 = 0.21 % at most. Its belt stands half its thickness beyond the pitch line at least."""
    flanged = built(name)
    bare = {k: replace(w, flange_radius_m=0.0) for k, w in flanged.wheels.items()}
    for machine in (flanged, replace(flanged, wheels=bare)):
        hold_wheels(machine)


def hold_wheels(machine):
    for solid in wheel_solids(machine):
        wheel = machine.wheels[solid.name]
        belt = next(b for b in machine.belts if any(w.wheel == wheel.name for w in b.wraps))
        axis = np.cross(*(np.array(v) for v in belt.plane))
        off = solid.points - np.array(wheel.centre)
        wide = machine.design.idlers.width_m
        assert np.ptp(off @ axis) > wide
        assert (off @ axis).mean() == pytest.approx(0.0, abs=1e-12)
        radial = np.linalg.norm(off - np.outer(off @ axis, axis), axis=1)
        circle = max(wheel.flange_radius_m, wheel.radius_m + belt.spec.height_m / 2)
        assert radial.min() >= circle
        assert radial.max() <= circle * 1.0022
        if abs(axis[2]) == 1.0:
            assert solid.disc == pytest.approx((*wheel.centre[:2], circle))
        else:
            assert solid.disc is None


def test_a_span_is_called_by_what_it_runs_between():
    belt = built("desk-corexy").belts[0]
    assert span_names(belt)[0] == "belt a from left clamp to gantry a near"
    assert span_names(belt)[-1] == "belt a from gantry a far to right clamp"


@pytest.mark.parametrize("name", ["desk-corexy", "small-delta"])
def test_a_span_is_as_thick_as_its_belt_and_its_teeth_look_to_their_own_side(name):
    """Teeth stand off one side of the pitch line, the back off the other, together the belt's thickness; on edge it is as
    high as the belt is wide."""
    machine = built(name)
    offsets = machine.offsets(machine.middle)
    sides = set()
    for belt in machine.belts:
        spec, axes = belt.spec, belt.axes
        spans = [p for p in belt_path(machine, belt, offsets).pieces if isinstance(p, Span)]
        for solid, span in zip(span_solids(machine, belt, offsets), spans, strict=True):
            inside = solid.points @ axes.T
            along = span.end - span.start
            left = np.array([-along[1], along[0]]) / np.linalg.norm(along)
            off = (inside[:, :2] - span.start) @ left
            teeth, back = (
                spec.pitch_line_m + spec.tooth_height_m,
                spec.height_m - spec.tooth_height_m - spec.pitch_line_m,
            )
            low, high = (-back, teeth) if belt.teeth_on == "left" else (-teeth, back)
            assert (off.min(), off.max()) == pytest.approx((low, high), abs=1e-12)
            assert np.ptp(inside[:, 2]) == pytest.approx(spec.width_m)
            sides.add(belt.teeth_on)
    assert sides == ({"left", "right"} if name == "desk-corexy" else {"right"})


def test_where_two_solids_are_nearest_is_half_way_between_them():
    """Boxes and a square standing on its corner, by hand, either way round."""
    low, high = block((0, 0, 0), (1, 1, 1)), block((3, 0.5, -2), (4, 4, 0.2))
    for a, b in ((low, high), (high, low)):
        d, point = apart(a, b)
        assert d == pytest.approx(2.0)
        assert point == pytest.approx((2.0, 0.75, 0.1))
        assert box_gap(a.bounds, b.bounds) == pytest.approx(2.0)
    corner = np.array([(2, 0.5), (3, -0.5), (4, 0.5), (3, 1.5)])
    turned = Convex("turned", "shape", np.array([(*xy, z) for z in (0.25, 0.75) for xy in corner]))
    assert not turned.is_box
    d, point = apart(low, turned)
    assert d == pytest.approx(1.0)
    assert point[:2] == pytest.approx((1.5, 0.5))
    assert 0.25 <= point[2] <= 0.75


def test_how_far_one_lies_in_another_is_told_to_a_micrometre():
    """Heights of 6 mm that share 1.5 mm: upward 1.5, downward 10.5 mm to go; the same where one is turned."""
    low = box_points(np.zeros(3), np.array([0.02, 0.02, 0.006]))
    turn = np.array([[math.cos(0.4), -math.sin(0.4), 0], [math.sin(0.4), math.cos(0.4), 0], [0, 0, 1]])
    for lifted in (low + np.array([0.005, 0.005, 0.0045]), low @ turn.T + np.array([0.005, 0.0, 0.0045])):
        assert overlap(low, lifted) == pytest.approx(0.0015, abs=2e-6)
        assert overlap(lifted, low) == pytest.approx(0.0015, abs=2e-6)


def test_the_rim_of_a_round_reach_is_in_it_and_its_corners_are_not():
    machine = built("small-delta")
    z = machine.middle[2]
    assert all(in_reach(machine, np.array([*xy, z])) for _, xy in machine.edge())
    (x0, x1), (y0, y1), _ = machine.reach
    assert not any(in_reach(machine, np.array([x, y, z])) for x in (x0, x1) for y in (y0, y1))
    assert all(in_reach(machine, p) for p in poses(machine))
    (x, y, z), *_ = poses(built("desk-corexy"), (1, 1, 1))
    assert (x, y, z) == pytest.approx(tuple(built("desk-corexy").middle))


def test_a_leaning_arm_is_as_thick_as_an_upright_one():
    """Away from the middle arms lean out of their tower's plane; seen along itself each stays a square of 12 mm."""
    machine = built("small-delta")
    tool = machine.middle + np.array([0.05, -0.04, 0.0])
    for solid in arm_solids(machine, machine.offsets(tool)):
        line = solid.points[4:].mean(axis=0) - solid.points[:4].mean(axis=0)
        assert np.linalg.norm(line) == pytest.approx(0.215)
        line /= np.linalg.norm(line)
        beside = solid.points - np.outer(solid.points @ line, line)
        assert np.linalg.norm(beside - beside.mean(axis=0), axis=1) == pytest.approx(0.006 * math.sqrt(2))


def test_arms_of_two_pairs_meet_where_a_platform_is_too_small_for_them(monkeypatch):
    """Pairs 46 mm wide at 14 mm from the middle: the ends of neighbours would stand in one place at 23 mm / tan 60 = 13.3 mm.
    At 30 mm they are 28.9 mm apart."""
    monkeypatch.setattr(clearance, "GRID", (1, 1, 1))
    found = nearest_arms(built("small-delta", {"delta.effector_radius_mm": 14}))
    pairs = [frozenset((n.first.name, n.second.name)) for n in found]
    arms = [(n, p) for n, p in zip(found, pairs, strict=True) if all("arm of pair" in name for name in p)]
    assert len(arms) == 3
    assert all(n.distance_m < 1e-6 for n, _ in arms)
    assert len(pairs) == len(set(pairs))
    assert all(len(pair) == 2 for pair in pairs)
    assert [n.distance_m for n in found] == sorted(n.distance_m for n in found)
    apart_ones = nearest_arms(built("small-delta"))
    assert not [n for n in apart_ones if "arm of pair" in n.first.name and "arm of pair" in n.second.name]
