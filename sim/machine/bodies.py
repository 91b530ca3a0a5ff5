"""The bodies of a chassis: frame top and base, gantry, carriage, bed, each with its guide and mass. SI units."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from ..parts.design import Design, GuideSpec
from . import masses
from .machine import Body, GuidePlace, Motor, Point, Wheel
from .masses import Lump
from .wheels import motor_body_m, motor_mass

#: Distance of two bearings along one line, m, and of a carriage's two lines; our choices, as builders do.
CARRIAGE_SPACING_M = 0.040
CARRIAGE_APART_M = 0.040
GANTRY_SPACING_M = 0.050
BED_SPACING_M = 0.080


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
        out.append(Body(name, parent, mass, centre, sway=sway, inertia=inertia, mass_note=words))
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


def slider(
    name: str,
    parent: str,
    mass: tuple[float, str],
    centre: Point,
    slide: int,
    guide: GuideSpec | None,
    outer_m: Point,
    place: GuidePlace,
    held: bool = False,
) -> Body:
    """A body on a guide. mass: (kg, words).  outer_m: size of the box whose inertia it has.  held: see `Body`.

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
        held=held,
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
    mass, outer_m = masses.bed_mass(d, width_m, depth_m), (width_m, depth_m, 0.004)
    return slider("bed", "base", mass, centre, 2, d.bed.guide, outer_m, place, held=True)


def y_gantry(d: Design, centre: Point, mass: tuple[float, str], apart_m: float, span_m: float, width_m: float) -> Body:
    """A gantry across the frame on a Y guide at each side; its lines run from front to rear about `centre`."""
    place = GuidePlace(centre, 0, apart_m, GANTRY_SPACING_M, span_m, span_m / 2)
    return slider("gantry", "frame", mass, centre, 1, d.gantry.guide, (width_m, 0.040, 0.030), place)
