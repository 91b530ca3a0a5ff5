"""A machine in pieces that swing: each piece a convex prism on a body, bodies turned truly, columns bent between two rings.

Everything is in metres and radians and knows no pixels; `side_views` draws it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from beltspring.sim.machine.machine import Machine, Outline, Solid
from numpy.typing import NDArray

Array = NDArray[np.float64]

RAIL_M = 0.010  # height of what is drawn as a line only
FOOT_M = 0.024
COLUMN_POINTS = 13


@dataclass(frozen=True)
class Piece:
    """Points (n, 3), m, whose hull is the piece. kind, body: as in `Outline`.  top: the body its upper end moves with, of
    a column, and its second end, of an arm; "" of all else."""

    kind: str
    body: str
    points: Array
    top: str = ""


class Swing:
    """A machine with its tool at a place (3,), m, and how its bodies move. twist: by body (6,), translation of the mass
    centre and rotation, per unit of amplitude."""

    def __init__(self, machine: Machine, tool: Array, twist: Mapping[str, Array]) -> None:
        self.machine = machine
        self.offsets = machine.offsets(tool)
        self.twist = twist
        self.centres = {b.name: np.asarray(b.centre, float) + self.offsets[b.name] for b in machine.bodies}
        self._at: tuple[float, dict[str, tuple[Array, Array]], dict[int, Array]] = (0.0, {}, {})
        self.pieces = [Piece(p.kind, p.body, p.points + self._offset(p), p.top) for p in _pieces(machine)]

    def _offset(self, piece: Piece) -> Array:
        """How far a piece stands from where it is at the reference pose; each end of an arm goes with its own body."""
        if piece.kind == "arm":
            return np.array([self.offsets[piece.body], self.offsets[piece.top]])
        return np.zeros(3) if piece.top else self.offsets[piece.body]

    def moved(self, body: str, points: Array, amplitude: float) -> Array:
        """Points (n, 3) of a body at an amplitude: a true screw motion, so that no part grows however far it turns."""
        turn, shift = self._screw(body, amplitude)
        return np.asarray((points - self.centres[body]) @ turn.T + self.centres[body] + shift)

    def _screw(self, body: str, amplitude: float) -> tuple[Array, Array]:
        """Rotation and shift of a body; kept for one amplitude, as every view asks for the same."""
        if self._at[0] != amplitude:
            self._at = (amplitude, {}, {})
        kept = self._at[1]
        if body not in kept:
            kept[body] = screw(np.asarray(self.twist[body]) * amplitude)
        return kept[body]

    def placed(self, piece: Piece, amplitude: float) -> Array:
        """A piece's points at an amplitude; of a column (COLUMN_POINTS, 3), its middle line from foot to head."""
        if self._at[0] != amplitude:
            self._at = (amplitude, {}, {})
        kept = self._at[2]
        if id(piece) not in kept:
            bent = bool(piece.top)
            kept[id(piece)] = self._bent(piece, amplitude) if bent else self.moved(piece.body, piece.points, amplitude)
        return kept[id(piece)]

    def _bent(self, piece: Piece, amplitude: float) -> Array:
        """A column as a cubic between the slopes of the ring it stands in and the ring it carries."""
        foot, head = piece.points[0], piece.points[1]
        length = float(np.linalg.norm(head - foot))
        up = (head - foot) / length
        at, to = self.moved(piece.body, foot[None], amplitude)[0], self.moved(piece.top, head[None], amplitude)[0]
        lean = [self._screw(b, amplitude)[0] @ up * length for b in (piece.body, piece.top)]
        s = np.linspace(0.0, 1.0, COLUMN_POINTS)[:, None]
        return np.asarray(
            (2 * s**3 - 3 * s**2 + 1) * at + (s**3 - 2 * s**2 + s) * lean[0]
            + (3 * s**2 - 2 * s**3) * to + (s**3 - s**2) * lean[1]
        )  # fmt: skip

    def speed(self, body: str, points: Array) -> Array:
        """How far points (n, 3) of a body move per unit of amplitude, (n, 3), for small swings."""
        twist = np.asarray(self.twist[body])
        return np.asarray(twist[:3] + np.cross(twist[3:], points - self.centres[body]))

    def farthest_m(self) -> float:
        """The largest way of any point per unit of amplitude, m."""
        return max(
            (float(np.linalg.norm(self.speed(p.body, p.points), axis=1).max()) for p in self.pieces), default=0.0
        )

    def turning(self) -> float:
        """The largest turn of any body per unit of amplitude, rad."""
        return max((float(np.linalg.norm(t[3:])) for t in self.twist.values()), default=0.0)

    def pivot(self, body: str, plane: tuple[int, int]) -> Array | None:
        """Where a body turns about as a plane (two axes) shows it, (2,) m; None where it does not turn in that plane."""
        a, b = plane
        twist, centre = np.asarray(self.twist[body]), self.centres[body]
        normal = 3 - a - b
        # (X, Z) seen from the front is left-handed about Y: there a positive turn goes clockwise.
        turn = float(twist[3 + normal]) * (-1.0 if plane == (0, 2) else 1.0)
        if abs(turn) < 1e-9:
            return None
        return np.array([centre[a] - twist[b] / turn, centre[b] + twist[a] / turn])


def screw(twist: Array) -> tuple[Array, Array]:
    """(rotation (3, 3), shift (3,)) of the rigid motion whose velocity is the twist (6,) for a unit of time: the
    exponential of a screw (e.g. Murray, Li & Sastry, Robotic Manipulation, 1994, ch. 2; from memory)."""
    w, u = twist[3:], twist[:3]
    angle = float(np.linalg.norm(w))
    k = np.array([[0.0, -w[2], w[1]], [w[2], 0.0, -w[0]], [-w[1], w[0], 0.0]])
    if angle < 1e-6:
        return np.eye(3) + k, np.asarray(u + 0.5 * k @ u)
    sine, rest = math.sin(angle) / angle, (1 - math.cos(angle)) / angle**2
    turn = np.eye(3) + sine * k + rest * (k @ k)
    shift = (np.eye(3) + rest * k + (1 - sine) / angle**2 * (k @ k)) @ u
    return turn, np.asarray(shift)


def _pieces(machine: Machine) -> list[Piece]:
    """What the drawing shows, at the reference pose, from the ground up."""
    out: list[Piece] = []
    ground = machine.bodies[0].name
    top = next((b.name for b in machine.bodies if b.sway), ground)
    for at in machine.feet_points:
        out.append(Piece("foot", ground, _box(at, FOOT_M / 2, at[2], at[2] + FOOT_M)))
    solids = [o for o in machine.outlines if isinstance(o, Solid)]
    rings = [s for s in solids if s.kind == "frame"]
    if not any(s.body == ground for s in rings) and len(machine.feet_points) > 2:
        feet = np.array(machine.feet_points)
        wide = rings[0].width_m if rings else RAIL_M
        low = float(feet[:, 2].min()) + FOOT_M
        out += _ring("frame", ground, around(feet[:, :2]), wide, (low, low + wide))
    if not any(s.kind == "column" for s in solids) and rings and top != ground:
        feet = np.array(machine.feet_points)
        for at in feet:
            # Columns stand inside the corners of their rings.
            inwards = (feet.mean(axis=0) - at)[:2]
            x, y = at[:2] + np.sign(inwards) * rings[0].width_m / 2
            ends = np.array([[x, y, at[2] + FOOT_M], [x, y, rings[0].z_m[1]]])
            out.append(Piece("column", ground, ends, top))
    for outline in machine.outlines:
        out += _of_outline(machine, outline, ground, top)
    for arm in machine.arms:
        for one in arm.single:
            (body, start), (top, end) = one.ends
            out.append(Piece("arm", body, np.array([start, end]), top))
    x, y, z = machine.tool_point
    lowest = min((s.z_m[0] for s in solids if s.kind == "carriage"), default=z + 0.01)
    tip = np.array([[x, y, z - 0.004], *_box((x, y, z), 0.006, max(lowest, z + 0.006), max(lowest, z + 0.006))])
    out.append(Piece("tool", machine.tool_body, tip))
    return out


def _of_outline(machine: Machine, outline: Outline, ground: str, top: str) -> list[Piece]:
    points = np.array(outline.points, float)
    if isinstance(outline, Solid):
        low, high = outline.z_m
    else:
        riders = [
            b.place.point[2] for b in machine.bodies if b.parent == outline.body and b.place is not None and b.driven
        ]
        if not riders:
            return []
        low, high = riders[0] - RAIL_M / 2, riders[0] + RAIL_M / 2
    if outline.kind == "column" and top != ground:
        x, y = points.mean(axis=0)
        return [Piece("column", ground, np.array([[x, y, low], [x, y, high]]), top)]
    if outline.kind == "frame":
        return _ring("frame", outline.body, points, outline.width_m, (low, high))
    if len(points) == 2:
        along = points[1] - points[0]
        side = np.array([-along[1], along[0]]) / max(1e-9, float(np.hypot(*along))) * max(outline.width_m, 0.004) / 2
        points = np.array([points[0] + side, points[1] + side, points[1] - side, points[0] - side])
    both = [np.column_stack([points, np.full(len(points), z)]) for z in (low, high)]
    return [Piece(outline.kind, outline.body, np.vstack(both))]


def _box(at: tuple[float, float, float], half: float, low: float, high: float) -> Array:
    x, y, _ = at
    return np.array(
        [
            [x + a, y + b, z]
            for z in (low, high)
            for a, b in ((-half, -half), (half, -half), (half, half), (-half, half))
        ]
    )


def around(points: Array) -> Array:
    """Points (n, 2) in the order of their direction from their middle."""
    away = points - points.mean(axis=0)
    return np.asarray(points[np.argsort(np.arctan2(away[:, 1], away[:, 0]))])


def _ring(kind: str, body: str, outline: Array, width: float, z: tuple[float, float]) -> list[Piece]:
    """A closed outline of profile as one prism a side: the ring is no convex shape, its sides are."""
    middle = outline.mean(axis=0)
    closed = np.vstack([outline, outline[:1]])
    out = []
    for a, b in itertools.pairwise(closed):
        along = (b - a) / max(1e-9, float(np.hypot(*(b - a))))
        inwards = np.array([-along[1], along[0]])
        if inwards @ (middle - a) < 0:
            inwards = -inwards
        flat = np.array([a, b, b + inwards * width, a + inwards * width])
        out.append(Piece(kind, body, np.vstack([np.column_stack([flat, np.full(4, h)]) for h in z])))
    return out


def hull(points: Array) -> Array:
    """Corners of the convex hull of points (n, 2), in order (Andrew's monotone chain)."""
    ordered = sorted(set(map(tuple, points.tolist())))
    if len(ordered) < 3:
        return np.array(ordered)

    def half(run: list[tuple[float, float]]) -> list[tuple[float, float]]:
        out: list[tuple[float, float]] = []
        for p in run:
            while len(out) > 1 and _cross(out[-2], out[-1], p) <= 0:
                out.pop()
            out.append(p)
        return out[:-1]

    return np.array(half(ordered) + half(ordered[::-1]))


def _cross(o: tuple[float, float], a: tuple[float, float], b: tuple[float, float]) -> float:
    return (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0])
