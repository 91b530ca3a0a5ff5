"""What several layouts need: belt radii on wheels, and the frame body. SI units."""

from __future__ import annotations

import math

from ...errors import MachineError
from ...parts.design import BeltSpec, Design, GuideSpec
from .. import masses
from ..machine import Body, Clamp, GuidePlace, Point, Shape, Wheel

# Heights that belong to no part: our choices, as builders do.
FLANGE_M = 0.001  # thickness of an idler's or pulley's flange
WASHER_M = 0.0005  # under an idler
CLAMP_PAD_M = 0.002  # between the carriage's top and the belts held on it
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


#: Distance of two bearings along one line, m, and of a carriage's two lines; our choices, as builders do.
CARRIAGE_SPACING_M = 0.040
CARRIAGE_APART_M = 0.040
GANTRY_SPACING_M = 0.050
BED_SPACING_M = 0.080


def slider(
    name: str,
    parent: str,
    mass: tuple[float, str],
    centre: Point,
    slide: int,
    guide: GuideSpec | None,
    outer_m: Point,
    place: GuidePlace,
) -> Body:
    """A body on a guide. mass: (kg, words).  outer_m: size of the box whose inertia it has."""
    return Body(
        name=name,
        parent=parent,
        mass_kg=mass[0],
        centre=centre,
        slide=slide,
        guide=guide,
        inertia=masses.box_inertia(mass[0], *outer_m),
        mass_note=mass[1],
        place=place,
    )


def carriage(d: Design, parent: str, guide_at: Point, span_m: float) -> Body:
    """The carriage on its X guide, whose lines span the gantry or beam symmetrically about `guide_at`."""
    x, y, z = guide_at
    place = GuidePlace(guide_at, 1, CARRIAGE_APART_M, CARRIAGE_SPACING_M, span_m, span_m / 2)
    return slider(
        "carriage",
        parent,
        masses.carriage_mass(d),
        (x, y, z + d.carriage.mass_centre_above_guide_m),
        0,
        d.carriage.guide,
        (d.carriage.width_m, d.carriage.depth_m, 0.060),
        place,
    )


def z_bed(d: Design, centre: Point, width_m: float, depth_m: float) -> Body:
    """A bed on Z: two rods (or rails, or sets of wheels) at its rear edge, two bearings one above the other."""
    place = GuidePlace(
        (centre[0], centre[1] + depth_m / 2 + 0.015, centre[2] - 0.040),
        0,
        min(width_m, 0.5 * width_m + 0.05),
        BED_SPACING_M,
        d.space.z_m + 0.120,
        (d.space.z_m + 0.120) / 2,
    )
    return slider(
        "bed", "base", masses.bed_mass(d, width_m, depth_m), centre, 2, d.bed.guide, (width_m, depth_m, 0.004), place
    )


def y_gantry(d: Design, centre: Point, mass: tuple[float, str], apart_m: float, span_m: float, width_m: float) -> Body:
    """A gantry across the frame on a Y guide at each side; its lines run from front to rear about `centre`."""
    place = GuidePlace(centre, 0, apart_m, GANTRY_SPACING_M, span_m, span_m / 2)
    return slider("gantry", "frame", mass, centre, 1, d.gantry.guide, (width_m, 0.040, 0.030), place)


def level_heights(d: Design, belt_z: float, drives: tuple[str, str]) -> dict[str, float]:
    """Height of two crossed belts on the frame's wheels, the first above the second, about `belt_z`, m."""
    wide = max(spec.width_m for spec in d.belts.values())
    half = (wide + d.level_gap_m) / 2
    return {drives[0]: belt_z + half, drives[1]: belt_z - half}


def below_wheels(d: Design, z: float) -> float:
    """Underside of the flange of a wheel whose belt runs at height z, m."""
    return z - d.idlers.width_m / 2 - FLANGE_M


def motor_z(face_z: float, d: Design) -> tuple[float, float]:
    """Bottom and top of the motors' bodies below their faces, m; an ideal motor is as long as the usual 40 mm one."""
    longest = max((0.040 if m is None or m.length_m == 0 else m.length_m for m in d.motors.values()), default=0.040)
    return face_z - longest, face_z


def corners(d: Design, centre_xy: tuple[float, float], z: float) -> tuple[Point, ...]:
    """The four corners of the frame at a height."""
    x, y = centre_xy
    w, h = d.frame_size.width_m / 2, d.frame_size.depth_m / 2
    return ((x - w, y - h, z), (x + w, y - h, z), (x + w, y + h, z), (x - w, y + h, z))


def outline(d: Design, centre_xy: tuple[float, float], body: str, top_z: float) -> Shape:
    """The frame seen from above, its members on edge below `top_z`."""
    x, y = centre_xy
    w, h = d.frame_size.width_m / 2, d.frame_size.depth_m / 2
    profile = 0.020 if d.frame is None else d.frame.side_a_m
    tall = 0.020 if d.frame is None else d.frame.side_b_m
    return Shape("frame", body, box(x - w, y - h, x + w, y + h), profile, 0, body, (top_z - tall, top_z))


def carriage_shapes(d: Design, at: tuple[float, float], guide_z: float, belt_z: float) -> list[Shape]:
    """The carriage, from 10 mm above the nozzle to the pads its lowest belt (at belt_z) is clamped on; the tool's mark."""
    w, h = d.carriage.width_m / 2, d.carriage.depth_m / 2
    wide = max(spec.width_m for spec in d.belts.values())
    bottom = guide_z - max(0.015, d.carriage.nozzle_below_guide_m - 0.010)
    top = max(bottom + 0.005, belt_z - wide / 2 - CLAMP_PAD_M)
    return [
        Shape(
            "carriage", "carriage", box(at[0] - w, at[1] - h, at[0] + w, at[1] + h), 0.0, 8, "carriage", (bottom, top)
        ),
        Shape("tool", "carriage", (at,), 0.0, 9, "tool"),
    ]


def bed_shape(d: Design, at: tuple[float, float], width_m: float, depth_m: float, level: int, top_z: float) -> Shape:
    """The bed plate with its glass, below `top_z`."""
    w, h = width_m / 2, depth_m / 2
    thick = d.bed.plate_thickness_m + d.bed.glass_thickness_m
    outline = box(at[0] - w, at[1] - h, at[0] + w, at[1] + h)
    return Shape("bed", "bed", outline, 0.0, level, "bed", (top_z - thick, top_z))


def side_clamps(d: Design, x: float, lane_y: float, z: float) -> tuple[Clamp, Clamp]:
    """Where a belt along X is held at the carriage's left and right edge."""
    w = d.carriage.width_m / 2
    return Clamp("left", "carriage", (x - w, lane_y, z)), Clamp("right", "carriage", (x + w, lane_y, z))
