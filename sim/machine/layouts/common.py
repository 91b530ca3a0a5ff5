"""What several layouts need: belt radii on wheels, and the frame body. SI units."""

from __future__ import annotations

import math

from ...errors import MachineError
from ...parts.design import BeltSpec, Design
from .. import masses
from ..machine import Body, Point, Wheel

LEVEL_GAP_M = 0.004  # clear height between the two belt levels of a crossed layout; our choice


def pulley_radius(d: Design, drive: str) -> float:
    """Pitch radius r = z p / (2 pi) of a motor's pulley, m (geometry of synchronous belts)."""
    return d.pulley_teeth[drive] * d.belts[drive].pitch_m / (2 * math.pi)


def toothed_radius(d: Design, belt: BeltSpec) -> float:
    """Pitch radius of a toothed idler, m."""
    return d.idlers.teeth * belt.pitch_m / (2 * math.pi)


def back_radius(d: Design, belt: BeltSpec) -> float:
    """Radius of the pitch line of a belt whose smooth back lies on a smooth idler, m: R + height - tooth - pitch line."""
    return d.idlers.smooth_diameter_m / 2 + belt.height_m - belt.tooth_height_m - belt.pitch_line_m


def toothed_idler(d: Design, belt: BeltSpec, name: str, body: str, centre: Point) -> Wheel:
    """An idler with teeth, for the toothed side."""
    i = d.idlers
    return Wheel(
        name,
        "toothed idler",
        body,
        centre,
        toothed_radius(d, belt),
        i.teeth,
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


def motor_body_m(d: Design, drive: str) -> float:
    """Side of the motor's square body, m; an ideal motor is drawn with the usual 42.3 mm."""
    spec = d.motors[drive]
    return 0.0423 if spec is None else spec.body_m


def motor_mass(d: Design, drive: str) -> float:
    """Mass of a motor, kg; an ideal one weighs nothing."""
    spec = d.motors[drive]
    return 0.0 if spec is None else spec.mass_kg


def frame_top(d: Design, centre: Point, on_top_kg: float) -> Body:
    """The upper part of the frame, on its columns: it may sway in X and Y unless the frame is rigid."""
    (mass, words), _ = masses.frame_masses(d, on_top_kg)
    size = d.frame_size
    inertia = masses.box_inertia(mass, size.width_m, size.depth_m, size.height_m / 2)
    sway = () if d.frame is None else (0, 1)
    return Body("frame", "base", mass, centre, None, sway, None, inertia, words)


def base(d: Design, centre: Point, extra_kg: float = 0.0) -> Body:
    """What stands on the feet."""
    _, (mass, words) = masses.frame_masses(d, 0.0)
    size = d.frame_size
    total = mass + extra_kg
    inertia = masses.box_inertia(total, size.width_m, size.depth_m, size.height_m / 2)
    return Body("base", None, total, centre, None, (), None, inertia, words)


def need_room(d: Design, key: str, have_m: float, need_m: float, what: str) -> None:
    """Refuse a frame too small for what must stand in it."""
    if have_m + 1e-9 < need_m:
        raise MachineError(
            f"frame.{key} = {have_m * 1e3:g}: too small, {what} need {math.ceil(need_m * 1e3)} mm;"
            f" write {key} = {math.ceil(need_m * 1e3)} or more, or make the reach smaller"
        )


def square(x: float, y: float, side: float) -> tuple[tuple[float, float], ...]:
    """Corners of a square about (x, y)."""
    h = side / 2
    return ((x - h, y - h), (x + h, y - h), (x + h, y + h), (x - h, y + h))


def box(x0: float, y0: float, x1: float, y1: float) -> tuple[tuple[float, float], ...]:
    """Corners of a rectangle."""
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
