"""Masses that the person did not give, computed from the parts. Each returns kg and how it came about in words."""

from __future__ import annotations

from ..parts.design import Design, GuideSpec

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


def frame_masses(d: Design, on_top_kg: float) -> tuple[tuple[float, str], tuple[float, str]]:
    """(mass, words) of the frame top (ring, half the columns, what is fixed to it) and of the base (ring, the other half)."""
    size, spec = d.frame_size, d.frame
    per_m = 0.5 if spec is None else spec.mass_kg_m
    ring = 2 * (size.width_m + size.depth_m) * per_m
    columns = 4 * size.height_m * per_m
    top = ring + columns / 2 + on_top_kg
    base = ring + columns / 2
    words = f"ring {ring * 1e3:.0f} g and half the columns {columns * 500:.0f} g"
    out_top = (top, f"{words}, and {on_top_kg * 1e3:.0f} g fixed to it")
    out_base = (base, words)
    if spec is not None and spec.top_mass_kg is not None:
        out_top = (spec.top_mass_kg, "")
    if spec is not None and spec.base_mass_kg is not None:
        out_base = (spec.base_mass_kg, "")
    return out_top, out_base


def box_inertia(mass_kg: float, x_m: float, y_m: float, z_m: float) -> tuple[float, float, float]:
    """Principal moments of a solid box about its centre, kg m2."""
    f = mass_kg / 12
    return f * (y_m**2 + z_m**2), f * (x_m**2 + z_m**2), f * (x_m**2 + y_m**2)
