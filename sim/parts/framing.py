"""The frame's members, its outer size and its feet: the part of `resolve` that has geometry in it."""

from __future__ import annotations

import math

from ..errors import ScenarioError
from ..scenario.fields import tidy
from .catalogue import Part
from .completion import Completion, off
from .design import ArmsSpec, FeetSpec, FrameSize, FrameSpec, MemberSpec
from .panelling import idle_panels, panel_specs, printed_diagonals, printed_panels

# Clear of the carriage at both ends of its reach: belts, wheels and motors, beside a 20 mm profile (our choice).
BESIDE_MM = 100.0
BEFORE_AND_BEHIND_MM = 110.0
ABOVE_AND_BELOW_MM = 200.0
# Three columns: idlers above the highest carriage, and motors between the bed and the columns' feet (our choice).
TRIANGLE_ENDS_MM = 40.0 + 80.0
USUAL_SIDE_MM = 20.0
USUAL_TEETH = 20


def frame_spec(c: Completion) -> FrameSpec | None:
    """The frame's members and joints; None when it is rigid. Raises ScenarioError where a value contradicts the part."""
    part = c.part(("frame", "part"))
    if part is None:
        c.refuse_overrides(("frame",), "part", off("frames"))
        for name in ("joint_nm_per_rad", "material", "base", "columns", "top"):
            c.idle(("frame", name), off("frames"))
        idle_panels(c, off("frames"))
        return None
    joint = c.part(("frame", "joints"))
    if joint is None:
        c.refuse_overrides(("frame",), "joints", off("joints"))
    joint_nm_rad = math.inf if joint is None else c.si(("frame", "joint_nm_per_rad"), joint)
    parts = {name: _other(c, name) for name in ("base", "columns", "top")}
    printed = printed_diagonals(c) or any(p is not None and p.words["type"] == "printed" for p in parts.values())
    if part.words["type"] != "printed":
        _no_print_keys(c, part, printed)
    section = _section(c, part)
    others = {name: None if p is None else _section(c, p) for name, p in parts.items()}
    other_size = 1.0
    corners = (section, *(m for m in others.values() if m is not None))
    if joint is not None and any(
        m.other_size and c.catalogue.get("frames", m.part).words["type"] != "printed" for m in corners
    ):
        other_size = _used(c, joint, "other_size").si("other_size")
    return FrameSpec(
        **vars(section),
        kind=part.words["type"],
        joints=str(c.value(("frame", "joints"))),
        joint_nm_rad=joint_nm_rad,
        damping_ratio=c.si(("frame", "damping"), part),
        stiffness_x_n_m=_optional(c, "stiffness_x_n_per_mm"),
        stiffness_y_n_m=_optional(c, "stiffness_y_n_per_mm"),
        top_mass_kg=_optional(c, "top_mass_g"),
        base_mass_kg=_optional(c, "base_mass_g"),
        material=_material(c, part),
        slot=_of_profile(c, part, "slot", "v"),
        bore=_of_profile(c, part, "bore", "round"),
        base=others["base"],
        columns=others["columns"],
        top=others["top"],
        panels=panel_specs(c, lambda bar: _section(c, bar)),
        other_size_factor=other_size,
    )


def _of_profile(c: Completion, part: Part, name: str, usual: str) -> str:
    """A word about a slot profile's section; a printed member has none."""
    if part.words["type"] == "printed":
        c.idle(("frame", name), "a printed member has neither slots nor a bore")
        return usual
    return str(c.value_or(("frame", name), usual, f"usual for {part.name}", "default"))


def _material(c: Completion, part: Part) -> str:
    """Name of what the members are made of; a printed frame's is decided with its section."""
    if part.words["type"] != "printed":
        return part.words["material"]
    return str(c.value(("frame", "material")))


def _optional(c: Completion, name: str) -> float | None:
    return None if c.written(("frame", name)) is None else c.si(("frame", name))


def _other(c: Completion, name: str) -> Part | None:
    """The part of members that differ from the frame's own, None where nobody wrote one."""
    if c.written(("frame", name)) is None:
        return None
    part = c.part(("frame", name))
    if part is None:
        raise ScenarioError(
            [c.problem(("frame", name), 'its members bend like all others; name a profile, or write part = "rigid"')]
        )
    return part


def other_member(c: Completion, path: tuple[str, ...], note: str) -> MemberSpec | None:
    """A member that is the frame's own unless somebody wrote another; None where it is rigid."""
    c.value_or(path, c.value(("frame", "part")), note, "default")
    part = c.part(path)
    return None if part is None else _section(c, part)


def _no_print_keys(c: Completion, part: Part, printed: bool) -> None:
    """Refuse or tell of keys that only printed members have, where there are none."""
    if printed:
        return
    sway = ("stiffness_x_n_per_mm", "stiffness_y_n_per_mm", "damping", "top_mass_g", "base_mass_g")
    c.refuse_overrides(("frame",), "part", f'since only part = "printed" has it and this is {part.name}', keep=sway)
    if not printed_panels(c):
        c.idle(("frame", "material"), f"{part.name} is aluminium; only a printed frame takes a material")


def _section(c: Completion, part: Part) -> MemberSpec:
    return _printed(c, part) if part.words["type"] == "printed" else _slot(c, part)


def _used(c: Completion, part: Part, *keys: str) -> Part:
    """The part, its uncertain numbers noted."""
    for key in keys:
        c.use(part, key)
    return part


def _slot(c: Completion, part: Part) -> MemberSpec:
    material = _used(c, c.catalogue.get("materials", part.words["material"]), "elastic_gpa", "shear_gpa")
    _used(c, part, "i_strong_mm4", "i_weak_mm4", "torsion_mm4")
    return MemberSpec(
        part=part.name,
        elastic_modulus_pa=material.si("elastic_gpa"),
        shear_modulus_pa=material.si("shear_gpa"),
        i_strong_m4=part.si("i_strong_mm4"),
        i_weak_m4=part.si("i_weak_mm4"),
        torsion_m4=part.si("torsion_mm4"),
        area_m2=part.si("area_mm2"),
        side_a_m=part.si("side_a_mm"),
        side_b_m=part.si("side_b_mm"),
        mass_kg_m=part.si("mass_kg_m"),
    )


def _printed(c: Completion, part: Part) -> MemberSpec:
    """A square box section: outer side a, wall t. Its walls carry; infill is not counted."""
    named = c.value_or(("frame", "material"), part.words["material"], f"usual for a {part.name} frame", "default")
    material = _used(c, c.catalogue.get("materials", named), "elastic_gpa", "shear_gpa")
    if material.caution:
        c.notices.append(f"frame.material = {named}: {material.caution}")
    a_m, t_m = c.si(("frame", "side_mm"), part), c.si(("frame", "wall_mm"), part)
    if 2 * t_m > a_m:
        most = tidy(c.value(("frame", "side_mm")) / 2)
        path = ("frame", "wall_mm") if c.written(("frame", "wall_mm")) is not None else ("frame", "side_mm")
        rule = f"must be at most half of side_mm, {most}" if path[-1] == "wall_mm" else "must be at least twice wall_mm"
        raise ScenarioError([c.problem(path, f"{rule}; the walls of a member meet in its middle")])
    hole_m = a_m - 2 * t_m
    i_m4 = (a_m**4 - hole_m**4) / 12
    area_m2 = a_m**2 - hole_m**2
    # Closed square tube with sharp corners, EN 10210-2 annex A (from memory): Bredt's t (a - t)^3 and the wall's own
    # twisting t^3 h / 3 over its middle line h. A full bar has 0.1406 a^4 (Roark, from memory); no tube has more.
    torsion_m4 = min(t_m * (a_m - t_m) ** 3 + t_m**3 * 4 * (a_m - t_m) / 3, 0.1406 * a_m**4)
    return MemberSpec(
        part=part.name,
        elastic_modulus_pa=material.si("elastic_gpa"),
        shear_modulus_pa=material.si("shear_gpa"),
        i_strong_m4=i_m4,
        i_weak_m4=i_m4,
        torsion_m4=torsion_m4,
        area_m2=area_m2,
        side_a_m=a_m,
        side_b_m=a_m,
        mass_kg_m=area_m2 * material.si("density_kg_m3"),
    )


def frame_size(c: Completion, more_beside_mm: float = 0.0) -> FrameSize:
    """Outer size of the frame: as written, else the reach and room for carriage, belts, motors and members.

    more_beside_mm: what the layout's belts need of the width beyond the usual.
    """
    part = c.part(("frame", "part"))
    side_mm = USUAL_SIDE_MM
    if part is not None:
        side_mm = c.value(("frame", "side_mm"), part) if part.words["type"] == "printed" else part.value("side_a_mm")
    wider_mm = 2 * max(0.0, side_mm - USUAL_SIDE_MM) + _larger_wheels_mm(c)
    space, carriage = c.scenario.file.space, c.scenario.file.carriage
    beside_mm = BESIDE_MM + more_beside_mm
    needed = {
        "width_mm": (space.x_mm + carriage.width_mm + beside_mm + wider_mm, "reach, carriage, and room for the belts"),
        "depth_mm": (space.y_mm + carriage.depth_mm + BEFORE_AND_BEHIND_MM + wider_mm, "reach, carriage, and motors"),
        "height_mm": (space.z_mm + ABOVE_AND_BELOW_MM, "reach, and room for the bed and the carriage"),
    }
    for name, (size_mm, note) in needed.items():
        c.value_or(("frame", name), float(10 * math.ceil(size_mm / 10 - 1e-9)), note)
    return FrameSize(c.si(("frame", "width_mm")), c.si(("frame", "depth_mm")), c.si(("frame", "height_mm")))


def triangle_size(c: Completion, arms: ArmsSpec, spec: FrameSpec | None) -> FrameSize:
    """Outer size of three columns: as wide and deep as they stand, as high as written or as their carriages need."""
    rim_m = c.si(("space", "x_mm")) / 2
    top_mm = (
        1e3 * (c.si(("space", "z_mm")) + arms.joints_above_nozzle_m + arms.rise_m(abs(arms.across_m - rim_m)))
        + c.value(("carriage", "depth_mm")) / 2
    )
    note = "reach, arms at their steepest, carriage, idlers above it and motors below the bed"
    c.value_or(("frame", "height_mm"), float(10 * math.ceil((top_mm + TRIANGLE_ENDS_MM) / 10 - 1e-9)), note)
    side_m = USUAL_SIDE_MM / 1e3 if spec is None else spec.side_a_m
    radius_m = arms.tower_radius_m + side_m
    return FrameSize(math.sqrt(3) * radius_m + side_m, 1.5 * radius_m + side_m, c.si(("frame", "height_mm")))


def _larger_wheels_mm(c: Completion) -> float:
    """What pulleys and idlers of more than the usual teeth take on both sides, by their diameters, mm."""
    each = [table.pulley_teeth for table in (c.scenario.file.motors.model_extra or {}).values()]
    teeth: list[int] = [c.value(("motors", "pulley_teeth")), *(n for n in each if n is not None)]
    idler = c.part(("idlers", "part"))
    idler_teeth = c.value(("idlers", "teeth"), idler)
    pitch_mm = 2.0
    more = max(0, max(teeth) - USUAL_TEETH) + max(0, int(idler_teeth) - USUAL_TEETH)
    return more * 2 * pitch_mm / math.pi


def feet_spec(c: Completion) -> FeetSpec | None:
    part = c.part(("feet", "part"))
    count = int(c.value(("feet", "count")))
    if part is None:
        c.refuse_overrides(("feet",), "part", off("feet"))
        return None
    return FeetSpec(
        part=part.name,
        vertical_n_m=c.si(("feet", "stiffness_vertical_n_per_mm"), part),
        sideways_n_m=c.si(("feet", "stiffness_sideways_n_per_mm"), part),
        damping_ratio=c.si(("feet", "damping"), part),
        count=count,
    )
