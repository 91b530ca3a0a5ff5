"""A swinging machine: bodies keep their size however far they turn, columns end in their rings, pivots stand still."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim import build_machine, load, run
from beltspring.viz.draw.side_views import PLANES
from beltspring.viz.draw.swing import Swing, hull, screw
from scipy.linalg import expm
from scipy.spatial import ConvexHull


@pytest.fixture(scope="module")
def swings():
    report = run(load("desk-corexy"))
    return [Swing(report.machine, report.middle, way.twist) for way in report.ways]


@pytest.mark.parametrize("size", [1e-9, 1e-3, 0.4, 2.0])
def test_a_screw_is_the_matrix_exponential(size):
    """Against scipy.linalg.expm of the 4 x 4 twist matrix."""
    chance = np.random.default_rng(5)
    for _ in range(20):
        twist = chance.normal(size=6) * size
        w, u = twist[3:], twist[:3]
        matrix = np.zeros((4, 4))
        matrix[:3, :3] = [[0, -w[2], w[1]], [w[2], 0, -w[0]], [-w[1], w[0], 0]]
        matrix[:3, 3] = u
        full = expm(matrix)
        turn, shift = screw(twist)
        assert np.allclose(turn, full[:3, :3], atol=1e-12)
        assert np.allclose(shift, full[:3, 3], atol=1e-12)


@pytest.mark.parametrize("name", ["small-delta", "tall-delta"])
def test_arms_hang_between_their_bodies_wherever_the_tool_is(name):
    """Six arms of the file's length, about the tool as three pairs a third of a turn apart are: their middle is the tool's."""
    machine = build_machine(load(name))
    tool = np.array([0.03, -0.04, 0.05])
    still = {body.name: np.zeros(6) for body in machine.bodies}
    arms = [p for p in Swing(machine, tool, still).pieces if p.kind == "arm"]
    assert len(arms) == 6
    lengths = [np.linalg.norm(p.points[1] - p.points[0]) for p in arms]
    assert lengths == pytest.approx([machine.design.arms.length_m] * 6, abs=1e-9)
    low = [min(p.points.tolist(), key=lambda point: point[2]) for p in arms]
    assert np.mean(low, axis=0)[:2] == pytest.approx(tool[:2], abs=1e-9)


def test_no_part_grows(swings):
    for swing in swings:
        amplitude = 0.8 / max(swing.turning(), 1e-9)
        for piece in swing.pieces:
            if piece.top:
                continue
            before, after = piece.points, swing.placed(piece, amplitude)
            sizes = [np.linalg.norm(p - p[0], axis=1) for p in (before, after)]
            assert np.allclose(*sizes, rtol=1e-9, atol=1e-12)


def test_columns_end_in_their_rings(swings):
    for swing in swings:
        amplitude = 0.3 / max(swing.turning(), 1e-9)
        columns = [p for p in swing.pieces if p.kind == "column"]
        assert len(columns) == 4
        for piece in columns:
            line = swing.placed(piece, amplitude)
            assert np.allclose(line[0], swing.moved(piece.body, piece.points[:1], amplitude)[0])
            assert np.allclose(line[-1], swing.moved(piece.top, piece.points[1:], amplitude)[0])


@pytest.mark.parametrize("plane", PLANES.values(), ids=PLANES)
def test_a_pivot_stands_still(swings, plane):
    """A point of the body under the pivot does not move in that plane."""
    seen = 0
    for swing in swings:
        for body in ("carriage", "gantry", "frame"):
            found = swing.pivot(body, plane)
            if found is None or np.abs(found).max() > 50:
                continue
            point = swing.centres[body].copy()
            point[list(plane)] = found
            # Turns about the axes in the plane move it out of the plane only through its distance from the centre's level.
            way = swing.speed(body, point[None])[0][list(plane)]
            typical = np.linalg.norm(swing.twist[body][:3]) + np.linalg.norm(swing.twist[body][3:]) * 0.1
            assert np.linalg.norm(way) <= 1e-6 * typical + 1e-12
            seen += 1
    assert seen > 10


def test_hull_against_scipy():
    points = np.random.default_rng(3).normal(size=(60, 2))
    mine, theirs = hull(points), points[ConvexHull(points).vertices]
    assert {tuple(np.round(p, 12)) for p in mine} == {tuple(np.round(p, 12)) for p in theirs}
