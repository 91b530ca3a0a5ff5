"""Linear delta: three carriages on columns carry the tool on pairs of arms, each carriage on a belt of its own.

Tower a stands behind, b and c follow counter-clockwise. Each belt is a loop along its column as under a moving bed: motor
below on the base, idler above on the frame, the strand at the right as seen from the middle is clamped, so that a motor
that turns counter-clockwise seen from there lifts. Arms are springs (sim/model/PHYSICS.md, section 7).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ...parts.design import ArmsSpec, Design
from .. import chassis, masses, pieces
from .. import wheels as w
from ..arm import Arm
from ..bodies import frame_bodies, slider
from ..machine import Belt, Body, Clamp, GuidePlace, Machine, Motor, Outline, Point, Solid, Wheel, Wrap
from ..masses import Lump

DRIVES = ("a", "b", "c")
TOWERS_DEG = {"a": 90.0, "b": 210.0, "c": 330.0}
FOOT_Z, MOTOR_Z = -0.080, -0.045  # of the columns' feet and of the motors' shafts; the bed's top is at 0
IDLER_ABOVE_M = 0.025  # wheel centre above the highest carriage
UP = (0.0, 0.0, 1.0)
SPACING_M = 0.040  # of a carriage's bearings along its column
THICK_M, TOOL_M = 0.012, 0.040  # of the platform; width of what hangs under it
FLANGE_M, CLEAR_M = 0.0025, 0.002  # of pulleys beyond the belt, and from there to the frame's members


def build(d: Design) -> Machine:
    """The machine at mid-reach. Raises MachineError where the columns are too short."""
    arms = d.arms
    assert arms is not None
    rim, rise = d.space.x_m / 2, arms.rise_m(arms.across_m)
    guide_z = d.space.z_m / 2 + arms.joints_above_nozzle_m + rise
    highest = guide_z + d.space.z_m / 2 + arms.rise_m(abs(arms.across_m - rim)) - rise + d.carriage.depth_m / 2
    top_z = FOOT_Z + d.frame_size.height_m
    what = "the columns, which carry the carriages up to the top of the reach,"
    chassis.need_room(d, "height_mm", d.frame_size.height_m, highest + IDLER_ABOVE_M + 0.015 - FOOT_Z, what)
    wheels: dict[str, Wheel] = {}
    belts, motors, carriages, bars = [], [], [], []
    for name, degrees in TOWERS_DEG.items():
        tower = _Tower(d, arms, name, degrees, guide_z)
        wheels |= tower.wheels(highest + IDLER_ABOVE_M)
        belts.append(tower.belt())
        motors.append(tower.motor(wheels))
        carriages.append(tower.carriage())
        bars.append(tower.arm(d.space.z_m / 2 + arms.joints_above_nozzle_m))
    top, base = masses.triangle_members(d, column_radius(d, arms), FOOT_Z, top_z)
    on_top = [Lump(d.idlers.mass_kg, wheel.centre) for wheel in wheels.values() if wheel.body == "frame"]
    on_top += [
        Lump(masses.guide_lines(d.carriage.guide, top_z - FOOT_Z), t.centre, (0.0, 0.0, top_z - FOOT_Z))
        for t in carriages
    ]
    on_base = [Lump(w.motor_mass(d, m.name), m.centre, (w.motor_body_m(d, m.name),) * 3) for m in motors]
    plate = 2 * rim + chassis.PLATE_MORE_M
    bodies = (
        *frame_bodies(d, top, base, on_top, [lump for lump in on_base if lump.mass_kg > 0]),
        Body("bed", "base", masses.bed_mass(d, plate, plate * math.pi / 4)[0], (0.0, 0.0, -0.005)),
        *carriages,
        _effector(d, arms),
    )
    radius = column_radius(d, arms)
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
        reach=((-rim, rim), (-rim, rim), (0.0, d.space.z_m)),
        frame_point=(0.0, 0.0, guide_z),
        feet_points=tuple(_out(radius, a, FOOT_Z - chassis.UNDER_M) for a in TOWERS_DEG.values()),
        plate_m=(plate, plate),
        solids=_solids(d, arms, plate, guide_z, top_z, motors),
        signs=tuple(_rail(arms, a) for a in TOWERS_DEG.values()),
        gantry_height_m=guide_z - FOOT_Z,
        arms=tuple(bars),
        reach_round=True,
        column_radius_m=radius,
    )


def _effector(d: Design, arms: ArmsSpec) -> Body:
    """Half of it a platform in the plane of its joints, half a tool from there down to the nozzle (our choice)."""
    kg, nozzle, above = arms.effector_mass_kg / 2, d.space.z_m / 2, arms.joints_above_nozzle_m
    wide = 2 * arms.effector_radius_m
    platform = Lump(kg, (0.0, 0.0, nozzle + above), (wide, wide, THICK_M))
    tool = Lump(kg, (0.0, 0.0, nozzle + above / 2), (TOOL_M, TOOL_M, above))
    mass, centre, inertia = masses.together([platform, tool])
    return Body("effector", "base", mass, centre, free=True, inertia=inertia)


def column_radius(d: Design, arms: ArmsSpec) -> float:
    """From the middle to the middle of a column, behind its guide, m.

    So far back that the frame's members, which leave it 30 degrees to either side of the way to the middle, clear the belt.
    """
    profile, widest = pieces.profile_m(d), max(w.pulley_radius(d, name) for name in DRIVES)
    aside = widest + FLANGE_M + CLEAR_M + profile / 2 / math.cos(math.radians(30))
    thick = max(spec.width_m for spec in d.belts.values()) / 2
    back = aside / math.tan(math.radians(30)) - d.carriage.belt_above_guide_m + thick
    return arms.tower_radius_m + max(profile / 2 + 0.010, back)


def _out(radius_m: float, degrees: float, z: float) -> Point:
    """A point at a distance from the middle towards a tower."""
    a = math.radians(degrees)
    return (radius_m * math.cos(a), radius_m * math.sin(a), z)


class _Tower:
    """One column's carriage, belt, motor and arms. Its belt's plane is seen from the middle: right, then up."""

    def __init__(self, d: Design, arms: ArmsSpec, name: str, degrees: float, guide_z: float) -> None:
        self.d, self.arms, self.name, self.degrees, self.guide_z = d, arms, name, degrees, guide_z
        a = math.radians(degrees)
        self.right = (math.sin(a), -math.cos(a), 0.0)  # Z x n with n = -(cos, sin, 0)
        self.lane_m = w.pulley_radius(d, name)  # of the clamped strand, to the right of the motor's shaft

    def at(self, above_m: float, right_m: float, z: float) -> Point:
        """A point: above the guide's centre, which is inward; to the right; at a height."""
        x, y, _ = _out(self.arms.tower_radius_m - above_m, self.degrees, 0.0)
        return (x + right_m * self.right[0], y + right_m * self.right[1], z)

    def wheels(self, top_z: float) -> dict[str, Wheel]:
        """The motor's pulley and the idler, placed so that the clamped strand stays upright."""
        above, spec, upper = self.d.carriage.belt_above_guide_m, self.d.belts[self.name], self.name.upper()
        beside = self.lane_m - w.toothed_radius(self.d, spec)
        motor = w.pulley(self.d, self.name, "base", self.at(above, 0.0, MOTOR_Z))
        idler = w.toothed_idler(self.d, spec, f"idler {upper}", "frame", self.at(above, beside, top_z))
        return {motor.name: motor, idler.name: idler}

    def belt(self) -> Belt:
        """Down from the carriage round the motor, up and over the idler, down to the carriage."""
        spec, upper = self.d.belts[self.name], self.name.upper()
        above, half = self.d.carriage.belt_above_guide_m + spec.carriage_raise_m, self.d.carriage.depth_m / 2
        lower, higher = (
            Clamp(end, f"carriage {self.name}", self.at(above, self.lane_m, self.guide_z + sign * half))
            for end, sign in (("lower", -1), ("upper", 1))
        )
        wraps = (Wrap(f"motor {upper}", -1), Wrap(f"idler {upper}", -1))
        return Belt(self.name, lower, wraps, higher, spec, "right", 0, (self.right, UP))

    def motor(self, wheels: dict[str, Wheel]) -> Motor:
        """Its shaft points outward, its body lies under the bed."""
        wheel = wheels[f"motor {self.name.upper()}"]
        return Motor(
            self.name, "base", wheel.name, self.d.motors[self.name], wheel.centre, w.motor_face(self.d, MOTOR_Z)
        )

    def carriage(self) -> Body:
        """On its guide along the column."""
        c = self.d.carriage
        mass = masses.tower_carriage_mass(self.d)
        centre = self.at(c.mass_centre_above_guide_m, 0.0, self.guide_z)
        span = self.d.frame_size.height_m
        place = GuidePlace(
            self.at(0.0, 0.0, self.guide_z), 0, SPACING_M, SPACING_M, span, self.guide_z - FOOT_Z, sideways=self.right
        )
        outer = (c.width_m, 0.020, c.depth_m)
        body = slider(f"carriage {self.name}", "frame", mass, centre, 2, c.guide, outer, place)
        return replace(body, turned_rad=math.radians(self.degrees - TOWERS_DEG["a"]))

    def arm(self, platform_z: float) -> Arm:
        """The pair of arms down to the platform."""
        a = self.arms
        ends = (
            (f"carriage {self.name}", self.at(a.carriage_offset_m, 0.0, self.guide_z)),
            ("effector", _out(a.effector_radius_m, self.degrees, platform_z)),
        )
        return Arm(self.name, ends, 2 * a.arm_mass_kg, 2 * a.arm_stiffness_n_m, a.damping_ratio, a.spacing_m)


def _turned(points: list[tuple[float, float]], degrees: float) -> tuple[tuple[float, float], ...]:
    """Points (inward from the rear tower, to its right) turned to another tower: given as (outward, right)."""
    a = math.radians(degrees)
    return tuple((r * math.cos(a) + s * math.sin(a), r * math.sin(a) - s * math.cos(a)) for r, s in points)


def _solids(
    d: Design, arms: ArmsSpec, plate: float, guide_z: float, top_z: float, motors: list[Motor]
) -> tuple[Solid, ...]:
    """Frame, columns, bed, motors, carriages and platform with their heights."""
    profile, radius = pieces.profile_m(d), column_radius(d, arms)
    out: list[Solid] = []
    corners = tuple(_out(radius, a, 0.0)[:2] for a in TOWERS_DEG.values())
    out.append(Solid("frame", "base", corners, 0, "base", profile, z_m=(FOOT_Z, FOOT_Z + profile)))
    out.append(Solid("frame", "frame", corners, 1, "frame", profile, z_m=(top_z - profile, top_z)))
    thick = d.bed.plate_thickness_m + d.bed.glass_thickness_m
    out.append(Solid("bed", "bed", _ring(plate / 2), 1, "bed", z_m=(-thick, 0.0)))
    half, tall = d.carriage.width_m / 2, d.carriage.depth_m / 2
    for motor, (name, degrees) in zip(motors, TOWERS_DEG.items(), strict=True):
        r, s = radius, profile / 2
        square = _turned([(r - s, -s), (r + s, -s), (r + s, s), (r - s, s)], degrees)
        out.append(Solid("column", "frame", square, 3, f"column {name}", z_m=(FOOT_Z, top_z)))
        side = w.motor_body_m(d, motor.name) / 2
        face = arms.tower_radius_m - d.carriage.belt_above_guide_m - (MOTOR_Z - motor.face_z_m)
        back = face + w.motor_z(0.0, d)[0]
        block = _turned([(back, -side), (face, -side), (face, side), (back, side)], degrees)
        out.append(Solid("motor", "base", block, 1, name, z_m=(MOTOR_Z - side, MOTOR_Z + side)))
        # Its plate lies between the guide and the belt; the joints stand beside the belt.
        wide = max(spec.width_m for spec in d.belts.values())
        lies = d.carriage.belt_above_guide_m - wide / 2 - pieces.CLAMP_PAD_M
        outer, inner = arms.tower_radius_m - min(0.004, lies - 0.001), arms.tower_radius_m - lies
        slab = _turned([(inner, -half), (outer, -half), (outer, half), (inner, half)], degrees)
        out.append(
            Solid("carriage", f"carriage {name}", slab, 6, f"carriage {name}", z_m=(guide_z - tall, guide_z + tall))
        )
    z = d.space.z_m / 2 + arms.joints_above_nozzle_m
    out.append(
        Solid(
            "carriage", "effector", _ring(arms.effector_radius_m), 8, "effector", z_m=(z - THICK_M / 2, z + THICK_M / 2)
        )
    )
    return tuple(out)


def _ring(radius_m: float) -> tuple[tuple[float, float], ...]:
    """A circle as a polygon of 24 corners."""
    return tuple((radius_m * math.cos(a), radius_m * math.sin(a)) for a in np.arange(24) * math.pi / 12)


def _rail(arms: ArmsSpec, degrees: float) -> Outline:
    """Where a guide stands, seen from above."""
    ends = _turned([(arms.tower_radius_m, -0.006), (arms.tower_radius_m, 0.006)], degrees)
    return Outline("rail", "frame", ends, 4, "rail", 0.010)
