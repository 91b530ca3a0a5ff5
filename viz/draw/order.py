"""What follows from a machine before it is drawn: order of things, size, what stands still, how far wheels have turned."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from beltspring.sim.machine.machine import Machine, Outline
from beltspring.sim.machine.routing import Arc, BeltPath
from numpy.typing import NDArray

Array = NDArray[np.float64]


def drawing_order(machine: Machine, shapes: list[Outline]) -> list[Outline | tuple[int, ...] | Literal["paths"]]:
    """Shapes by level; the paths right above the bed; belts (numbers) right above the bodies that carry their wheels.

    So a belt below the beam stays below it in the picture, yet no belt disappears under the bed it pulls. The carriage
    comes last, by another way.
    """
    bed_level = max((s.level for s in shapes if s.kind == "bed"), default=0)
    belts: dict[int, list[int]] = {}
    for k, belt in enumerate(machine.belts):
        bodies = {machine.wheels[w.wheel].body for w in belt.wraps} | {belt.start.body, belt.end.body}
        tall = ("carriage", "tool", "column")
        level = max((s.level for s in shapes if s.body in bodies and s.kind not in tall), default=bed_level)
        belts.setdefault(max(level, bed_level), []).append(k)
    order: list[Outline | tuple[int, ...] | Literal["paths"]] = []
    levels = sorted({s.level for s in shapes} | set(belts))
    for level in levels:
        order += [s for s in shapes if s.level == level and s.kind not in ("carriage", "tool")]
        if level == bed_level:
            order.append("paths")
        if level in belts:
            order.append(tuple(sorted(belts[level], key=lambda k: (machine.belts[k].level, -k))))
    # Rails and motors that never move stand beside the paths, not over them: drawn first, they are part of the still
    # image.
    still = still_bodies(machine)
    at = order.index("paths")
    after = at + 1
    while after < len(order) and isinstance(order[after], Outline) and order[after].body in still:  # type: ignore[union-attr]
        after += 1
    order.insert(after - 1, order.pop(at))
    return order


def still_bodies(machine: Machine) -> frozenset[str]:
    """Bodies that never move in the view from above."""
    still: set[str] = set()
    for body in machine.bodies:
        on_still = body.parent is None or body.parent in still
        if on_still and not body.driven:
            still.add(body.name)
    return frozenset(still)


def extent_of(machine: Machine) -> tuple[Array, Array]:
    """Corners (2,), m, of everything that is drawn, over the whole reach."""
    points = []
    (x0, x1), (y0, y1), (z0, _) = machine.reach
    for x in (x0, x1):
        for y in (y0, y1):
            offsets = machine.offsets(np.array([x, y, z0]))
            points += [np.asarray(s.points, float) + offsets[s.body][:2] for s in machine.outlines]
            points += [
                np.asarray(w.centre)[None, :2]
                + offsets[w.body][:2]
                + np.array([[-1], [1]]) * (w.flange_radius_m + 0.002)
                for w in machine.wheels.values()
            ]
    every = np.concatenate(points)
    margin = 0.004
    return every.min(axis=0) - margin, every.max(axis=0) + margin


def work_shift(machine: Machine, offsets: dict[str, Array]) -> Array:
    """From a place on the work, in tool coordinates, to where it is seen from above, (2,), m."""
    tool_point = np.asarray(machine.tool_point)[:2]
    return np.asarray(offsets[machine.work_body][:2] + tool_point - np.asarray(machine.middle)[:2])


def belt_angles(path: BeltPath, reference: BeltPath) -> dict[str, float]:
    """How far each wheel of a belt has turned since the reference pose, rad, by the belt that rolled over it.

    Belt coordinates count from the start clamp. The tooth under the wheel's first contact point has coordinate s; when
    s grows by ds, belt has passed backwards, which turns a wheel met with sense +1 clockwise by ds / r; the contact
    point itself moves round the wheel by the change of its angle.
    """
    now, then = _arc_starts(path), _arc_starts(reference)
    out = {}
    for wheel, (s, arc) in now.items():
        s0, arc0 = then[wheel]
        sense = math.copysign(1.0, arc.sweep_rad)
        turned = (arc.start_rad - arc0.start_rad + math.pi) % (2 * math.pi) - math.pi
        out[wheel] = turned - sense * (s - s0) / arc.radius_m
    return out


def _arc_starts(path: BeltPath) -> dict[str, tuple[float, Arc]]:
    s = 0.0
    out = {}
    for piece in path.pieces:
        if isinstance(piece, Arc):
            out[piece.wheel] = (s, piece)
        s += piece.length_m
    return out
