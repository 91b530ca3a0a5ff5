"""From a scenario to the design: parts looked up, overrides laid over them, gaps filled, SI at last.

What the person wrote wins over the part, the part over nothing; what neither gives is computed here (sizes, currents)
or later by the machine (masses). Each decision leaves an Origin for `show`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

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
    IdlerSpec,
    MotorSpec,
    Space,
)
from .framing import feet_spec, frame_size, frame_spec, other_member, triangle_size
from .guiding import belt_height, guide_spec, optional
from .uncertain import uncertain_of

# Share of the rated current a motor runs on when nobody says otherwise: cool enough to touch for long runs.
CURRENT_SHARE = 0.8


def resolve(
    scenario: Scenario,
    drives: Sequence[str],
    frame_beside_mm: float = 0.0,
    drawn: Drawn | None = None,
    on_arms: bool = False,
    levels: int = 1,
    told: bool = True,
) -> Design:
    """The completed design of a scenario.

    drives: names of the layout's motors and belts, in order.  frame_beside_mm: what these need of the frame's width beyond
    the usual.  drawn: numbers that stand in place of those told.  on_arms: whether arms
    carry the tool, as [delta] says.  levels: of belts that pass the carriage, one above the other.
    told: False for one of many variants of a scenario that has been resolved before: where its values come from and what is
    uncertain about them is left out, and names are not looked over once more.
    Raises ScenarioError for a part or a sub-table that does not exist, and for values that contradict the part they belong to.
    """
    c = Completion(scenario, drives, drawn, known=not told)
    file = scenario.file
    detail: Literal["simple", "full"] = "full" if file.detail == "full" else "simple"
    leave_out(c, on_arms)
    space = Space(c.si(("space", "x_mm")), c.si(("space", "y_mm")), c.si(("space", "z_mm")))
    arms = arms_spec(c) if on_arms else None
    gantry = GantrySpec(None, None) if on_arms else GantrySpec(_mass(c, "gantry"), guide_spec(c, "gantry"))
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
        origins=c.origins() if told else [],
        uncertain=uncertain_of(c, detail, {b.part for b in belts.values()} | real) if told else (),
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
    guide = guide_spec(c, "carriage")
    return CarriageSpec(
        mass_kg=_mass(c, "carriage"),
        guide=guide,
        belt_above_guide_m=belt_height(c, guide, levels, widest_m),
        mass_centre_above_guide_m=c.si(("carriage", "mass_centre_above_guide_mm")),
        nozzle_below_guide_m=c.si(("carriage", "nozzle_below_guide_mm")),
        width_m=c.si(("carriage", "width_mm")),
        depth_m=c.si(("carriage", "depth_mm")),
        tool_mass_kg=c.si(("carriage", "tool_mass_g")),
    )


def _bed(c: Completion, stands: bool) -> BedSpec:
    """stands: it has neither guide nor drive."""
    plate = c.part(("bed", "plate"))
    assert plate is not None
    return BedSpec(
        mass_kg=_mass(c, "bed"),
        guide=None if stands else guide_spec(c, "bed"),
        z_drives=int(c.value(("bed", "z_drives"))),
        plate_density_kg_m3=plate.si("density_kg_m3"),
        plate_thickness_m=c.si(("bed", "plate_mm"), plate),
        glass_thickness_m=c.si(("bed", "glass_mm")),
        print_mass_kg=c.si(("bed", "print_g")),
        heater=str(c.value(("bed", "heater"))),
        z_drive=str(c.value(("bed", "z_drive"))),
        z_stiffness_n_m=optional(c, ("bed", "z_stiffness_n_per_mm")),
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
