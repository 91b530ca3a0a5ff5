"""A belt's way as an SVG path, and the same beside its toothed side."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from beltspring.sim.machine.machine import Belt
from beltspring.sim.machine.routing import Arc, BeltPath, Span

from .marks import number

#: From a place in the belt's plane, m, to the drawing.
To = Callable[[float, float], tuple[float, float]]


def belt_d(path: BeltPath, to: To, scale: float, aside_m: float = 0.0) -> str:
    """The d of a whole belt. to: with Y of the drawing downward.  scale: drawing units per metre.

    aside_m: how far to the left of the belt's order the line lies.
    """
    return pieces_d(path.pieces, to, scale, aside_m)


def pieces_d(pieces: Sequence[Span | Arc], to: To, scale: float, aside_m: float = 0.0, digits: int = 2) -> str:
    """The same of some pieces in order. digits: decimals of its places."""
    parts: list[str] = []

    def place(x: float, y: float) -> str:
        u, v = to(x, y)
        return f"{number(round(u, digits))} {number(round(v, digits))}"

    for piece in pieces:
        if isinstance(piece, Arc):
            radius = max(piece.radius_m - math.copysign(1.0, piece.sweep_rad) * aside_m, 1e-4)
            ends = (piece.start_rad, piece.start_rad + piece.sweep_rad)
            start, end = (
                place(piece.centre[0] + radius * math.cos(a), piece.centre[1] + radius * math.sin(a)) for a in ends
            )
            large, sweep = int(abs(piece.sweep_rad) > math.pi), int(piece.sweep_rad < 0)
            r = number(radius * scale)
            parts += [] if parts else [f"M{start}"]
            parts.append(f"A{r} {r} 0 {large} {sweep} {end}")
            continue
        dx, dy = (float(v) for v in piece.direction)
        shift = (-dy * aside_m, dx * aside_m)
        parts += [] if parts else [f"M{place(piece.start[0] + shift[0], piece.start[1] + shift[1])}"]
        parts.append(f"L{place(piece.end[0] + shift[0], piece.end[1] + shift[1])}")
    return "".join(parts)


def toothed_aside(belt: Belt, by_m: float) -> float:
    """How far to the left of its order a line beside the toothed side lies, m."""
    return by_m if belt.teeth_on == "left" else -by_m
