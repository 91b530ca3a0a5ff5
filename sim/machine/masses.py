"""Masses that the person did not give, computed from the parts. Each returns kg and how it came about in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ..parts.design import Design, DiagonalSpec, GuideSpec, PanelSpec
from .panels import Array, Face, base_reach, faces, struts

STEEL_KG_M3 = 7850.0  # handbook value, from memory
PRINTED_KG_M3 = 1050.0  # printed plastic with its voids; our estimate (ABS 1040, PETG 1270, less for infill)
GLASS_KG_M3 = 2500.0  # soda-lime glass, handbook value from memory


def guide_mover(guide: GuideSpec | None) -> float:
    """Mass of what travels on a guide: bushings, wheels or blocks, kg."""
    return 0.0 if guide is None else guide.mover_mass_kg


def guide_lines(guide: GuideSpec | None, length_m: float) -> float:
    """Mass of the rods or rails of a guide over a length, kg."""
    return 0.0 if guide is None else guide.line_mass_kg_m * length_m


def carriage_mass(d: Design) -> tuple[float, str]:
    """Tool, mounting plate and what runs on the guide."""
    if d.carriage.mass_kg is not None:
        return d.carriage.mass_kg, ""
    plate = d.carriage.width_m * d.carriage.depth_m * 0.012 * PRINTED_KG_M3
    mass = d.carriage.tool_mass_kg + plate + guide_mover(d.carriage.guide)
    return mass, "tool, a 12 mm printed plate, and the moving part of the guide"


def tower_carriage_mass(d: Design) -> tuple[float, str]:
    """One of the carriages that arms hang on: a mounting plate and what runs on the guide; the tool is elsewhere."""
    if d.carriage.mass_kg is not None:
        return d.carriage.mass_kg, ""
    plate = d.carriage.width_m * d.carriage.depth_m * 0.012 * PRINTED_KG_M3
    return plate + guide_mover(d.carriage.guide), "a 12 mm printed plate and the moving part of the guide"


def gantry_mass(d: Design, span_m: float) -> tuple[float, str]:
    """The carriage's rods or rails over the span, two end blocks with idlers, and what runs on the Y guide."""
    if d.gantry.mass_kg is not None:
        return d.gantry.mass_kg, ""
    ends = 2 * (0.050 * 0.060 * 0.030 * PRINTED_KG_M3 + 2 * d.idlers.mass_kg)
    mass = guide_lines(d.carriage.guide, span_m) + ends + guide_mover(d.gantry.guide)
    return (
        mass,
        f"rods or rails over {span_m * 1e3:.0f} mm, two printed ends with idlers, the moving part of the Y guide",
    )


def bed_mass(d: Design, width_m: float, depth_m: float) -> tuple[float, str]:
    """Plate, glass, print, and what runs on the bed's guide."""
    if d.bed.mass_kg is not None:
        return d.bed.mass_kg + d.bed.print_mass_kg, "" if d.bed.print_mass_kg == 0 else "with the print on it"
    area = width_m * depth_m
    plate = area * d.bed.plate_thickness_m * d.bed.plate_density_kg_m3
    glass = area * d.bed.glass_thickness_m * GLASS_KG_M3
    mass = plate + glass + guide_mover(d.bed.guide) + d.bed.print_mass_kg
    return mass, f"plate {plate * 1e3:.0f} g, glass {glass * 1e3:.0f} g, moving part of the guide, print"


def frame_members(d: Design, at: tuple[float, float], bottom_m: float, top_m: float) -> tuple[list[Lump], list[Lump]]:
    """(frame top, base) of a frame of four columns about `at`: a ring each, and half of the columns."""
    size = d.frame_size
    ring, foot = _per_m(d, "top"), _per_m(d, "base")
    half = (top_m - bottom_m) / 2
    corners = [(x * size.width_m / 2, y * size.depth_m / 2) for x in (-1, 1) for y in (-1, 1)]
    out = []
    for per_m, z, middle in ((ring, top_m, top_m - half / 2), (foot, bottom_m, bottom_m + half / 2)):
        lumps = _ring(size.width_m, size.depth_m, per_m, at, z)
        kg = size.height_m / 2 * _per_m(d, "columns")
        lumps += [Lump(kg, (at[0] + x, at[1] + y, middle), (0.0, 0.0, half)) for x, y in corners]
        out.append(lumps)
    closed_top, closed_base = _panel_lumps(d, (*at, bottom_m))
    return out[0] + closed_top, out[1] + closed_base


def _panel_lumps(d: Design, foot: tuple[float, float, float]) -> tuple[list[Lump], list[Lump]]:
    """(with the frame top, with the base) of panels and diagonals, about the middle of the base `foot`: what stands halves."""
    top: list[Lump] = []
    base: list[Lump] = []
    for panel in d.frame.panels if d.frame is not None else ():
        for face in faces(panel.place, d.frame_size):
            kg = panel_mass(panel, face)
            low, high = face.points.min(axis=0), face.points.max(axis=0)
            if panel.place in ("top", "bottom"):
                (top if panel.place == "top" else base).append(_box_between(kg, low, high, foot))
                continue
            half = np.array([0.0, 0.0, (high[2] - low[2]) / 2])
            top.append(_box_between(kg / 2, low + half, high, foot))
            base.append(_box_between(kg / 2, low, high - half, foot))
    return top, base


def panel_mass(panel: PanelSpec | DiagonalSpec, face: Face) -> float:
    """Mass of what closes one face, kg."""
    if isinstance(panel, PanelSpec):
        return panel.density_kg_m3 * panel.thickness_m * face.b_m * face.h_m
    return panel.count * panel.section.mass_kg_m * face.diagonal_m


def _box_between(kg: float, low: Array, high: Array, foot: tuple[float, float, float]) -> Lump:
    x, y, z = (float(v) for v in np.array(foot) + (low + high) / 2)
    a, b, c = (float(v) for v in high - low)
    return Lump(kg, (x, y, z), (a, b, c))


def portal_members(
    d: Design, at: tuple[float, float], column_y: float, bottom_m: float, top_m: float
) -> tuple[list[Lump], list[Lump]]:
    """(frame top, base) of two columns at `column_y` with a beam on top of them, on a ring about `at`."""
    size = d.frame_size
    half = (top_m - bottom_m) / 2
    kg = size.height_m / 2 * _per_m(d, "columns")
    sides = [at[0] + x * size.width_m / 2 for x in (-1, 1)]
    top = [Lump(size.width_m * _per_m(d, "top"), (at[0], column_y, top_m), (size.width_m, 0.0, 0.0))]
    top += [Lump(kg, (x, column_y, top_m - half / 2), (0.0, 0.0, half)) for x in sides]
    base = _ring(size.width_m, size.depth_m, _per_m(d, "base"), at, bottom_m)
    base += [Lump(kg, (x, column_y, bottom_m + half / 2), (0.0, 0.0, half)) for x in sides]
    reach = base_reach(size.depth_m, at[1], column_y)
    for strut, along in struts(d.frame, *reach, size.height_m) if d.frame is not None else ():
        # Half of each bar goes with the column's top, half with its foot on the base.
        kg = strut.section.mass_kg_m * float(np.linalg.norm(along)) / 2
        for x in sides:
            top.append(Lump(kg, (x, column_y - along[1] / 4, top_m - half / 2), (0.0, abs(along[1]) / 2, half)))
            base.append(Lump(kg, (x, column_y - along[1] * 3 / 4, bottom_m + half / 2), (0.0, abs(along[1]) / 2, half)))
    for panel in d.frame.panels if d.frame is not None else ():
        if panel.place == "bottom":
            for face in faces(panel.place, size):
                base.append(_box_between(panel_mass(panel, face), face.points[0], face.points[2], (*at, bottom_m)))
    return top, base


def triangle_members(d: Design, radius_m: float, bottom_m: float, top_m: float) -> tuple[list[Lump], list[Lump]]:
    """(frame top, base) of three columns at `radius_m` from the middle: a triangle each, and half of the columns."""
    turns = [math.radians(a) for a in (90.0, 210.0, 330.0)]
    corners = [(radius_m * math.cos(a), radius_m * math.sin(a)) for a in turns]
    half = (top_m - bottom_m) / 2
    out = []
    for per_m, z, middle in (
        (_per_m(d, "top"), top_m, top_m - half / 2),
        (_per_m(d, "base"), bottom_m, bottom_m + half / 2),
    ):
        lumps = [
            Lump(d.frame_size.height_m / 2 * _per_m(d, "columns"), (*xy, middle), (0.0, 0.0, half)) for xy in corners
        ]
        for (x0, y0), (x1, y1) in zip(corners, corners[1:] + corners[:1], strict=True):
            size = (abs(x1 - x0), abs(y1 - y0), 0.0)
            lumps.append(Lump(math.hypot(*size) * per_m, ((x0 + x1) / 2, (y0 + y1) / 2, z), size))
        out.append(lumps)
    return out[0], out[1]


def _per_m(d: Design, where: Literal["base", "columns", "top"]) -> float:
    """Mass of a member per metre; a rigid frame weighs what a light profile does."""
    return 0.5 if d.frame is None else d.frame.member(where).mass_kg_m


def _ring(width_m: float, depth_m: float, per_m: float, at: tuple[float, float], z: float) -> list[Lump]:
    lumps = [Lump(width_m * per_m, (at[0], at[1] + y * depth_m / 2, z), (width_m, 0.0, 0.0)) for y in (-1, 1)]
    return lumps + [Lump(depth_m * per_m, (at[0] + x * width_m / 2, at[1], z), (0.0, depth_m, 0.0)) for x in (-1, 1)]


@dataclass(frozen=True)
class Lump:
    """A part as a solid box: mass kg, centre m, size m."""

    mass_kg: float
    centre: tuple[float, float, float]
    size_m: tuple[float, float, float] = (0.0, 0.0, 0.0)


def together(lumps: Sequence[Lump]) -> tuple[float, tuple[float, float, float], tuple[float, float, float]]:
    """(mass, mass centre, moments about it along X, Y, Z) of several parts; products of inertia are left out."""
    mass = sum(p.mass_kg for p in lumps)
    centre = np.array([0.0, 0.0, 0.0])
    for p in lumps:
        centre += p.mass_kg / mass * np.array(p.centre)
    moments = np.zeros(3)
    for p in lumps:
        far = (np.array(p.centre) - centre) ** 2
        moments += np.array(box_inertia(p.mass_kg, *p.size_m)) + p.mass_kg * (far.sum() - far)
    x, y, z = (float(v) for v in centre)
    a, b, c = (float(v) for v in moments)
    return mass, (x, y, z), (a, b, c)


def box_inertia(mass_kg: float, x_m: float, y_m: float, z_m: float) -> tuple[float, float, float]:
    """Principal moments of a solid box about its centre, kg m2."""
    f = mass_kg / 12
    return f * (y_m**2 + z_m**2), f * (x_m**2 + z_m**2), f * (x_m**2 + y_m**2)
