"""What a machine is once its parts have places: bodies, guides, wheels, belts, frame. SI units.

Axes: X right, Y to the rear, Z up, origin at the front left of the nozzle's reach (in the middle of a round one); angles
counter-clockwise seen from above. Every position is given at the reference pose: tool in the middle of its reach.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..parts.design import BeltSpec, Design, GuideSpec, MotorSpec
from .arm import Arm, slide_on_arm

Array = NDArray[np.float64]
Point = tuple[float, float, float]


@dataclass(frozen=True)
class GuidePlace:
    """Where a guide holds a body, for detail full.

    point: middle of its bearings at the reference pose, m.  across: axis (0 X, 1 Y, 2 Z) along which its two lines lie
    apart.  apart_m: distance of the lines; 0 for a single rail.  spacing_m: distance of two bearings along one line.
    span_m: free length of a line between its supports.  before_m: from its first support (the lower coordinate) to
    `point`, along the slide.
    flat: whether wheels lie flat, left and right of their profile, as under a bed; else they stand above and below it.
    edge_m: from the middle of a profile to the slot edges its wheels run on.  sideways: direction across, (3,), where its
    two lines lie apart along no axis.
    """

    point: Point
    across: int
    apart_m: float
    spacing_m: float
    span_m: float
    before_m: float
    flat: bool = False
    edge_m: float = 0.010
    sideways: Point | None = None


@dataclass(frozen=True)
class Body:
    """A rigid body.

    parent: the body it is guided or sprung on; None for the ground.
    slide: the axis (0 X, 1 Y, 2 Z) along which it slides on its parent, None if it does not.
    held: a drive of its own (a screw, say) holds it on its slide: the belts do not move it, and the program only slowly.
    free: it hangs on arms alone and has coordinates of its own: X, Y, Z at detail simple, all six at full.
    sway: the axes along which it may move against its parent on springs (the frame top), at detail simple.
    place: where the guide holds it (detail full).
    centre: mass centre at the reference pose, m.  inertia: about the mass centre and its own axes, kg m2, diagonal.
    turned_rad: its own axes are the machine's, turned so far about Z.
    """

    name: str
    parent: str | None
    mass_kg: float
    centre: Point
    slide: int | None = None
    held: bool = False
    free: bool = False
    sway: tuple[int, ...] = ()
    guide: GuideSpec | None = None
    inertia: Point = (0.0, 0.0, 0.0)
    mass_note: str = ""
    place: GuidePlace | None = None
    turned_rad: float = 0.0

    @property
    def driven(self) -> bool:
        """Whether belts move it along its slide."""
        return self.slide is not None and not self.held

    @property
    def kind(self) -> str:
        """What several bodies of one make are: "carriage" of "carriage a", else the body's own name."""
        head, _, letter = self.name.rpartition(" ")
        return head if len(letter) == 1 and head else self.name

    @property
    def moments(self) -> Array:
        """Moments of inertia about its mass centre along the machine's axes, (3, 3), kg m2."""
        c, s = math.cos(self.turned_rad), math.sin(self.turned_rad)
        turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]) if self.turned_rad else np.eye(3)
        return np.asarray(turn @ np.diag(self.inertia) @ turn.T)


@dataclass(frozen=True)
class Wheel:
    """Something a belt goes round: a motor's pulley, a toothed idler or a smooth one.

    radius_m: of the belt's pitch line on it.  drive: the motor's name for a pulley, else None.  body: what carries it.
    """

    name: str
    kind: Literal["pulley", "toothed idler", "smooth idler"]
    body: str
    centre: Point
    radius_m: float
    teeth: int | None
    drive: str | None = None
    inertia_kg_m2: float = 0.0
    flange_radius_m: float = 0.0


@dataclass(frozen=True)
class Clamp:
    """Where a belt is held: its run gets this name ("left", "front", ...)."""

    name: str
    body: str
    point: Point


@dataclass(frozen=True)
class Wrap:
    """The belt goes round `wheel`; sense +1 counter-clockwise, -1 clockwise, seen from above along the belt's order."""

    wheel: str
    sense: int


@dataclass(frozen=True)
class Belt:
    """A belt from clamp to clamp, in order.  teeth_on: side of its toothed face, looking along the order.

    level: 0 lower, 1 upper.  plane: its two axes (right, up), unit vectors; angles and senses are counter-clockwise seen
    against right x up. The belt lies at the height of its clamps above that plane.
    """

    name: str
    start: Clamp
    wraps: tuple[Wrap, ...]
    end: Clamp
    spec: BeltSpec
    teeth_on: Literal["left", "right"]
    level: int
    plane: tuple[Point, Point] = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0))

    def bodies(self, wheels: dict[str, Wheel]) -> list[str]:
        """Names of the bodies it touches, in alphabetical order. wheels: of the machine."""
        return sorted({self.start.body, self.end.body, *(wheels[wrap.wheel].body for wrap in self.wraps)})

    @cached_property  # a belt's way is asked for at hundreds of places
    def axes(self) -> Array:
        """Rows right, up and the direction the plane is seen from, (3, 3), not to be written to."""
        right, up = (np.array(v) for v in self.plane)
        rows = np.asarray(np.vstack([right, up, np.cross(right, up)]), dtype=float)
        rows.setflags(write=False)
        return rows


@dataclass(frozen=True)
class Motor:
    """A motor: its drive name, the body its stator is fixed to, its pulley's wheel name, its data (None = ideal).

    centre: of its pulley.  face_z_m: height of the face its shaft comes out of, m.
    """

    name: str
    stator: str
    wheel: str
    spec: MotorSpec | None
    centre: Point
    face_z_m: float


@dataclass(frozen=True)
class Outline:
    """Something seen from above, at the reference pose; a layout writes these, so viewers need not know it.

    kind: "frame" (closed outline of profile, `width_m` wide) | "bed" | "rail" (a line, `width_m` wide) | "gantry"
          | "carriage" | "motor" (square) | "column".
    body: what it moves with.  points: (n, 2) m: corners of a filled polygon, or the ends of a line.
    level: drawing height, 0 lowest.
    """

    kind: str
    body: str
    points: tuple[tuple[float, float], ...]
    level: int
    name: str
    width_m: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Solid(Outline):
    """A piece of the machine that fills space: its outline from z_m[0] up to z_m[1], m, at the reference pose."""

    z_m: tuple[float, float]


@dataclass(frozen=True)
class Machine:
    """A machine at its reference pose (tool in the middle of its reach).

    bodies: parents before children, ground first.  tool_body, tool_point: the nozzle.  work_body: what it prints on.
    plate_m: width and depth of its plate, m.  solids: the machine's pieces in space, for clearance and drawing.
    signs: what is only drawn.  reach: ((x0, x1), (y0, y1), (z0, z1)) of the tool, m.  frame_point: middle of the top ring.
    feet_points: on the table.  frame_stiffness: 6x6 of the frame top against its base (force and torque at
    frame_point), None when rigid.  gantry_height_m: of what runs on two or three columns, above their feet; None: four
    columns and a ring.  arms: from carriages to what they carry.  reach_round: the reach in X and Y is the circle inside
    its limits.  column_radius_m: of three columns in a triangle, from their middle; None: another frame.
    """

    title: str
    layout: str
    design: Design
    bodies: tuple[Body, ...]
    wheels: dict[str, Wheel]
    belts: tuple[Belt, ...]
    motors: tuple[Motor, ...]
    tool_body: str
    tool_point: Point
    work_body: str
    reach: tuple[tuple[float, float], tuple[float, float], tuple[float, float]]
    frame_point: Point
    feet_points: tuple[Point, ...]
    plate_m: tuple[float, float]
    solids: tuple[Solid, ...]
    signs: tuple[Outline, ...]
    frame_stiffness: Array | None = None
    frame_damping_ratio: float = 0.0
    notes: tuple[str, ...] = field(default=())
    gantry_height_m: float | None = None
    arms: tuple[Arm, ...] = ()
    reach_round: bool = False
    column_radius_m: float | None = None

    def body(self, name: str) -> Body:
        """The body of that name; KeyError if there is none."""
        for body in self.bodies:
            if body.name == name:
                return body
        raise KeyError(name)

    @property
    def outlines(self) -> tuple[Outline, ...]:
        """All that is seen from above; of two on one level the later lies above."""
        return (*self.signs, *self.solids)

    @property
    def middle(self) -> Array:
        """Tool position at the reference pose, shape (3,), m."""
        return np.array([(a + b) / 2 for a, b in self.reach])

    def edge(self) -> list[tuple[str, tuple[float, float]]]:
        """Named places (x, y), m, at the edge of the reach: its four corners, or twelve points of the rim of a round one."""
        (x0, x1), (y0, y1), _ = self.reach
        if not self.reach_round:
            return [
                ("front left", (x0, y0)),
                ("front right", (x1, y0)),
                ("rear left", (x0, y1)),
                ("rear right", (x1, y1)),
            ]
        x, y, r = 0.5 * (x0 + x1), 0.5 * (y0 + y1), 0.5 * (x1 - x0)
        turns = [(30 * k, math.radians(30 * k)) for k in range(12)]
        return [(f"rim at {deg} degrees", (x + r * math.cos(a), y + r * math.sin(a))) for deg, a in turns]

    def offsets(self, tool: Array) -> dict[str, Array]:
        """How far each body has moved from the reference pose when the tool stands at `tool` relative to the bed.

        tool: (3,), m, in the reach.  Returns by body name (3,), m: the rigid motion, no spring strained.
        """
        delta = np.asarray(tool, float) - self.middle
        if self.arms:
            return self._offsets_on_arms(delta)
        out: dict[str, Array] = {}
        chain = set()
        name: str | None = self.tool_body
        while name is not None:
            chain.add(name)
            name = self.body(name).parent
        for body in self.bodies:
            offset = np.zeros(3) if body.parent is None else out[body.parent].copy()
            if body.slide is not None:
                # What carries the tool moves with it; what carries the work moves the other way.
                offset[body.slide] += delta[body.slide] if body.name in chain else -delta[body.slide]
            out[body.name] = offset
        return out

    def _offsets_on_arms(self, delta: Array) -> dict[str, Array]:
        """Where arms carry the tool: a carriage stands where its arm is as long as it is."""
        out = {body.name: delta.copy() if body.free else np.zeros(3) for body in self.bodies}
        for arm in self.arms:
            carriage = self.body(arm.ends[0][0])
            assert carriage.slide is not None
            out[carriage.name][carriage.slide] = slide_on_arm(arm.along + delta, arm.length_m, carriage.slide)
        return out
