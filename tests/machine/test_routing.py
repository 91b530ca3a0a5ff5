"""Routing: the belt's way is whole and tangent, touches each wheel on the right side, and refuses what cannot be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.errors import MachineError
from beltspring.sim.machine.machine import Machine, Wrap
from beltspring.sim.machine.routing import Arc, Span, belt_path, crossings, order_length_m, runs_of, teeth_in_mesh
from beltspring.sim.model.build import build_model
from hypothesis import given, settings

from tests.properties.machines import places, scenarios
from tests.support import ALL_LAYOUTS, bare, machine_of, workshop
from tests.tries import examples


def turned(v: np.ndarray) -> np.ndarray:
    """A plane vector turned left by a quarter."""
    return np.array([-v[1], v[0]])


@given(scenarios(), places)
@settings(max_examples=examples(40))
def test_spans_and_arcs_join_and_are_tangent(scenario, share):
    machine = machine_of(scenario)
    (x0, x1), (y0, y1), _ = machine.reach
    tool = np.array([x0 + share[0] * (x1 - x0), y0 + share[1] * (y1 - y0), machine.middle[2]])
    offsets = machine.offsets(tool)
    for belt in machine.belts:
        path = belt_path(machine, belt, offsets)
        assert isinstance(path.pieces[0], Span)
        assert isinstance(path.pieces[-1], Span)
        for end, clamp in ((path.pieces[0].start, belt.start), (path.pieces[-1].end, belt.end)):
            assert end == pytest.approx(belt.axes[:2] @ (np.array(clamp.point) + offsets[clamp.body]), abs=1e-12)
        for before, arc, after in zip(path.pieces[::2], path.pieces[1::2], path.pieces[2::2], strict=False):
            assert isinstance(before, Span)
            assert isinstance(arc, Arc)
            assert isinstance(after, Span)
            wheel = machine.wheels[arc.wheel]
            assert arc.centre == pytest.approx(
                belt.axes[:2] @ (np.array(wheel.centre) + offsets[wheel.body]), abs=1e-12
            )
            sense = np.sign(arc.sweep_rad)
            for point, angle, along in (
                (before.end, arc.start_rad, before.direction),
                (after.start, arc.start_rad + arc.sweep_rad, after.direction),
            ):
                spoke = np.array([np.cos(angle), np.sin(angle)])
                assert point == pytest.approx(arc.centre + wheel.radius_m * spoke, abs=1e-9)
                # The belt leaves along the rim's own way: no kink.
                assert along == pytest.approx(sense * turned(spoke), abs=1e-9)
            # A pulley grips on its toothed side, whatever else the belt passes.
            if wheel.kind != "smooth idler":
                assert arc.touches_teeth
        assert path.length_m == pytest.approx(sum(p.length_m for p in path.pieces), abs=1e-12)


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_each_run_is_named_and_gripped_by_its_pulley(layout):
    machine = machine_of(workshop(layout))
    for belt in machine.belts:
        path, runs = belt_path(machine, belt), runs_of(machine, belt)
        pulleys = [w for w in belt.wraps if machine.wheels[w.wheel].drive is not None]
        assert len(runs) == len(pulleys) + 1
        assert (runs[0].name, runs[-1].name) == (belt.start.name, belt.end.name)
        assert tuple(run.name for run in runs) == path.runs
        grips = [p for p in path.pieces if isinstance(p, Arc) and p.run == -1]
        assert [g.wheel for g in grips] == [w.wheel for w in pulleys]
        for grip in grips:
            # ISO 5295 rates a pulley in full from six teeth in mesh on (by its abstract).
            teeth = machine.wheels[grip.wheel].teeth
            assert teeth is not None
            assert teeth_in_mesh(grip, teeth) >= 6


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_length_to_order_is_whole_teeth_and_enough(layout):
    machine = machine_of(workshop(layout))
    for belt in machine.belts:
        order = order_length_m(machine, belt)
        way = belt_path(machine, belt).length_m
        teeth = order / belt.spec.pitch_m
        assert teeth == pytest.approx(round(teeth), abs=1e-9)
        assert way + 0.060 <= order + 1e-12
        assert order < way + 0.060 + belt.spec.pitch_m


def test_the_belts_of_a_corexy_cross_seen_from_above_and_lie_on_two_levels():
    machine = machine_of(workshop("corexy"))
    a, b = machine.belts
    assert abs(a.start.point[2] - b.start.point[2]) >= a.spec.width_m
    for x in (0.0, 0.09, 0.18):
        points = crossings(machine, a, b, machine.offsets(np.array([x, 0.09, 0.09])))
        assert points
        for p in points:
            assert all(_on(machine, belt, p, x) < 1e-9 for belt in (a, b))


def _on(machine: Machine, belt, point: np.ndarray, x: float) -> float:
    """Distance of a point from the nearest span of a belt, m."""
    spans = [
        p for p in belt_path(machine, belt, machine.offsets(np.array([x, 0.09, 0.09]))).pieces if isinstance(p, Span)
    ]
    far = []
    for s in spans:
        t = np.clip((point - s.start) @ s.direction, 0, s.length_m)
        far.append(float(np.linalg.norm(s.start + t * s.direction - point)))
    return min(far)


def test_both_belts_of_a_corexy_have_the_same_length():
    machine = machine_of(workshop("corexy"))
    a, b = (belt_path(machine, belt).length_m for belt in machine.belts)
    assert a == pytest.approx(b, abs=1e-12)


def test_wheels_too_close_are_refused_with_the_distance():
    machine = machine_of(bare("moving-bed"))
    name = machine.belts[0].wraps[1].wheel
    near = machine.wheels[machine.belts[0].wraps[0].wheel].centre
    wheel = replace(machine.wheels[name], centre=(near[0] + 0.005, near[1], near[2]))
    wraps = (machine.belts[0].wraps[0], Wrap(name, -machine.belts[0].wraps[0].sense))
    broken = replace(machine, wheels=machine.wheels | {name: wheel})
    # Crossing between two wheels of 20 teeth, 2 mm each, takes more than the sum of their radii: 40 / pi mm.
    said = r"belt x: .* stand 5\.0 mm apart, too close .* \(needs more than 12\.7 mm\)"
    with pytest.raises(MachineError, match=said):
        belt_path(broken, replace(broken.belts[0], wraps=wraps))


def test_a_skewed_span_is_refused_with_its_belt_and_run():
    # A span that is not parallel to the travel changes its length as the carriage moves: no motor can follow that.
    machine = machine_of(bare("corexy"))
    name = machine.belts[0].wraps[0].wheel
    x, y, z = machine.wheels[name].centre
    skewed = replace(machine, wheels=machine.wheels | {name: replace(machine.wheels[name], centre=(x, y + 0.005, z))})
    with pytest.raises(MachineError, match=r"belt a \((left|right) run\).*parallel to the travel"):
        build_model(skewed)


def test_a_belt_that_does_not_hold_the_carriage_is_refused():
    # Both belts in X: nothing fixes Y. The rank test on the rows says so.
    machine = machine_of(bare("moving-bed"))
    x, y = machine.belts
    loose = replace(machine, belts=(x, replace(y, start=x.start, end=x.end, wraps=x.wraps)))
    with pytest.raises(MachineError, match="each of X and Y must be fixed by a belt"):
        build_model(loose)
