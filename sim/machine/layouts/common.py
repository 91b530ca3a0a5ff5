"""What several layouts need: belt radii on wheels, and the frame body. SI units."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from ...errors import MachineError
from ...parts.design import BeltSpec, Design, GuideSpec
from .. import masses
from ..machine import Body, Clamp, GuidePlace, Motor, Point, Shape, Wheel
from ..masses import Lump

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


def frame_bodies(
    d: Design, top: list[Lump], base: list[Lump], on_top: list[Lump], on_base: list[Lump] | None = None
) -> tuple[Body, Body]:
    """(base, frame top): mass, mass centre and inertia from their parts, scaled where a mass is given.

    top, base: their members; on_top, on_base: what is fixed to them. The frame top may sway in X and Y unless rigid.
    """
    spec = d.frame
    out = []
    for name, parent, members, fixed, given, sway in (
        ("base", None, base, on_base or [], None if spec is None else spec.base_mass_kg, ()),
        ("frame", "base", top, on_top, None if spec is None else spec.top_mass_kg, () if spec is None else (0, 1)),
    ):
        mass, centre, inertia = masses.together([*members, *fixed])
        own, more = sum(p.mass_kg for p in members), sum(p.mass_kg for p in fixed)
        closed = " and panels" if spec is not None and spec.panels else ""
        words = f"members{closed} {own * 1e3:.0f} g, half the columns among them" + (
            f", and {more * 1e3:.0f} g fixed to it" if more else ""
        )
        if given is not None:
            x, y, z = (given / mass * i for i in inertia)
            mass, inertia, words = given, (x, y, z), ""
        out.append(Body(name, parent, mass, centre, None, sway, None, inertia, words))
    return out[0], out[1]


def box_frame(d: Design, at: tuple[float, float], top_z: float, on_top: list[Lump]) -> tuple[Body, Body]:
    """(base, frame top) of a frame of four columns about `at`, its top ring at `top_z`."""
    top, base = masses.frame_members(d, at, top_z - d.frame_size.height_m, top_z)
    return frame_bodies(d, top, base, on_top)


def on_frame(
    d: Design, body: str, wheels: Iterable[Wheel], motors: Iterable[Motor], lines: Iterable[Lump] = ()
) -> list[Lump]:
    """What is fixed to a part of the frame: its motors, the idlers on it, and the lines of a guide."""
    out = [*lines]
    for m in motors:
        if m.stator == body and motor_mass(d, m.name) > 0:
            x, y, z = m.centre
            side = motor_body_m(d, m.name)
            out.append(Lump(motor_mass(d, m.name), (x, y, z - 0.030), (side, side, 0.040)))
    out += [Lump(d.idlers.mass_kg, w.centre) for w in wheels if w.body == body and w.drive is None]
    return out


def guide_on(guide: GuideSpec | None, xs: tuple[float, float], y: float, z: float, length_m: float) -> list[Lump]:
    """The two lines of a guide along Y at `xs`, over a length about (y, z)."""
    mass = masses.guide_lines(guide, length_m) / 2
    return [Lump(mass, (x, y, z), (0.0, length_m, 0.0)) for x in xs] if mass > 0 else []


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
    """A body on a guide. mass: (kg, words).  outer_m: size of the box whose inertia it has.

    place: the layout's own; distances of bearings that the design gives take its place.
    """
    if guide is not None:
        place = replace(
            place,
            apart_m=place.apart_m if guide.apart_m is None else guide.apart_m,
            spacing_m=place.spacing_m if guide.spacing_m is None else guide.spacing_m,
            edge_m=guide.apart_m / 2 if guide.lines == 1 and guide.apart_m is not None else place.edge_m,
        )
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
        (centre[0], centre[1] + depth_m / 2 + d.bed.guide_gap_m, centre[2] - 0.040),
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
