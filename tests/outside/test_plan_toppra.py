"""Durations of plans against a general time-optimal path library: toppra (PyPI), reachability analysis.

Pham & Pham, A New Approach to Time-Optimal Path Parameterization Based on Reachability Analysis, IEEE T-RO 34 (2018).
The library gets the path as exact curves, the speed limit as the limit of a coordinate that is the way itself, and the
limit on the whole acceleration vector as a polygon of 96 sides round the circle (0.05 % wider at its corners).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import toppra
from beltspring.sim.plan.build import build_plan
from beltspring.sim.scenario.motion import MotionLimits, MoveSpec
from toppra import algorithm, constraint
from toppra.interpolator import AbstractGeometricPath

toppra.setup_logging("ERROR")
REACH = ((0.0, 0.2), (0.0, 0.2), (0.0, 0.2))
SIDES = 96


class Curve(AbstractGeometricPath):
    """A plane or space curve by its length: three coordinates and the way itself. pieces: (length, point(s, order))."""

    def __init__(self, pieces: list[tuple[float, Callable[[np.ndarray, int], np.ndarray]]]) -> None:
        self.pieces = pieces
        self.ends = np.cumsum([length for length, _ in pieces])

    dof = 4

    @property
    def path_interval(self) -> np.ndarray:
        return np.array([0.0, self.ends[-1]])

    @property
    def waypoints(self) -> tuple[np.ndarray, np.ndarray]:
        ss = np.linspace(0, self.ends[-1], 50)
        return ss, self(ss)

    def __call__(self, path_positions: np.ndarray, order: int = 0) -> np.ndarray:
        scalar = np.ndim(path_positions) == 0
        ss = np.atleast_1d(np.asarray(path_positions, float))
        out = np.zeros((len(ss), 4))
        which = np.minimum(np.searchsorted(self.ends, ss, side="right"), len(self.pieces) - 1)
        for n, (length, point) in enumerate(self.pieces):
            mine = which == n
            out[mine, :3] = point(ss[mine] - (self.ends[n] - length), order)
        out[:, 3] = ss if order == 0 else (1.0 if order == 1 else 0.0)
        return out[0] if scalar else out


def line(start: tuple[float, float, float], end: tuple[float, float, float]) -> tuple[float, Callable]:
    a, b = np.array(start), np.array(end)
    length = float(np.linalg.norm(b - a))
    u = (b - a) / length

    def point(s: np.ndarray, order: int) -> np.ndarray:
        if order == 0:
            return a + np.outer(s, u)
        return np.tile(u, (len(s), 1)) * (1.0 if order == 1 else 0.0)

    return length, point


def helix(
    centre: tuple[float, float, float], radius: float, from_rad: float, turn_rad: float, rise: float = 0.0
) -> tuple[float, Callable]:
    length = math.hypot(radius * turn_rad, rise)
    k = turn_rad / length

    def point(s: np.ndarray, order: int) -> np.ndarray:
        a = from_rad + k * s + order * math.pi / 2
        z = [rise * s / length, np.full_like(s, rise / length), np.zeros_like(s)][order]
        out = np.column_stack([radius * np.cos(a) * k**order, radius * np.sin(a) * k**order, z])
        return out + (np.array(centre) if order == 0 else 0.0)

    return length, point


def optimum(curve: Curve, speed: float, acceleration: float, grid: int = 4000) -> float:
    """Duration of the library's time-optimal motion from rest to rest."""
    angles = 2 * math.pi * (np.arange(SIDES) + 0.5) / SIDES
    g = np.full(SIDES, acceleration)

    def sides(q: np.ndarray) -> np.ndarray:
        """The acceleration lies in the plane of tangent and curvature: one row for each side of the polygon there."""
        along, across = curve(q[3], 1)[:3], curve(q[3], 2)[:3]
        size = np.linalg.norm(across)
        across = across / size if size > 0.0 else np.cross(along, [0.0, 0.0, 1.0])
        f = np.zeros((SIDES, 4))
        f[:, :3] = np.outer(np.cos(angles), along) + np.outer(np.sin(angles), across)
        return f

    limits = [
        constraint.JointVelocityConstraint(np.array([[-1e3, 1e3]] * 3 + [[-speed, speed]])),
        constraint.SecondOrderConstraint(
            inv_dyn=lambda q, qd, qdd: qdd, constraint_F=sides, constraint_g=lambda q: g, dof=4,
            discretization_scheme=constraint.DiscretizationType.Collocation,
        ),
    ]  # fmt: skip
    points = np.unique(np.concatenate([np.linspace(0.0, curve.ends[-1], grid), curve.ends]))
    points = points[np.append(True, np.diff(points) > 1e-9)]
    made = algorithm.TOPPRA(limits, curve, gridpoints=points, parametrizer="ParametrizeConstAccel")
    trajectory = made.compute_trajectory(0.0, 0.0)
    assert trajectory is not None
    return float(trajectory.duration)


CASES = {
    "slanted line": (
        "G1 F9000 X40 Y10\nG4 P1\nG1 X100 Y55",
        [line((0.04, 0.01, 0.0), (0.1, 0.055, 0.0))],
    ),
    "circle limited by its radius": (
        "G1 F9000 X60 Y50\nG4 P1\nG3 X60 Y50 I-4 J0",
        [helix((0.056, 0.05, 0.0), 0.004, 0.0, 2 * math.pi)],
    ),
    "circle limited by speed": (
        "G1 F9000 X80 Y50\nG4 P1\nG3 X80 Y50 I-20 J0",
        [helix((0.06, 0.05, 0.0), 0.02, 0.0, 2 * math.pi)],
    ),
    "line, tight arc, line": (
        "G1 F9000 X20 Y20\nG4 P1\nG1 X50\nG3 X53 Y23 J3\nG1 Y60",
        [
            line((0.02, 0.02, 0.0), (0.05, 0.02, 0.0)),
            helix((0.05, 0.023, 0.0), 0.003, -math.pi / 2, math.pi / 2),
            line((0.053, 0.023, 0.0), (0.053, 0.06, 0.0)),
        ],
    ),
    "S of two arcs": (
        "G1 F9000 X20 Y20\nG4 P1\nG1 X30\nG3 X36 Y26 J6\nG2 X42 Y32 I6\nG1 X55",
        [
            line((0.02, 0.02, 0.0), (0.03, 0.02, 0.0)),
            helix((0.03, 0.026, 0.0), 0.006, -math.pi / 2, math.pi / 2),
            helix((0.042, 0.026, 0.0), 0.006, math.pi, -math.pi / 2),
            line((0.042, 0.032, 0.0), (0.055, 0.032, 0.0)),
        ],
    ),
    "helix": (
        "G1 F9000 X60 Y50\nG4 P1\nG3 X60 Y50 Z12 I-5 J0",
        [helix((0.055, 0.05, 0.0), 0.005, 0.0, 2 * math.pi, 0.012)],
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_duration_is_within_one_percent_of_the_optimum(name: str, tmp_path: Path) -> None:
    program, curve = CASES[name]
    path = tmp_path / "path.gcode"
    path.write_text(program + "\n")
    plan = build_plan(MotionLimits(0.15, 4.0, 0.0, 0.0, 0.0), {}, MoveSpec(None, path, 0.06, 1, "x", 0.0), REACH)
    lead_in = next(leg for leg in plan.legs if leg.source_line == 1)
    ours = plan.move_s - lead_in.end_s - 1.0  # the dwell of one second parts the approach from the path
    best = optimum(Curve(curve), 0.15, 4.0)
    assert ours >= best * (1.0 - 2e-3)  # not faster than the optimum: the polygon and the grid are this coarse
    assert ours <= best * 1.01
