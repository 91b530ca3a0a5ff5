"""What stands in space near the belts, as convex solids, and the distance between two of them. SI units.

A belt span is a flat band on edge: as high as the belt is wide, as thick as the belt, its pitch line between the tangent
points. Wheels with their flanges are prisms about their circle, the rest are prisms of the machine's solids.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ..machine.machine import Belt, Machine
from ..machine.routing import Span, spans_of
from ..machine.wheels import FLANGE_M

Array = NDArray[np.float64]

CORNERS_OF_A_CIRCLE = 48  # circumscribed: too large by 0.2 % of the radius at most, never too small
CARRIED_BY_RODS = ("rods", "rail")  # wheels run on the beam itself, which the layout gives as a solid
BOX_M = 1e-9
ARM_THICK_M = 0.012  # an arm's ends, thicker than its tube; our estimate
RAIL_WIDTH_M = 0.012  # of a size 12 rail


@dataclass(frozen=True)
class Convex:
    """A convex solid at one pose.

    name: in words.  points: (n, 3) its corners, m.  kind: "span" | "wheel" | "shape" | "guide".  belt: of a span.
    touches: names of wheels and bodies it is meant to touch.  disc: (x, y, radius) m of an upright cylinder, whose
    points then are those of a prism about it.
    """

    name: str
    kind: str
    points: Array
    belt: str = ""
    touches: frozenset[str] = field(default=frozenset())
    disc: tuple[float, float, float] | None = None

    def shifted(self, by: Array) -> Convex:
        """The same solid moved by (3,) m."""
        disc = None if self.disc is None else (self.disc[0] + float(by[0]), self.disc[1] + float(by[1]), self.disc[2])
        return replace(self, points=self.points + by, disc=disc)

    @cached_property
    def bounds(self) -> tuple[Array, Array]:
        """Smallest and largest coordinates, (3,) m each."""
        return self.points.min(axis=0), self.points.max(axis=0)

    @cached_property
    def is_box(self) -> bool:
        """Whether it is its own bounding box: level spans along X or Y, members, rods of square section."""
        low, high = self.bounds
        at_an_end = (np.abs(self.points - low) < BOX_M) | (np.abs(self.points - high) < BOX_M)
        return len(self.points) == 8 and bool(at_an_end.all())


def span_solids(
    machine: Machine, belt: Belt, offsets: dict[str, Array], only: Sequence[int] | None = None
) -> list[Convex]:
    """The spans of a belt with the bodies moved by `offsets`. only: numbers of those wanted, rising; None: all."""
    heights, names = stop_heights(machine, belt, offsets), span_names(belt)
    ends = [belt.start.body, *(wrap.wheel for wrap in belt.wraps), belt.end.body]
    numbers = range(len(names)) if only is None else only
    return [
        Convex(names[i], "span", _band(belt, span, heights[i], heights[i + 1]), belt.name, frozenset(ends[i : i + 2]))
        for i, span in zip(numbers, spans_of(machine, belt, offsets, numbers), strict=True)
    ]


def span_names(belt: Belt) -> list[str]:
    """What to call each span: "belt a from left clamp to gantry a near"."""
    stops = [f"{belt.start.name} clamp", *(wrap.wheel for wrap in belt.wraps), f"{belt.end.name} clamp"]
    return [f"belt {belt.name} from {a} to {b}" for a, b in itertools.pairwise(stops)]


def stop_heights(machine: Machine, belt: Belt, offsets: dict[str, Array]) -> list[float]:
    """Height of the belt above its plane at its clamps and wheels, in order, m: of a level belt in Z."""
    wheels = [machine.wheels[wrap.wheel] for wrap in belt.wraps]
    stops = [
        (belt.start.point, belt.start.body),
        *((w.centre, w.body) for w in wheels),
        (belt.end.point, belt.end.body),
    ]
    normal = belt.axes[2]
    return [float(normal @ (np.array(point) + offsets[body])) for point, body in stops]


def _band(belt: Belt, span: Span, z0: float, z1: float) -> Array:
    """Corners (8, 3) of a span; its teeth stand off one side of the pitch line, its back off the other."""
    s = belt.spec
    teeth, back = s.pitch_line_m + s.tooth_height_m, s.height_m - s.tooth_height_m - s.pitch_line_m
    # Plain numbers: this is asked for thousands of spans, and small arrays are slow.
    across, along = (float(v) for v in span.direction)
    sides = (teeth, -back) if belt.teeth_on == "left" else (back, -teeth)
    corners = [
        (x - side * along, y + side * across, z + up * s.width_m / 2)
        for (x, y), z in ((span.start.tolist(), z0), (span.end.tolist(), z1))
        for side in sides
        for up in (-1, 1)
    ]
    # A level belt's plane has the axes of space.
    return np.array(corners) if belt.plane[1][2] == 0.0 else np.array(corners) @ belt.axes


def wheel_solids(machine: Machine) -> list[Convex]:
    """Every wheel with its flanges and the belt on it, at the reference pose."""
    half = machine.design.idlers.width_m / 2 + FLANGE_M
    out = []
    for wheel in machine.wheels.values():
        thickest = max(
            (b.spec.height_m for b in machine.belts if any(w.wheel == wheel.name for w in b.wraps)), default=0.0
        )
        radius = max(wheel.flange_radius_m, wheel.radius_m + thickest / 2)
        centre = np.array(wheel.centre)
        axes = next((b.axes for b in machine.belts if any(w.wheel == wheel.name for w in b.wraps)), np.eye(3))
        if axes[2, 2] != 1.0:
            x, y, z = axes @ centre
            points = _prism(_circle(np.array([x, y]), radius), z - half, z + half) @ axes
            out.append(Convex(wheel.name, "wheel", points, "", frozenset({wheel.name})))
            continue
        points = _prism(_circle(centre[:2], radius), centre[2] - half, centre[2] + half)
        disc = (float(centre[0]), float(centre[1]), radius)
        out.append(Convex(wheel.name, "wheel", points, "", frozenset({wheel.name}), disc))
    return out


def shape_solids(machine: Machine) -> list[tuple[str, Convex]]:
    """Frame members, motors, bed, gantry and carriage as the layout gives them, then the rods and rails of the guides.

    Each with the name of the body it moves with, at the reference pose.
    """
    out = []
    for piece in machine.solids:
        outline = np.array(piece.points)
        if piece.kind == "frame":
            for name, corners in _members(outline, piece.width_m):
                points = _prism(corners, *piece.z_m)
                solid = Convex(f"{name} member of the {piece.name}", "shape", points, "", frozenset({piece.body}))
                out.append((piece.body, solid))
        else:
            name = f"motor {piece.name.upper()}'s body" if piece.kind == "motor" else f"the {piece.name}"
            # The beam a carriage runs on is part of its guide, wherever the layout puts it.
            kind = "guide" if piece.kind == "gantry" and piece.name != "gantry end" else "shape"
            out.append((piece.body, Convex(name, kind, _prism(outline, *piece.z_m), "", frozenset({piece.body}))))
    return out + guide_solids(machine)


def arm_solids(machine: Machine, offsets: dict[str, Array]) -> list[Convex]:
    """Both arms of every pair as square bars between their joints, with the bodies moved by `offsets`."""
    out = []
    for pair in machine.arms:
        for arm, words in zip(pair.single, ("one", "the other"), strict=True):
            (a_body, a), (b_body, b) = arm.ends
            start, end = np.array(a) + offsets[a_body], np.array(b) + offsets[b_body]
            line = (end - start) / np.linalg.norm(end - start)
            # The line between the two arms stays as it is while they lean; a bar's own sides lean with it.
            aside = pair.aside - (pair.aside @ line) * line
            aside /= np.linalg.norm(aside)
            over = np.cross(line, aside)
            half = ARM_THICK_M / 2
            corners = [p + u * half * aside + v * half * over for p in (start, end) for u in (-1, 1) for v in (-1, 1)]
            name = f"{words} arm of pair {pair.name}"
            out.append(Convex(name, "arm", np.array(corners), "", frozenset({a_body, b_body, pair.name})))
    return out


def guide_solids(machine: Machine) -> list[tuple[str, Convex]]:
    """The rods or rails every guide runs on, each with the body that carries them: the parent of what slides."""
    out = []
    for body in machine.bodies:
        guide, place = body.guide, body.place
        if guide is None or place is None or body.slide is None or body.parent is None:
            continue
        if guide.kind not in CARRIED_BY_RODS:
            continue
        rod = guide.kind == "rods"
        wide, tall = guide.rod_diameter_m if rod else RAIL_WIDTH_M, 2 * guide.half_height_m
        half = np.array([wide, wide, tall]) / 2
        half[body.slide] = 0.0
        first = np.array(place.point)
        first[body.slide] -= place.before_m
        sides = (-0.5, 0.5) if guide.lines > 1 and place.apart_m > 0 else (0.0,)
        across = np.eye(3)[place.across] if place.sideways is None else np.array(place.sideways)
        for side in sides:
            low = first + side * place.apart_m * across
            high = low.copy()
            high[body.slide] += place.span_m
            name = f"a {'rod' if rod else 'rail'} of the {body.name}'s guide"
            out.append((body.parent, Convex(name, "guide", box_points(low - half, high + half))))
    return out


def _members(outline: Array, width_m: float) -> list[tuple[str, Array]]:
    """The members of a closed outline, (4, 2) each: front, right, rear, left of a rectangle, whose outside it is; of a
    triangle, whose middle lines it is, from corner to corner."""
    if len(outline) == 3:
        out = []
        for name, a, b in zip(("left", "front", "right"), outline, np.roll(outline, -1, axis=0), strict=True):
            along = (b - a) / np.hypot(*(b - a))
            side = width_m / 2 * np.array([-along[1], along[0]])
            out.append((name, np.array([a - side, b - side, b + side, a + side])))
        return out
    (x0, y0), (x1, y1), w = outline.min(axis=0), outline.max(axis=0), width_m
    boxes = ((x0, y0, x1, y0 + w), (x1 - w, y0, x1, y1), (x0, y1 - w, x1, y1), (x0, y0, x0 + w, y1))
    each = [np.array([[a, b], [c, b], [c, d], [a, d]]) for a, b, c, d in boxes]
    return list(zip(("front", "right", "rear", "left"), each, strict=True))


def _circle(centre: Array, radius: float) -> Array:
    n = CORNERS_OF_A_CIRCLE
    angle = 2 * math.pi * np.arange(n) / n
    return np.asarray(centre + radius / math.cos(math.pi / n) * np.c_[np.cos(angle), np.sin(angle)])


def _prism(outline: Array, z0: float, z1: float) -> Array:
    n = len(outline)
    return np.asarray(np.r_[np.c_[outline, np.full(n, z0)], np.c_[outline, np.full(n, z1)]], dtype=float)


def box_points(low: Array, high: Array) -> Array:
    """Corners (8, 3) of a box."""
    return np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])])


def apart(a: Convex, b: Convex) -> tuple[float, Array]:
    """(distance m, a point half-way between the nearest points (3,) m) of two solids."""
    if a.is_box and b.is_box:
        low, high = np.maximum(a.bounds[0], b.bounds[0]), np.minimum(a.bounds[1], b.bounds[1])
        return box_gap(a.bounds, b.bounds), (low + high) / 2
    if a.is_box and b.disc is not None:
        return _box_to_disc(a, b, b.disc)
    d, near_a, near_b = distance(a.points, b.points)
    return d, (near_a + near_b) / 2


def _box_to_disc(box: Convex, wheel: Convex, disc: tuple[float, float, float]) -> tuple[float, Array]:
    """As `apart` for a box and an upright cylinder: seen from above and in height the two are apart independently."""
    low, high = np.maximum(box.bounds[0], wheel.bounds[0]), np.minimum(box.bounds[1], wheel.bounds[1])
    centre = np.array(disc[:2])
    nearest = np.clip(centre, box.bounds[0][:2], box.bounds[1][:2])
    level = max(0.0, float(np.hypot(*(nearest - centre))) - disc[2])
    return math.hypot(level, max(0.0, float(low[2] - high[2]))), np.array([*nearest, (low[2] + high[2]) / 2])


def box_gap(a: tuple[Array, Array], b: tuple[Array, Array]) -> float:
    """Distance of two axis-parallel boxes, m; never more than that of what lies in them."""
    apart = np.maximum(0.0, np.maximum(a[0] - b[1], b[0] - a[1]))
    return float(np.sqrt(apart @ apart))


def distance(a: Array, b: Array) -> tuple[float, Array, Array]:
    """Distance of the convex hulls of two sets of points, (n, 3) and (m, 3), m, and the nearest point of each.

    The point of least norm in the hull of all differences, found as a non-negative least-squares problem: the minimum of
    |P u|^2 + (1 - sum u)^2 over u >= 0 is at u = c w with c = 1 / (1 + d^2) and w the weights of that point (Lawson and
    Hanson, Solving Least Squares Problems, 1974, ch. 23, from memory). Millimetres keep both terms of one size.
    """
    # Only belts that rise or fall come here, and this import takes longer than all the rest of a check.
    from scipy.optimize import nnls

    differences = 1e3 * (a[:, None, :] - b[None, :, :]).reshape(-1, 3).T
    e = np.vstack([differences, np.ones(differences.shape[1])])
    u, _ = nnls(e, np.array([0.0, 0.0, 0.0, 1.0]))
    weights = (u / u.sum()).reshape(len(a), len(b))
    near_a, near_b = weights.sum(axis=1) @ a, weights.sum(axis=0) @ b
    return float(np.linalg.norm(near_a - near_b)), near_a, near_b
