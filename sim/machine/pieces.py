"""The pieces a chassis is built of, seen from above and with their heights: frame, bed, carriage. SI units."""

from __future__ import annotations

from ..parts.design import Design
from .machine import Motor, Outline, Solid
from .wheels import motor_body_m, motor_z

CLAMP_PAD_M = 0.002  # between the carriage's top and the belts held on it; our choice


def square(x: float, y: float, side: float) -> tuple[tuple[float, float], ...]:
    """Corners of a square about (x, y)."""
    h = side / 2
    return ((x - h, y - h), (x + h, y - h), (x + h, y + h), (x - h, y + h))


def box(x0: float, y0: float, x1: float, y1: float) -> tuple[tuple[float, float], ...]:
    """Corners of a rectangle."""
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def frame_piece(d: Design, centre_xy: tuple[float, float], body: str, top_z: float) -> Solid:
    """The frame seen from above, its members on edge below `top_z`."""
    x, y = centre_xy
    w, h = d.frame_size.width_m / 2, d.frame_size.depth_m / 2
    tall = 0.020 if d.frame is None else d.frame.side_b_m
    corners = box(x - w, y - h, x + w, y + h)
    return Solid("frame", body, corners, 0, body, profile_m(d), z_m=(top_z - tall, top_z))


def profile_m(d: Design) -> float:
    """Width of the frame's members seen from above, m; a rigid frame is drawn as a light profile."""
    return 0.020 if d.frame is None else d.frame.side_a_m


def bed_piece(d: Design, at: tuple[float, float], plate_m: tuple[float, float], level: int, top_z: float) -> Solid:
    """The bed plate with its glass, below `top_z`."""
    w, h = plate_m[0] / 2, plate_m[1] / 2
    thick = d.bed.plate_thickness_m + d.bed.glass_thickness_m
    corners = box(at[0] - w, at[1] - h, at[0] + w, at[1] + h)
    return Solid("bed", "bed", corners, level, "bed", z_m=(top_z - thick, top_z))


def motor_piece(d: Design, motor: Motor, level: int) -> Solid:
    """A motor's body below its face."""
    x, y, _ = motor.centre
    corners = square(x, y, motor_body_m(d, motor.name))
    return Solid("motor", motor.stator, corners, level, motor.name, z_m=motor_z(motor.face_z_m, d))


def carriage_piece(d: Design, at: tuple[float, float], guide_z: float, belt_z: float) -> Solid:
    """The carriage, from 10 mm above the nozzle to the pads its lowest belt (at belt_z) is clamped on."""
    w, h = d.carriage.width_m / 2, d.carriage.depth_m / 2
    wide = max(spec.width_m for spec in d.belts.values())
    bottom = guide_z - max(0.015, d.carriage.nozzle_below_guide_m - 0.010)
    top = max(bottom + 0.005, belt_z - wide / 2 - CLAMP_PAD_M)
    corners = box(at[0] - w, at[1] - h, at[0] + w, at[1] + h)
    return Solid("carriage", "carriage", corners, 8, "carriage", z_m=(bottom, top))


def rail_signs(body: str, xs: tuple[float, float], ys: tuple[float, float], level: int) -> list[Outline]:
    """Lines of a guide along Y, drawn; what room they take is the guide's own (rods and rails stand where it places them)."""
    return [Outline("rail", body, ((x, ys[0]), (x, ys[1])), level, "rail", 0.010) for x in xs]
