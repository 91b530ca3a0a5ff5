"""From a scenario to the design: parts looked up, overrides laid over them, gaps filled, SI at last.

What the person wrote wins over the part, the part over nothing; what neither gives is computed here (sizes, currents)
or later by the machine (masses). Each decision leaves an Origin for `show`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from ..errors import ScenarioError
from ..scenario.fields import tidy
from ..scenario.motion import OWN_CHOICES, default_size_mm
from ..scenario.schema import Scenario
from ..scenario.units import to_si
from .arms import arms_spec, leave_out
from .catalogue import Part
from .completion import Completion, off
from .design import (
    BedSpec,
    BeltSpec,
    CarriageSpec,
    Design,
    Drawn,
    GantrySpec,
    GuideSpec,
    IdlerSpec,
    MotorSpec,
    Space,
)
from .framing import feet_spec, frame_size, frame_spec, other_member, triangle_size
from .uncertain import uncertain_of

# Share of the rated current a motor runs on when nobody says otherwise: cool enough to touch for long runs.
CURRENT_SHARE = 0.8
# Belts above the guide of their carriage, where nobody says how high: air between them, and room for idlers and clamps.
BELT_CLEAR_M, LEAST_BELT_HEIGHT_MM = 0.004, 16.0


def resolve(
    scenario: Scenario,
    drives: Sequence[str],
    frame_beside_mm: float = 0.0,
    drawn: Drawn | None = None,
    on_arms: bool = False,
    levels: int = 1,
) -> Design:
    """The completed design of a scenario.

    drives: names of the layout's motors and belts, in order.  frame_beside_mm: what these need of the frame's width beyond
    the usual.  drawn: numbers that stand in place of those told.  on_arms: whether arms
    carry the tool, as [delta] says.  levels: of belts that pass the carriage, one above the other.
    Raises ScenarioError for a part or a sub-table that does not exist, and for values that contradict the part they belong to.
    """
    c = Completion(scenario, drives, drawn)
    file = scenario.file
    detail: Literal["simple", "full"] = "full" if file.detail == "full" else "simple"
    leave_out(c, on_arms)
    space = Space(c.si(("space", "x_mm")), c.si(("space", "y_mm")), c.si(("space", "z_mm")))
    arms = arms_spec(c) if on_arms else None
    gantry = GantrySpec(None, None) if on_arms else GantrySpec(_mass(c, "gantry"), _guide(c, "gantry"))
    bed = _bed(c, stands=on_arms)
    belts = {drive: _belt(c, drive) for drive in ("", *drives)}
    motors = {drive: _motor(c, drive) for drive in ("", *drives)}
    del belts[""], motors[""]  # decided for the tables of all, so that `show` has them
    carriage = _carriage(c, levels, max(belt.width_m for belt in belts.values()))
    pulley_teeth = {drive: int(c.value(_path(c, "motors", drive, "pulley_teeth"))) for drive in drives}
    idlers = _idlers(c, max(belt.width_m for belt in belts.values()))
    frame = frame_spec(c)
    size = frame_size(c, frame_beside_mm) if arms is None else triangle_size(c, arms, frame)
    feet = feet_spec(c)
    if file.move.pattern is not None:
        c.value_or(("move", "size_mm"), default_size_mm(scenario), "60 mm, on a small machine half of the reach")
    else:
        c.idle(("move", "size_mm"), "a program has its own size")
    if file.move.pattern not in ("step", "chirp"):
        c.idle(("move", "axis"), "only the patterns step and chirp take an axis")
    _choices_of_the_pattern(c, file.move.pattern)
    real = {m.part for m in motors.values() if m is not None}
    return Design(
        title=file.title,
        layout=file.layout,
        detail=detail,
        space=space,
        carriage=carriage,
        gantry=gantry,
        bed=bed,
        belts=belts,
        motors=motors,
        pulley_teeth=pulley_teeth,
        idlers=idlers,
        arms=arms,
        frame_size=size,
        frame=frame,
        feet=feet,
        pulley_pitch_m=_pulley_pitches(c, drives),
        pulley_profile=_pulley_profiles(c, drives),
        level_gap_m=c.si(("belts", "level_gap_mm")),
        ambient_degc=c.si(("frame", "ambient_degc")),
        origins=c.origins(),
        uncertain=uncertain_of(c, detail, {b.part for b in belts.values()} | real),
        notices=list(dict.fromkeys(c.notices)),
        mass_factors={} if drawn is None else drawn.masses,
    )


def _choices_of_the_pattern(c: Completion, pattern: str | None) -> None:
    """What only some patterns can be told: filled for those, said to be idle for the others."""
    for name in dict.fromkeys(name for own in OWN_CHOICES.values() for name in own):
        users = [p for p, own in OWN_CHOICES.items() if name in own]
        if pattern in users:
            c.value_or(("move", name), OWN_CHOICES[pattern][name], "", "default")
        else:
            one = f"only the pattern {users[0]} takes it"
            c.idle(("move", name), one if len(users) == 1 else f"only the patterns {' and '.join(users)} take it")


def _mass(c: Completion, table: str) -> float | None:
    return None if c.written((table, "mass_g")) is None else c.si((table, "mass_g"))


def _carriage(c: Completion, levels: int, widest_m: float) -> CarriageSpec:
    guide = _guide(c, "carriage")
    return CarriageSpec(
        mass_kg=_mass(c, "carriage"),
        guide=guide,
        belt_above_guide_m=_belt_height(c, guide, levels, widest_m),
        mass_centre_above_guide_m=c.si(("carriage", "mass_centre_above_guide_mm")),
        nozzle_below_guide_m=c.si(("carriage", "nozzle_below_guide_mm")),
        width_m=c.si(("carriage", "width_mm")),
        depth_m=c.si(("carriage", "depth_mm")),
        tool_mass_kg=c.si(("carriage", "tool_mass_g")),
    )


def _belt_height(c: Completion, guide: GuideSpec | None, levels: int, widest_m: float) -> float:
    """How high the belts pass over the carriage's guide, m: as written, else clear of it and of each other."""
    below_m = levels * widest_m / 2 + (levels - 1) * c.si(("belts", "level_gap_mm")) / 2
    above_m = 0.0 if guide is None else guide.half_height_m
    needed_mm = max(LEAST_BELT_HEIGHT_MM, round(1e3 * (above_m + BELT_CLEAR_M + below_m), 3))
    note = f"above what the carriage runs on, {tidy(1e3 * BELT_CLEAR_M)} mm of air, half of the belts (our choice)"
    c.value_or(("carriage", "belt_above_guide_mm"), needed_mm, note)
    return c.si(("carriage", "belt_above_guide_mm"))


def _guide(c: Completion, table: str) -> GuideSpec | None:
    part = c.part((table, "guide"))
    if part is None:
        c.refuse_overrides((table,), "guide", off("guides"))
        for name in ("lines", "blocks", "ends", "spacing_mm", "apart_mm", "shaft", "mismatch_um"):
            c.idle((table, name), off("guides"))
        return None
    rods = part.words["type"] == "rods"
    usual = 1 if table == "carriage" and not rods else 2
    path = (table, "lines")
    lines = int(c.value_or(path, usual, "rods come in pairs" if rods else "one under a carriage, else two", "default"))
    if rods and lines != 2:
        why = "a single rod leaves the carriage free to turn about it; rods are used in pairs, so write 2"
        raise ScenarioError([c.problem(path, why)])
    blocks, preload_n, times = _bearings(c, table, part, lines)
    friction_n = c.value((table, "friction_n"), part, times)
    ratio = part.numbers["static_ratio"]
    note = f"{tidy(ratio.value)} x friction_n; {ratio.source.words}"
    static_n = c.value_or((table, "friction_static_n"), round(friction_n * ratio.value, 9), note)
    if c.origin((table, "friction_static_n")) == "computed":
        c.use(part, "static_ratio")
    # Two that are drawn apart may cross; what is told may not.
    crossing = any((table, name) in c.drawn.keys for name in ("friction_n", "friction_static_n"))
    if static_n < friction_n and not crossing:
        why = f"must be at least friction_n = {tidy(friction_n)}: breaking away takes no less than sliding"
        raise ScenarioError([c.problem((table, "friction_static_n"), why)])
    if not rods:
        c.idle((table, "shaft"), f"{part.name} has no rods")
    if lines < 2 or rods:
        c.idle((table, "mismatch_um"), "only two rails or profiles can be out of parallel in height")
    return GuideSpec(
        part=part.name,
        kind=part.words["type"],
        friction_n=c.si((table, "friction_n")),
        friction_static_n=max(c.si((table, "friction_n")), c.si((table, "friction_static_n"))),
        stribeck_m_s=c.si((table, "stribeck_mm_s"), part),
        presliding_m=c.si((table, "presliding_um"), part),
        mover_mass_kg=lines * blocks * part.si("mover_mass_g"),
        line_mass_kg_m=lines * part.si("line_mass_kg_m"),
        lines=lines,
        rod_diameter_m=part.si("rod_diameter_mm") if rods else 0.0,
        stiffness_n_m=c.si((table, "stiffness_n_per_mm"), part),
        stiffness_nm_rad=c.si((table, "stiffness_nm_per_rad"), part),
        damping_ratio=c.si((table, "damping"), part),
        shaft=str(c.value_or((table, "shaft"), "h6", "what ball bushings are made for", "default")) if rods else "h6",
        mismatch_m=_optional(c, (table, "mismatch_um")),
        ends=_ends(c, table, rods),
        blocks=blocks,
        preload_n=preload_n,
        spacing_m=_optional(c, (table, "spacing_mm")),
        apart_m=_optional(c, (table, "apart_mm")),
    )


def _optional(c: Completion, path: tuple[str, ...]) -> float | None:
    """The written value at a path in SI, None where nobody wrote one."""
    return None if c.written(path) is None else c.si(path)


def _ends(c: Completion, table: str, rods: bool) -> str:
    if not rods:
        c.idle((table, "ends"), "only rods are held at their ends")
        return "clamped"
    return str(c.value_or((table, "ends"), "clamped", "in printed or aluminium blocks", "default"))


def _bearings(c: Completion, table: str, part: Part, lines: int) -> tuple[int, float, float]:
    """(blocks on a rail, preload of a wheel N, how many times the part's friction the whole guide has)."""
    kind = part.words["type"]
    blocks, preload_n, times = 1, 0.0, float(lines)
    if kind == "rail":
        blocks = int(c.value_or((table, "blocks"), 1, "one block on each rail", "default"))
        times *= blocks
    else:
        c.idle((table, "blocks"), f"{part.name} is no profile rail")
    if kind == "wheels":
        preload_n = c.si((table, "preload_n"), part)
        # Rolling resistance is a share of what presses the wheels on, so friction follows the preload.
        times *= preload_n / part.si("preload_n")
    elif c.written((table, "preload_n")) is not None:
        raise ScenarioError([c.problem((table, "preload_n"), f"only wheels have eccentrics, and {part.name} has none")])
    return blocks, preload_n, times


def _bed(c: Completion, stands: bool) -> BedSpec:
    """stands: it has neither guide nor drive."""
    plate = c.part(("bed", "plate"))
    assert plate is not None
    return BedSpec(
        mass_kg=_mass(c, "bed"),
        guide=None if stands else _guide(c, "bed"),
        z_drives=int(c.value(("bed", "z_drives"))),
        plate_density_kg_m3=plate.si("density_kg_m3"),
        plate_thickness_m=c.si(("bed", "plate_mm"), plate),
        glass_thickness_m=c.si(("bed", "glass_mm")),
        print_mass_kg=c.si(("bed", "print_g")),
        heater=str(c.value(("bed", "heater"))),
        z_drive=str(c.value(("bed", "z_drive"))),
        z_stiffness_n_m=_optional(c, ("bed", "z_stiffness_n_per_mm")),
        arms=None if stands else other_member(c, ("bed", "arms"), "those of the frame"),
        guide_gap_m=c.si(("bed", "guide_gap_mm")),
    )


def _path(c: Completion, table: str, drive: str, key: str) -> tuple[str, ...]:
    """Path of a drive's key: of its own table where it has one, else of the table of all (drive "")."""
    own = drive and drive in (getattr(c.scenario.file, table).model_extra or {})
    return (table, drive, key) if own else (table, key)


def _belt(c: Completion, drive: str) -> BeltSpec:
    def at(key: str) -> tuple[str, ...]:
        return _path(c, "belts", drive, key)

    part = c.part(at("part"))
    assert part is not None
    install = part.numbers["install_tension_n"]
    path = at("pretension_n")
    c.value_or(path, install.value, f"{part.name}: {install.source.words}", "part")
    if c.origin(path) == "part":
        c.use(part, "install_tension_n", path)
    return BeltSpec(
        part=part.name,
        pitch_m=part.si("pitch_mm"),
        width_m=part.si("width_mm"),
        height_m=part.si("height_mm"),
        tooth_height_m=part.si("tooth_height_mm"),
        pitch_line_m=part.si("pitch_line_mm"),
        cord=part.words["cord"],
        ea_n=c.si(at("ea_n"), part),
        pretension_n=c.si(at("pretension_n")),
        damping=c.si(at("damping"), part),
        mass_kg_m=c.si(at("mass_g_m"), part),
        working_tension_n=part.si("working_tension_n"),
        min_pulley_teeth=int(part.value("min_pulley_teeth")),
        carriage_raise_m=c.si(at("carriage_raise_mm")),
    )


def _pulley_pitches(c: Completion, drives: Sequence[str]) -> dict[str, float]:
    paths = {drive: _path(c, "motors", drive, "pulley_pitch_mm") for drive in drives}
    return {d: to_si(v, "mm") for d, path in paths.items() if (v := c.value_or(path, None, "its belt's")) is not None}


def _pulley_profiles(c: Completion, drives: Sequence[str]) -> dict[str, str]:
    paths = {drive: _path(c, "motors", drive, "pulley_profile") for drive in drives}
    return {d: str(v) for d, path in paths.items() if (v := c.value_or(path, None, "its belt's")) is not None}


def _motor(c: Completion, drive: str) -> MotorSpec | None:
    def at(key: str) -> tuple[str, ...]:
        return _path(c, "motors", drive, key)

    part = c.part(at("part"))
    c.value(at("pulley_teeth"))
    if part is None:
        c.refuse_overrides(at("part")[:-1], "part", off("motors"))
        return None
    rated_a = c.value(at("rated_current_a"), part)
    note = f"{tidy(CURRENT_SHARE)} of the rated {tidy(rated_a)} A (common practice, no source)"
    current_a = c.value_or(at("current_a"), round(CURRENT_SHARE * rated_a, 6), note)
    if current_a > math.sqrt(2) * rated_a:
        c.notices.append(
            f"{'.'.join(at('current_a'))} = {tidy(current_a)}: a sine of this peak heats the motor more than its rated"
            f" {tidy(rated_a)} A does; it will run too hot"
        )
    return MotorSpec(
        part=part.name,
        holding_torque_nm=c.si(at("holding_torque_nm"), part),
        rated_current_a=c.si(at("rated_current_a")),
        rotor_inertia_kg_m2=c.si(at("rotor_inertia_g_cm2"), part),
        resistance_ohm=c.si(at("resistance_ohm"), part),
        inductance_h=c.si(at("inductance_mh"), part),
        detent_nm=c.si(at("detent_nm"), part),
        rotor_damping_ratio=c.si(at("damping"), part),
        mass_kg=c.si(at("mass_g"), part),
        body_m=part.si("side_mm"),
        shaft_load_n=part.si("shaft_load_n"),
        current_a=c.si(at("current_a")),
        supply_v=c.si(at("supply_v")),
        microsteps=int(c.value(at("microsteps"))),
        stepped=c.value(at("stepping")) == "steps",
        rotor_teeth=int(part.value("rotor_teeth")),
        length_m=part.si("length_mm"),
    )


def _idlers(c: Completion, widest_belt_m: float) -> IdlerSpec:
    part: Part | None = c.part(("idlers", "part"))
    assert part is not None
    return IdlerSpec(
        teeth=int(c.value(("idlers", "teeth"), part)),
        smooth_diameter_m=c.si(("idlers", "smooth_diameter_mm"), part),
        inertia_kg_m2=c.si(("idlers", "inertia_g_mm2"), part),
        mass_kg=c.si(("idlers", "mass_g"), part),
        flange_diameter_m=part.si("flange_mm"),
        width_m=widest_belt_m + 0.001,  # room for the belt between the flanges (common practice, no source)
        at_teeth=str(c.value(("idlers", "at_teeth"))),
        pitch_m=None if c.written(("idlers", "pitch_mm")) is None else c.si(("idlers", "pitch_mm")),
        profile=c.written(("idlers", "profile")),
    )
