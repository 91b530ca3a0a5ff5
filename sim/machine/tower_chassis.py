"""A chassis of three columns: a carriage on each, and a platform that arms hang from them. SI units.

A layout gives wheels, belts, motors and arms; bodies, pieces in space, feet and frame follow here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..parts.design import Design
from . import chassis, masses, pieces
from . import wheels as w
from .arm import Arm
from .bodies import frame_bodies, slider
from .machine import Belt, Body, GuidePlace, Machine, Motor, Outline, Solid, Wheel
from .masses import Lump
from .towers import FOOT_Z, TOWERS_DEG, Stand, Tower, out, turned

SPACING_M = 0.040  # of a carriage's bearings along its column
THICK_M, TOOL_M = 0.012, 0.040  # of the platform; width of what hangs under it


def tower_machine(
    d: Design, s: Stand, wheels: dict[str, Wheel], belts: Sequence[Belt], motors: Sequence[Motor], arms: Sequence[Arm]
) -> Machine:
    """Three columns with a triangle on top, a bed that stands still, a carriage on each column, the platform on arms."""
    carriages = [_carriage(d, tower) for tower in s.towers]
    top, base = masses.triangle_members(d, s.radius_m, FOOT_Z, s.top_z)
    on_top = [Lump(d.idlers.mass_kg, wheel.centre) for wheel in wheels.values() if wheel.body == "frame"]
    tall = s.top_z - FOOT_Z
    on_top += [Lump(masses.guide_lines(d.carriage.guide, tall), c.centre, (0.0, 0.0, tall)) for c in carriages]
    on_base = [Lump(w.motor_mass(d, m.name), m.centre, (w.motor_body_m(d, m.name),) * 3) for m in motors]
    plate = 2 * s.rim_m + chassis.PLATE_MORE_M
    bodies = (
        *frame_bodies(d, top, base, on_top, [lump for lump in on_base if lump.mass_kg > 0]),
        Body("bed", "base", masses.bed_mass(d, plate, plate * math.pi / 4)[0], (0.0, 0.0, -0.005)),
        *carriages,
        _effector(d, s),
    )
    return Machine(
        title=d.title,
        layout=d.layout,
        design=d,
        bodies=bodies,
        wheels=wheels,
        belts=tuple(belts),
        motors=tuple(motors),
        tool_body="effector",
        tool_point=(0.0, 0.0, d.space.z_m / 2),
        work_body="bed",
        reach=((-s.rim_m, s.rim_m), (-s.rim_m, s.rim_m), (0.0, d.space.z_m)),
        frame_point=(0.0, 0.0, s.guide_z),
        feet_points=tuple(out(s.radius_m, a, FOOT_Z - chassis.UNDER_M) for a in TOWERS_DEG.values()),
        plate_m=(plate, plate),
        solids=_solids(d, s, plate, motors),
        signs=tuple(_rail(tower) for tower in s.towers),
        gantry_height_m=s.guide_z - FOOT_Z,
        arms=tuple(arms),
        reach_round=True,
        column_radius_m=s.radius_m,
    )


def _carriage(d: Design, tower: Tower) -> Body:
    """On its guide along the column."""
    c, middle = d.carriage, tower.at(0.0, 0.0, tower.guide_z)
    centre = tower.at(c.mass_centre_above_guide_m, 0.0, tower.guide_z)
    up = tower.guide_z - FOOT_Z
    place = GuidePlace(middle, 0, SPACING_M, SPACING_M, d.frame_size.height_m, up, sideways=tower.right)
    outer = (c.width_m, 0.020, c.depth_m)
    mass = masses.tower_carriage_mass(d)
    body = slider(f"carriage {tower.name}", "frame", mass, centre, 2, c.guide, outer, place)
    return replace(body, turned_rad=math.radians(tower.degrees - TOWERS_DEG["a"]))


def _effector(d: Design, s: Stand) -> Body:
    """Half of it a platform in the plane of its joints, half a tool from there down to the nozzle (our choice)."""
    kg, nozzle, above = s.arms.effector_mass_kg / 2, d.space.z_m / 2, s.arms.joints_above_nozzle_m
    wide = 2 * s.arms.effector_radius_m
    platform = Lump(kg, (0.0, 0.0, nozzle + above), (wide, wide, THICK_M))
    tool = Lump(kg, (0.0, 0.0, nozzle + above / 2), (TOOL_M, TOOL_M, above))
    mass, centre, inertia = masses.together([platform, tool])
    return Body("effector", "base", mass, centre, free=True, inertia=inertia)


def _solids(d: Design, s: Stand, plate: float, motors: Sequence[Motor]) -> tuple[Solid, ...]:
    """Frame, columns, bed, motors, carriages and platform with their heights."""
    profile = pieces.profile_m(d)
    corners = tuple(out(s.radius_m, a, 0.0)[:2] for a in TOWERS_DEG.values())
    thick = d.bed.plate_thickness_m + d.bed.glass_thickness_m
    effector, z = _ring(s.arms.effector_radius_m), s.platform_z
    return (
        Solid("frame", "base", corners, 0, "base", profile, z_m=(FOOT_Z, FOOT_Z + profile)),
        Solid("frame", "frame", corners, 1, "frame", profile, z_m=(s.top_z - profile, s.top_z)),
        Solid("bed", "bed", _ring(plate / 2), 1, "bed", z_m=(-thick, 0.0)),
        *(p for motor, tower in zip(motors, s.towers, strict=True) for p in _at_tower(d, s, tower, motor)),
        Solid("carriage", "effector", effector, 8, "effector", z_m=(z - THICK_M / 2, z + THICK_M / 2)),
    )


def _at_tower(d: Design, s: Stand, tower: Tower, motor: Motor) -> tuple[Solid, ...]:
    """A column, the motor at its foot and the carriage on it."""
    guide_m, half = s.arms.tower_radius_m, pieces.profile_m(d) / 2
    square = _between(s.radius_m - half, s.radius_m + half, half, tower.degrees)
    side, shaft_z = w.motor_body_m(d, motor.name) / 2, motor.centre[2]
    face = guide_m - d.carriage.belt_above_guide_m - (shaft_z - motor.face_z_m)
    block = _between(face + w.motor_z(0.0, d)[0], face, side, tower.degrees)
    # Its plate lies between the guide and the belt; the joints stand beside the belt.
    wide = max(spec.width_m for spec in d.belts.values())
    lies = d.carriage.belt_above_guide_m - wide / 2 - pieces.CLAMP_PAD_M
    slab = _between(guide_m - lies, guide_m - min(0.004, lies - 0.001), d.carriage.width_m / 2, tower.degrees)
    name, low, high = f"carriage {tower.name}", s.guide_z - d.carriage.depth_m / 2, s.guide_z + d.carriage.depth_m / 2
    return (
        Solid("column", "frame", square, 3, f"column {tower.name}", z_m=(FOOT_Z, s.top_z)),
        Solid("motor", "base", block, 1, tower.name, z_m=(shaft_z - side, shaft_z + side)),
        Solid("carriage", name, slab, 6, name, z_m=(low, high)),
    )


def _between(inner_m: float, outer_m: float, half_m: float, degrees: float) -> tuple[tuple[float, float], ...]:
    """A rectangle at a tower: from one distance from the middle to another, so far to either side."""
    return turned([(inner_m, -half_m), (outer_m, -half_m), (outer_m, half_m), (inner_m, half_m)], degrees)


def _ring(radius_m: float) -> tuple[tuple[float, float], ...]:
    """A circle as a polygon of 24 corners."""
    return tuple((radius_m * math.cos(a), radius_m * math.sin(a)) for a in np.arange(24) * math.pi / 12)


def _rail(tower: Tower) -> Outline:
    """Where a guide stands, seen from above."""
    ends = turned([(tower.arms.tower_radius_m, -0.006), (tower.arms.tower_radius_m, 0.006)], tower.degrees)
    return Outline("rail", "frame", ends, 4, "rail", 0.010)
