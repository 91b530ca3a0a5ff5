"""Two chassis that layouts route their belts over: a gantry over a lifted bed, a beam over a moving one. SI units.

A layout gives wheels, belts, which body carries which motor, and the few places where its own belts decide; bodies,
pieces in space, feet and frame follow here. Three columns have a chassis of their own (`tower_chassis.py`); a layout that
fits none builds its `Machine` itself.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from ..errors import MachineError
from ..parts.design import Design
from . import masses, pieces
from .bodies import BED_SPACING_M, box_frame, carriage, frame_bodies, guide_on, on_frame, slider, y_gantry, z_bed
from .machine import Belt, GuidePlace, Machine, Outline, Point, Solid, Wheel
from .wheels import motor_face, motor_mass, motors_on

PLATE_MORE_M = 0.020  # of the bed's plate beyond the reach, both sides together; our choice
UNDER_M = 0.020  # from the frame's foot to the table; our choice
BASE_Z = -0.040  # of the base under a moving bed, whose top is at 0; our choice
COLUMNS_BEHIND_M = 0.030  # from the middle of the beam's guide back to its columns; our choice


@dataclass(frozen=True)
class Routed:
    """What a layout's routing gives: wheels by name, belts, and by drive name the body that carries its motor."""

    wheels: dict[str, Wheel]
    belts: Sequence[Belt]
    stators: dict[str, str]


@dataclass(frozen=True)
class Gantry:
    """Where a gantry chassis stands.

    frame_at: middle of the frame in X and Y.  rails: X of the two lines the gantry runs on.  belt_z: height of the lowest
    belt.  solids: its beam and ends, as far as they have a height; signs: what of it is only drawn.
    """

    frame_at: tuple[float, float]
    rails: tuple[float, float]
    belt_z: float
    solids: Sequence[Solid] = ()
    signs: Sequence[Outline] = ()


def middle_xy(d: Design) -> tuple[float, float]:
    """Middle of the reach, m."""
    return d.space.x_m / 2, d.space.y_m / 2


def gantry_guide_z(d: Design) -> float:
    """Height of the carriage's guide on a gantry over a lifted bed, m: the bed comes down from the nozzle."""
    return d.space.z_m + d.carriage.nozzle_below_guide_m


def gantry_machine(d: Design, routed: Routed, g: Gantry) -> Machine:
    """Four columns with a ring, the bed on Z, a gantry along Y over it, the carriage along X on that."""
    mid, size, guide_z = middle_xy(d), d.frame_size, gantry_guide_z(d)
    deck_z = motor_face(d, g.belt_z)  # the motors' faces and the top of the frame
    motors = motors_on(d, routed.wheels, routed.stators, dict.fromkeys(routed.stators, deck_z))
    plate = (d.space.x_m + PLATE_MORE_M, d.space.y_m + PLATE_MORE_M)
    span = 2 * (g.frame_at[0] - g.rails[0])  # the rails lie alike about the frame's middle
    mass, words = masses.gantry_mass(d, span)
    for motor in motors:
        if motor.stator == "gantry":
            mass, words = mass + motor_mass(d, motor.name), f"{words}, {motor.name.upper()} motor"
    profile = pieces.profile_m(d)
    lines = guide_on(d.gantry.guide, g.rails, g.frame_at[1], guide_z, size.depth_m)
    bodies = (
        *box_frame(d, g.frame_at, guide_z, on_frame(d, "frame", routed.wheels.values(), motors, lines)),
        z_bed(d, (*mid, d.space.z_m / 2), *plate),
        y_gantry(d, (g.frame_at[0], mid[1], guide_z), (mass, words), span, size.depth_m - 2 * profile, span),
        carriage(d, "gantry", (*mid, guide_z), span),
    )
    y0, y1 = (g.frame_at[1] + side * size.depth_m / 2 for side in (-1, 1))
    return Machine(
        **_on_slides(d, routed, d.space.z_m),
        bodies=bodies,
        motors=motors,
        frame_point=(*g.frame_at, guide_z),
        feet_points=feet(d, g.frame_at, guide_z - size.height_m - UNDER_M),
        plate_m=plate,
        solids=(
            pieces.frame_piece(d, g.frame_at, "frame", deck_z),
            pieces.bed_piece(d, mid, plate, 1, d.space.z_m / 2),
            *(pieces.motor_piece(d, m, 3 if m.stator == "frame" else 5) for m in motors),
            *g.solids,
            pieces.carriage_piece(d, mid, guide_z, g.belt_z),
        ),
        signs=(*pieces.rail_signs("frame", g.rails, (y0 + profile, y1 - profile), 2), *g.signs),
    )


def _on_slides(d: Design, routed: Routed, tool_z: float) -> dict[str, Any]:
    """What every machine says whose carriage slides over a bed. tool_z: height of the nozzle at mid-reach, m."""
    return {
        "title": d.title,
        "layout": d.layout,
        "design": d,
        "wheels": routed.wheels,
        "belts": tuple(routed.belts),
        "tool_body": "carriage",
        "tool_point": (*middle_xy(d), tool_z),
        "work_body": "bed",
        "reach": reach_of(d),
    }


def beam_guide_z(d: Design) -> float:
    """Height of the carriage's guide on a beam that is lifted over a moving bed, at mid-reach, m."""
    return d.space.z_m / 2 + d.carriage.nozzle_below_guide_m


def beam_machine(d: Design, routed: Routed, beam: tuple[float, float], belt_z: float) -> Machine:
    """Two columns that carry a beam up and down, the carriage along X on that, the bed along Y on the base.

    beam: its ends in X between the carriage's wheels, m.  belt_z: height of the carriage's belt.
    Raises MachineError where the columns are too short.
    """
    mid, size, guide_z = middle_xy(d), d.frame_size, beam_guide_z(d)
    faces = {name: motor_face(d, routed.wheels[f"motor {name.upper()}"].centre[2]) for name in routed.stators}
    motors = motors_on(d, routed.wheels, routed.stators, faces)
    plate = (d.space.x_m + PLATE_MORE_M, d.space.y_m + PLATE_MORE_M)
    lifted_kg = sum(motor_mass(d, m.name) for m in motors if m.stator == "gantry")
    mass, words = masses.gantry_mass(d, beam[1] - beam[0])
    column_y, top_z = mid[1] + COLUMNS_BEHIND_M, BASE_Z + size.height_m
    need_room(
        d,
        "height_mm",
        size.height_m,
        guide_z + d.space.z_m / 2 - BASE_Z,
        "the columns, which carry the gantry up to the top of its reach,",
    )
    top, base = masses.portal_members(d, mid, column_y, BASE_Z, top_z)
    rails = (mid[0] - plate[0] / 4, mid[0] + plate[0] / 4)
    lines = guide_on(d.bed.guide, rails, mid[1], BASE_Z, size.depth_m)
    fixed = on_frame(d, "base", routed.wheels.values(), motors, lines)
    profile = pieces.profile_m(d)
    run = size.depth_m - 2 * profile
    guide_at = (*mid, guide_z)
    lift = GuidePlace(guide_at, 0, size.width_m - profile, 0.050, size.height_m, size.height_m / 2)
    travel = GuidePlace((*mid, -0.020), 0, plate[0] / 2, BED_SPACING_M, run, run / 2, True)
    bed_size = (*plate, 0.004)
    beam_size = (beam[1] - beam[0], 0.040, 0.040)
    bodies = (
        *frame_bodies(d, top, base, [], fixed),
        slider("gantry", "frame", (mass + lifted_kg, words), guide_at, 2, d.gantry.guide, beam_size, lift, held=True),
        carriage(d, "gantry", guide_at, beam[1] - beam[0]),
        slider("bed", "base", masses.bed_mass(d, *plate), (*mid, -0.005), 1, d.bed.guide, bed_size, travel),
    )
    y0, y1 = (mid[1] + side * size.depth_m / 2 for side in (-1, 1))
    return Machine(
        **_on_slides(d, routed, d.space.z_m / 2),
        bodies=bodies,
        motors=motors,
        frame_point=(mid[0], column_y, guide_z),
        feet_points=feet(d, mid, BASE_Z - UNDER_M),
        plate_m=plate,
        solids=(
            pieces.frame_piece(d, mid, "base", BASE_Z + profile / 2),
            *(pieces.motor_piece(d, m, 1) for m in motors if m.stator == "base"),
            pieces.bed_piece(d, mid, plate, 2, 0.0),
            *_portal_pieces(d, mid, guide_z, (BASE_Z, top_z)),
            *(pieces.motor_piece(d, m, 5) for m in motors if m.stator == "gantry"),
            pieces.carriage_piece(d, mid, guide_z, belt_z),
        ),
        signs=tuple(pieces.rail_signs("base", rails, (y0 + profile, y1 - profile), 1)),
        gantry_height_m=guide_z - BASE_Z,
    )


def _portal_pieces(d: Design, mid: tuple[float, float], guide_z: float, z_m: tuple[float, float]) -> list[Solid]:
    """The two columns and the beam they carry."""
    profile = pieces.profile_m(d)
    x0, x1 = mid[0] - d.frame_size.width_m / 2, mid[0] + d.frame_size.width_m / 2
    tall = 0.010 if d.frame is None else d.frame.side_b_m / 2
    columns = [
        Solid("column", "frame", pieces.square(x, mid[1] + COLUMNS_BEHIND_M, profile * 1.5), 3, "column", z_m=z_m)
        for x in (x0 + profile / 2, x1 - profile / 2)
    ]
    corners = pieces.box(x0, mid[1] + 0.022, x1, mid[1] + 0.022 + profile)
    return [*columns, Solid("gantry", "gantry", corners, 4, "beam", z_m=(guide_z - tall, guide_z + tall))]


def reach_of(d: Design) -> tuple[tuple[float, float], tuple[float, float], tuple[float, float]]:
    """Reach of the tool from the front left of the bed, m."""
    return (0.0, d.space.x_m), (0.0, d.space.y_m), (0.0, d.space.z_m)


def need_room(d: Design, key: str, have_m: float, need_m: float, what: str) -> None:
    """Refuse a frame too small for what must stand in it."""
    if have_m + 1e-9 < need_m:
        raise MachineError(
            f"frame.{key} = {have_m * 1e3:g}: too small, {what} need {math.ceil(need_m * 1e3)} mm;"
            f" write {key} = {math.ceil(need_m * 1e3)} or more, or make the reach smaller",
            {f"frame.{key}": math.ceil(need_m * 1e3)},
        )


def feet(d: Design, centre_xy: tuple[float, float], z: float) -> tuple[Point, ...]:
    """Where the machine stands, at a height: the corners, and what more there is along its left and right side.

    Three feet stand under both front corners and the middle of the rear.
    """
    x, y = centre_xy
    w, h = d.frame_size.width_m / 2, d.frame_size.depth_m / 2
    count = 4 if d.feet is None else d.feet.count
    if count == 3:
        return ((x - w, y - h, z), (x + w, y - h, z), (x, y + h, z))
    right = count // 2
    return tuple(
        (x + side * w, y - h + 2 * h * i / (n - 1), z)
        for side, n in ((-1, count - right), (1, right))
        for i in range(n)
    )
