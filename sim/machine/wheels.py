"""What belts run on and are held by: pulleys, idlers and their radii, clamps, heights of belts, motors' sizes. SI units."""

from __future__ import annotations

import math

from ..parts.design import BeltSpec, Design
from .machine import Clamp, Motor, Point, Wheel

# Heights that belong to no part: our choices, as builders do.
FLANGE_M = 0.001  # thickness of an idler's or pulley's flange
WASHER_M = 0.0005  # under an idler
SHAFT_CLEAR_M = 0.004  # from the lowest pulley's flange down to the motors' faces


def pulley_radius(d: Design, drive: str) -> float:
    """Pitch radius r = z p / (2 pi) of a motor's pulley, m (geometry of synchronous belts)."""
    return d.pulley_teeth[drive] * d.belts[drive].pitch_m / (2 * math.pi)


def toothed_radius(d: Design, belt: BeltSpec) -> float:
    """Radius of the pitch line on an idler at the toothed side, m: z p / (2 pi), or R + tooth + pitch line on a smooth one."""
    if d.idlers.at_teeth == "smooth":
        return d.idlers.smooth_diameter_m / 2 + belt.tooth_height_m + belt.pitch_line_m
    return d.idlers.teeth * belt.pitch_m / (2 * math.pi)


def back_radius(d: Design, belt: BeltSpec) -> float:
    """Radius of the pitch line of a belt whose smooth back lies on a smooth idler, m: R + height - tooth - pitch line."""
    return d.idlers.smooth_diameter_m / 2 + belt.height_m - belt.tooth_height_m - belt.pitch_line_m


def toothed_idler(d: Design, belt: BeltSpec, name: str, body: str, centre: Point) -> Wheel:
    """What runs on the belt's toothed side: an idler with teeth, unless the design says a smooth one."""
    i = d.idlers
    smooth = i.at_teeth == "smooth"
    return Wheel(
        name,
        "smooth idler" if smooth else "toothed idler",
        body,
        centre,
        toothed_radius(d, belt),
        None if smooth else i.teeth,
        None,
        i.inertia_kg_m2,
        i.flange_diameter_m / 2,
    )


def smooth_idler(d: Design, belt: BeltSpec, name: str, body: str, centre: Point) -> Wheel:
    """A smooth idler, for the belt's back."""
    i = d.idlers
    return Wheel(
        name, "smooth idler", body, centre, back_radius(d, belt), None, None, i.inertia_kg_m2, i.flange_diameter_m / 2
    )


def pulley(d: Design, drive: str, body: str, centre: Point) -> Wheel:
    """A motor's pulley."""
    r = pulley_radius(d, drive)
    return Wheel(f"motor {drive.upper()}", "pulley", body, centre, r, d.pulley_teeth[drive], drive, 0.0, r + 0.0025)


def level_heights(d: Design, belt_z: float, drives: tuple[str, str]) -> dict[str, float]:
    """Height of two crossed belts on the frame's wheels, the first above the second, about `belt_z`, m."""
    wide = max(spec.width_m for spec in d.belts.values())
    half = (wide + d.level_gap_m) / 2
    return {drives[0]: belt_z + half, drives[1]: belt_z - half}


def below_wheels(d: Design, z: float) -> float:
    """Underside of the flange of a wheel whose belt runs at height z, m."""
    return z - d.idlers.width_m / 2 - FLANGE_M


def side_clamps(d: Design, x: float, lane_y: float, z: float) -> tuple[Clamp, Clamp]:
    """Where a belt along X is held at the carriage's left and right edge."""
    w = d.carriage.width_m / 2
    return Clamp("left", "carriage", (x - w, lane_y, z)), Clamp("right", "carriage", (x + w, lane_y, z))


def motor_body_m(d: Design, drive: str) -> float:
    """Side of the motor's square body, m; an ideal motor is drawn with the usual 42.3 mm."""
    spec = d.motors[drive]
    return 0.0423 if spec is None else spec.body_m


def motor_mass(d: Design, drive: str) -> float:
    """Mass of a motor, kg; an ideal one weighs nothing."""
    spec = d.motors[drive]
    return 0.0 if spec is None else spec.mass_kg


def motor_z(face_z: float, d: Design) -> tuple[float, float]:
    """Bottom and top of the motors' bodies below their faces, m; an ideal motor is as long as the usual 40 mm one."""
    longest = max((0.040 if m is None or m.length_m == 0 else m.length_m for m in d.motors.values()), default=0.040)
    return face_z - longest, face_z


def motors_on(
    d: Design, wheels: dict[str, Wheel], stators: dict[str, str], face_z: dict[str, float]
) -> tuple[Motor, ...]:
    """A motor at each drive's pulley. stators: by drive name the body that carries it.  face_z: height of its face, m."""
    return tuple(
        Motor(name, body, f"motor {name.upper()}", d.motors[name], wheels[f"motor {name.upper()}"].centre, face_z[name])
        for name, body in stators.items()
    )


def motor_face(d: Design, belt_z: float) -> float:
    """Height of a motor's face under a pulley whose belt runs at `belt_z`, m."""
    return below_wheels(d, belt_z) - SHAFT_CLEAR_M
