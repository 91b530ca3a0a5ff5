"""Panels and diagonals between the four corners of a frame's side, as elements of its beam frame. SI units.

A panel shears as a whole in its own plane, behind the screws along its edges; a diagonal is a bar along itself. They act on
the corners, never as a sum with the frame's sway: what the open sides beside them let go, they cannot hold.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import MachineError
from ..parts.design import DiagonalSpec, FrameSize, FrameSpec, PanelSpec

Array = NDArray[np.float64]

#: Corners of each face, by number (0 to 3 below: front left, front right, rear right, rear left; 4 to 7 above them), in the
#: order lower left, lower right, upper right, upper left as its width b runs; a flat face counts its depth as height.
FACES: dict[str, tuple[tuple[int, int, int, int], ...]] = {
    "sides": ((0, 3, 7, 4), (1, 2, 6, 5)),
    "rear": ((3, 2, 6, 7),),
    "front": ((0, 1, 5, 4),),
    "top": ((4, 5, 6, 7),),
    "bottom": ((0, 1, 2, 3),),
}


@dataclass(frozen=True)
class Face:
    """One face of the frame: numbers of its corners, their places (4, 3) m, its width b and height h, m."""

    corners: tuple[int, int, int, int]
    points: Array
    b_m: float
    h_m: float

    @property
    def diagonal_m(self) -> float:
        """From corner to corner, m."""
        return float(np.hypot(self.b_m, self.h_m))


def frame_corners(size: FrameSize) -> Array:
    """The eight corners of a frame of four columns, (8, 3) m, about the middle of its base."""
    w, d, h = size.width_m, size.depth_m, size.height_m
    ring = np.array([[-w, -d], [w, -d], [w, d], [-w, d]]) / 2
    return np.asarray(np.r_[np.c_[ring, np.zeros(4)], np.c_[ring, np.full(4, h)]])


def faces(place: str, size: FrameSize) -> list[Face]:
    """The faces of a place: both sides, else one."""
    found = []
    for corners in FACES[place]:
        points = frame_corners(size)[list(corners)]
        b, h = (float(np.linalg.norm(points[i] - points[0])) for i in (1, 3))
        found.append(Face(corners, points, b, h))
    return found


def screw_places(b_m: float, h_m: float, count: int) -> Array:
    """Where the screws of a panel b x h sit, (count, 2) m: one in each corner, the rest spaced evenly along the edges."""
    half = count // 2
    wide = min(max(round(half * b_m / (b_m + h_m)), 1), half - 1)
    tall = half - wide
    # An odd screw makes one gap more along a longer edge.
    gaps = [wide, tall, wide, tall]
    gaps[0 if b_m >= h_m else 1] += count % 2
    corners = np.array([[0.0, 0.0], [b_m, 0.0], [b_m, h_m], [0.0, h_m], [0.0, 0.0]])
    return np.array([corners[e] + i / n * (corners[e + 1] - corners[e]) for e, n in enumerate(gaps) for i in range(n)])


def panel_stiffness(panel: PanelSpec, b_m: float, h_m: float) -> float:
    """Force along b at the upper edge of a panel per metre it gives way, N/m: G t b / h in series with its screws.

    The panel turns as its screws' springs want it: k_s Sx Sy / ((Sx + Sy) h^2), Sx, Sy the sums of their squared distances
    from their centre along b and h (textbook statics).
    """
    sheet = panel.shear_modulus_pa * panel.thickness_m * b_m / h_m
    off = screw_places(b_m, h_m, panel.screws)
    sx, sy = ((off - off.mean(axis=0)) ** 2).sum(axis=0)
    screws = panel.screw_n_m * sx * sy / ((sx + sy) * h_m**2)
    return float(1 / (1 / sheet + 1 / screws))


def diagonal_stiffness(diagonal: DiagonalSpec, length_m: float) -> float:
    """Force along one diagonal per metre it gets longer, N/m: the bar and its two ends in series."""
    section = diagonal.section
    return 1 / (length_m / (section.elastic_modulus_pa * section.area_m2) + 2 / diagonal.end_n_m)


def shear_row(face: Face) -> Array:
    """Shear g of a face per displacement of its corners, (4, 3): (top - bottom along b) / h + (right - left along h) / b."""
    along, up = (face.points[i] - face.points[0] for i in (1, 3))
    along, up = along / face.b_m, up / face.h_m
    top, right = np.array([-0.5, -0.5, 0.5, 0.5]), np.array([-0.5, 0.5, 0.5, -0.5])
    return np.asarray(np.outer(top / face.h_m, along) + np.outer(right / face.b_m, up))


def add_panels(k: Array, spec: FrameSpec, size: FrameSize) -> None:
    """Add every panel and diagonal to the stiffness k (48, 48) of the eight corners of a frame of four columns.

    A panel stores k h^2 g^2 / 2. A bottom adds nothing here: the base is rigid.
    """
    for panel in spec.panels:
        for face in faces(panel.place, size):
            at = np.array([6 * corner + axis for corner in face.corners for axis in range(3)])
            block = np.zeros((12, 12))
            if isinstance(panel, PanelSpec):
                row = face.h_m * shear_row(face).ravel()
                block = panel_stiffness(panel, face.b_m, face.h_m) * np.outer(row, row)
            else:
                for a, b in ((0, 2), (1, 3))[: panel.count]:
                    row = np.zeros((4, 3))
                    row[b] = (face.points[b] - face.points[a]) / face.diagonal_m
                    row[a] = -row[b]
                    block += diagonal_stiffness(panel, face.diagonal_m) * np.outer(row.ravel(), row.ravel())
            k[np.ix_(at, at)] += block


def base_reach(depth_m: float, base_y: float, column_y: float) -> tuple[float, float]:
    """How far a base of a depth about `base_y` reaches behind and before two columns at `column_y`, m."""
    return base_y + depth_m / 2 - column_y, column_y - base_y + depth_m / 2


def struts(spec: FrameSpec, behind_m: float, before_m: float, height_m: float) -> Iterator[tuple[DiagonalSpec, Array]]:
    """Diagonals at the sides of two columns, one at each: (diagonal, foot to top (3,) m). The first goes to the rear end of
    the base, a second one to its front."""
    for panel in spec.panels:
        if isinstance(panel, DiagonalSpec) and panel.place == "sides":
            for y in (behind_m, -before_m)[: panel.count]:
                yield panel, np.array([0.0, -y, height_m])


def refuse_between_columns(spec: FrameSpec) -> None:
    """On two columns only diagonals at the sides have corners to hold on. Raises MachineError for anything else."""
    for panel in spec.panels:
        if panel.place == "bottom" or (panel.place == "sides" and isinstance(panel, DiagonalSpec)):
            continue
        why = (
            "two columns have no second pair behind them to screw a sheet to"
            if panel.place in ("sides", "top")
            else "the bed passes between the two columns"
        )
        raise MachineError(
            f'frame.panels.{panel.place}: {why}; brace them with frame.panels.sides = {{ diagonals = 1, part = "slot-2020" }}, '
            "a bar from each column's top down to the rear of the base, or leave it out",
            {f"frame.panels.{panel.place}.part": "none"},
        )
