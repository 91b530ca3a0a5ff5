"""A belt's way as an SVG path, and the same beside its toothed side."""

from __future__ import annotations

import math
from collections.abc import Callable

from beltspring.sim.machine.machine import Belt
from beltspring.sim.machine.routing import Arc, BeltPath

from .marks import number

#: From a place in the belt's plane, m, to the drawing.
To = Callable[[float, float], tuple[float, float]]


def belt_d(path: BeltPath, to: To, scale: float, aside_m: float = 0.0) -> str:
    """The d of a path. to: with Y of the drawing downward.  scale: drawing units per metre.

    aside_m: how far to the left of the belt's order the line lies.
    """
    parts = []
    for index, piece in enumerate(path.pieces):
        if isinstance(piece, Arc):
            radius = piece.radius_m - math.copysign(1.0, piece.sweep_rad) * aside_m
            radius = max(radius, 1e-4)
            end = piece.start_rad + piece.sweep_rad
            x, y = to(piece.centre[0] + radius * math.cos(end), piece.centre[1] + radius * math.sin(end))
            large, sweep = int(abs(piece.sweep_rad) > math.pi), int(piece.sweep_rad < 0)
            r = number(radius * scale)
            parts.append(f"A{r} {r} 0 {large} {sweep} {number(x)} {number(y)}")
            continue
        dx, dy = (float(v) for v in piece.direction)
        shift = (-dy * aside_m, dx * aside_m)
        if index == 0:
            x, y = to(piece.start[0] + shift[0], piece.start[1] + shift[1])
            parts.append(f"M{number(x)} {number(y)}")
        x, y = to(piece.end[0] + shift[0], piece.end[1] + shift[1])
        parts.append(f"L{number(x)} {number(y)}")
    return "".join(parts)


def toothed_aside(belt: Belt, by_m: float) -> float:
    """How far to the left of its order a line beside the toothed side lies, m."""
    return by_m if belt.teeth_on == "left" else -by_m
