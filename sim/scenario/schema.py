"""The scenario file, key by key: the one truth about what may be written, in which unit and range.

Units stand in the key names (mm, g, N, ...) and end at `resolve`. A value of None means: not written; the part, a
default or the machine fills it. Only title, layout, space and move must be written.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from . import fields as key
from . import names


class Table(BaseModel):
    """A table of the file: strict, frozen, no key beyond its own."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, protected_namespaces=())


class Space(Table):
    """Reach of the nozzle."""

    x_mm: float = key.number("mm", 10, 3000, "the reach of the nozzle to the right", ...)
    y_mm: float = key.number("mm", 10, 3000, "the reach of the nozzle to the rear", ...)
    z_mm: float = key.number("mm", 1, 3000, "the reach of the nozzle upward", ...)


class Guided(Table):
    """What slides on a guide, and its overrides of that guide's values."""

    mass_g: float | None = key.number(
        "g", 1, 100_000, "moving mass; computed from the parts when not given", by_machine=True
    )
    guide: str = key.part("guides", "what it slides on", "rod-8-pair")
    lines: int | None = key.count(1, 2, "rods or rails side by side; rods come in pairs")
    blocks: int | None = key.count(1, 2, "blocks on each profile rail")
    ends: str | None = key.one_of(lambda: names.ENDS, "how the ends of the rods are held", full_only=True)
    spacing_mm: float | None = key.number(
        "mm", 5, 2000, "distance of two bearings along one line; the layout's when not given", full_only=True
    )
    apart_mm: float | None = key.number(
        "mm",
        5,
        3000,
        "distance of the two lines, or of the wheels beside a single one; the layout's if not given",
        full_only=True,
    )
    preload_n: float | None = key.number(
        "N", 0, 500, "force that the eccentrics press each wheel with", overrides="guide"
    )
    friction_n: float | None = key.number("N", 0, 500, "sliding friction of the whole guide", overrides="guide")
    friction_static_n: float | None = key.number("N", 0, 1000, "break-away friction, whole guide", overrides="guide")
    stribeck_mm_s: float | None = key.number(
        "mm/s", 0.01, 1000, "speed over which break-away friction falls to sliding friction", overrides="guide"
    )
    presliding_um: float | None = key.number(
        "um", 0.1, 1000, "travel over which friction builds up before sliding", overrides="guide"
    )
    stiffness_n_per_mm: float | None = key.number(
        "N/mm", 1, 10_000_000, "stiffness of one bearing across the guide", overrides="guide", full_only=True
    )
    stiffness_nm_per_rad: float | None = key.number(
        "N m/rad", 0, 10_000_000, "tilting stiffness of one bearing", overrides="guide", full_only=True
    )
    damping: float | None = key.number(
        "ratio", 0, 0.9, "damping ratio of the guide's bearings", overrides="guide", full_only=True
    )
    shaft: str | None = key.one_of(lambda: names.SHAFTS, "ISO 286 tolerance of the rods' diameter")
    mismatch_um: float | None = key.number(
        "um", 0, 5000, "how far two rails are out of parallel in height, as measured"
    )


class Carriage(Guided):
    belt_above_guide_mm: float | None = key.number(
        "mm", -300, 300, "belt plane above the guide's centre; from guide and belts if not given", full_only=True
    )
    mass_centre_above_guide_mm: float = key.number(
        "mm", -300, 300, "mass centre above the guide's centre line", 5, full_only=True
    )
    nozzle_below_guide_mm: float = key.number(
        "mm", -300, 500, "nozzle below the guide's centre line", 45, full_only=True
    )
    width_mm: float = key.number("mm", 10, 500, "size from left to right", 60)
    depth_mm: float = key.number("mm", 10, 500, "size from front to rear", 50)
    tool_mass_g: float = key.number("g", 0, 20_000, "tool carried; used when mass_g is not given", 150)


class Gantry(Guided):
    pass


class Delta(Table):
    """Arms that carry the tool from three carriages on columns; only a layout with arms reads it."""

    arm: str = key.part("arms", "what the arms are made of, with their joints", "arm-tube-6")
    arm_mm: float | None = key.number("mm", 20, 5000, "length of an arm between its ball joints; computed if not given")
    joint_spacing_mm: float = key.number("mm", 5, 500, "distance of the two arms of a pair", 50)
    tower_radius_mm: float | None = key.number(
        "mm", 20, 5000, "from the middle to a carriage's guide; computed if not given"
    )
    carriage_offset_mm: float = key.number("mm", -100, 500, "from the guide inward to the carriage's joints", 25)
    effector_radius_mm: float = key.number("mm", 5, 500, "from the tool's axis to the joints on its platform", 30)
    joints_above_nozzle_mm: float = key.number("mm", -200, 500, "the platform's joints above the nozzle", 40)
    effector_mass_g: float = key.number("g", 1, 20_000, "mass of the platform with the tool", 300)
    arm_mass_g: float | None = key.number("g", 0.1, 5000, "mass of one arm with its joints", overrides="arm")
    arm_stiffness_n_per_mm: float | None = key.number(
        "N/mm", 1, 1_000_000, "stiffness of one arm along its length, joints with it", overrides="arm"
    )
    arm_damping: float | None = key.number("ratio", 0, 0.9, "damping ratio of the arms", overrides="arm")


class Bed(Guided):
    z_drives: int = key.count(1, 4, "screws or belts that lift the bed", 1)
    z_drive: str = key.one_of(lambda: names.Z_DRIVES, "what lifts the bed", "screw")
    z_stiffness_n_per_mm: float | None = key.number(
        "N/mm",
        1,
        10_000_000,
        "stiffness of one screw or belt that lifts the bed; computed if not given",
    )
    arms: str | None = key.part("frames", "the two arms under a lifted plate; the frame's own part when not given")
    guide_gap_mm: float = key.number(
        "mm", 0, 500, "from the edge of a lifted plate to the rods or rails it is held by", 15
    )
    plate: str = key.part("plates", "what the bed plate is made of", "aluminium")
    plate_mm: float | None = key.number("mm", 0.5, 50, "thickness of the bed plate", overrides="plate")
    glass_mm: float = key.number("mm", 0, 20, "thickness of a glass sheet on the plate; 0 = none", 0)
    print_g: float = key.number("g", 0, 50_000, "mass of the print on the bed", 0)
    heater: str = key.one_of(lambda: names.HEATERS, "how the bed is heated", "low-voltage")


class BeltEach(Table):
    """Keys of [belts], and of [belts.<name>] for one belt."""

    part: str | None = key.part("belts", "belt by pitch, width and cord")
    pretension_n: float | None = key.number("N", 0, 1000, "tension of each strand at rest")
    damping: float | None = key.number(
        "ratio", 0, 0.9, "damping ratio of the carriage on its belts; 0 = none", overrides="part"
    )
    ea_n: float | None = key.number("N", 100, 10_000_000, "force per unit strain of one strand", overrides="part")
    mass_g_m: float | None = key.number("g/m", 0, 1000, "belt mass per metre", overrides="part")
    carriage_raise_mm: float | None = key.number(
        "mm", -50, 50, "how much higher the belt is held at its clamps than its wheels run it"
    )


class Belts(BeltEach):
    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, BeltEach] = Field(init=False)
    part: str = key.part("belts", "belt by pitch, width and cord", "belt-2mm-6-glass")
    carriage_raise_mm: float = key.number(
        "mm", -50, 50, "how much higher the belts are held at their clamps than their wheels run them", 0
    )
    level_gap_mm: float = key.number("mm", 0, 100, "clear height between the two levels of crossed belts", 4)


class MotorEach(Table):
    """Keys of [motors], and of [motors.<name>] for one motor."""

    part: str | None = key.part("motors", 'motor by size and body length, or "ideal"')
    current_a: float | None = key.number("A", 0.05, 20, "peak of the sine current in a phase")
    supply_v: float | None = key.number("V", 3, 200, "supply voltage of the driver")
    microsteps: int | None = key.one_of(lambda: names.MICROSTEPS, "microsteps to a full step")
    stepping: str | None = key.one_of(
        lambda: names.STEPPING, "whether the command runs smoothly or in whole microsteps"
    )
    pulley_teeth: int | None = key.count(8, 200, "teeth of the motor's pulley")
    pulley_pitch_mm: float | None = key.number("mm", 0.5, 25, "pitch of the pulley; its belt's when not given")
    pulley_profile: str | None = key.one_of(
        lambda: names.PROFILES, "tooth profile of the pulley; its belt's if not given"
    )
    rated_current_a: float | None = key.number("A", 0.05, 20, "data-sheet current, both phases on", overrides="part")
    holding_torque_nm: float | None = key.number(
        "N m", 0.001, 100, "data-sheet holding torque at the rated current, both phases on", overrides="part"
    )
    rotor_inertia_g_cm2: float | None = key.number("g cm2", 0.1, 100_000, "rotor inertia", overrides="part")
    resistance_ohm: float | None = key.number("ohm", 0.01, 1000, "resistance of a phase", overrides="part")
    inductance_mh: float | None = key.number("mH", 0.01, 1000, "inductance of a phase", overrides="part")
    detent_nm: float | None = key.number("N m", 0, 10, "detent torque without current", overrides="part")
    damping: float | None = key.number(
        "ratio", 0, 0.9, "damping ratio of the rotor on its magnetic spring", overrides="part"
    )
    mass_g: float | None = key.number("g", 1, 20_000, "mass of the motor", overrides="part")


class Motors(MotorEach):
    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, MotorEach] = Field(init=False)
    part: str = key.part("motors", 'motor by size and body length, or "ideal"', "motor-17-40")
    supply_v: float = key.number("V", 3, 200, "supply voltage of the driver", 24)
    microsteps: int = key.one_of(lambda: names.MICROSTEPS, "microsteps to a full step", 16)
    stepping: str = key.one_of(
        lambda: names.STEPPING, "whether the command runs smoothly or in whole microsteps", "smooth"
    )
    pulley_teeth: int = key.count(8, 200, "teeth of the motor's pulley", 20)


class Idlers(Table):
    part: str = key.part("idlers", "idler by teeth", "idler-20")
    teeth: int | None = key.count(8, 200, "teeth of a toothed idler", overrides="part")
    smooth_diameter_mm: float | None = key.number("mm", 4, 200, "outside diameter of a smooth idler", overrides="part")
    inertia_g_mm2: float | None = key.number("g mm2", 0, 1_000_000, "inertia about its own axis", overrides="part")
    mass_g: float | None = key.number("g", 0, 1000, "mass with its bearings", overrides="part")
    at_teeth: str = key.one_of(lambda: names.AT_TEETH, "idlers on the toothed side of the belts", "toothed")
    pitch_mm: float | None = key.number("mm", 0.5, 25, "pitch of the toothed idlers; their belt's when not given")
    profile: str | None = key.one_of(lambda: names.PROFILES, "tooth profile of the idlers; their belt's if not given")


class Panel(Table):
    """What closes one side of the frame: a sheet, or diagonals."""

    part: str = key.part("panels", 'the sheet, or the profile of diagonals; "none" leaves it open', ...)
    thickness_mm: float | None = key.number("mm", 0.2, 50, "thickness of the sheet", overrides="part")
    screws: int | None = key.count(
        4, 1000, "screws along the edges of one sheet, one in each corner; 12 if not given", overrides="part"
    )
    screw_n_per_mm: float | None = key.number(
        "N/mm", 1, 10_000_000, "force per give of one screw and the hole round it", overrides="part"
    )
    diagonals: int | None = key.count(1, 2, "bars from corner to corner in place of a sheet")
    end_n_per_mm: float | None = key.number(
        "N/mm", 1, 10_000_000, "stiffness of a diagonal's fastening at each end, along the bar", overrides="part"
    )


class Panels(Table):
    """Sides of the frame that are closed; a bottom does nothing while the base is rigid."""

    sides: Panel | None = None
    rear: Panel | None = None
    front: Panel | None = None
    top: Panel | None = None
    bottom: Panel | None = None


class Frame(Table):
    part: str = key.part("frames", "profile, printed section, or rigid", "slot-2020")
    base: str | None = key.part("frames", "members of the base; those of part when not given")
    columns: str | None = key.part("frames", "the columns; the members of part when not given")
    top: str | None = key.part("frames", "members of the top; those of part when not given")
    joints: str = key.part("joints", "how the members are joined", "bracket")
    material: str | None = key.part("materials", "what a printed frame is printed from")
    wall_mm: float | None = key.number("mm", 0.4, 100, "wall of a printed member", overrides="part")
    side_mm: float | None = key.number("mm", 5, 300, "side of a printed member, square", overrides="part")
    width_mm: float | None = key.number("mm", 30, 5000, "outside width of the frame")
    depth_mm: float | None = key.number("mm", 30, 5000, "outside depth of the frame")
    height_mm: float | None = key.number("mm", 30, 5000, "outside height of the frame")
    joint_nm_per_rad: float | None = key.number(
        "N m/rad",
        1,
        10_000_000,
        "rotational stiffness of a joint, of profile one of 20 mm; sides w and d have (w/20)(d/20)^2 times that",
        overrides="joints",
    )
    stiffness_x_n_per_mm: float | None = key.number(
        "N/mm",
        0.1,
        1_000_000,
        "sway stiffness of the frame top in X; computed when not given",
        overrides=("part", "joints", "material", "panels"),
        by_machine=True,
    )
    stiffness_y_n_per_mm: float | None = key.number(
        "N/mm",
        0.1,
        1_000_000,
        "sway stiffness of the frame top in Y; computed when not given",
        overrides=("part", "joints", "material", "panels"),
        by_machine=True,
    )
    slot: str | None = key.one_of(lambda: names.SLOTS, "edges of the profile's slots")
    bore: str | None = key.one_of(lambda: names.BORES, "hole along the middle of the profile")
    ambient_degc: float = key.number("degC", -20, 200, "air around the frame while the machine works", 25)
    damping: float | None = key.number("ratio", 0, 0.9, "damping ratio of the frame", overrides="part")
    top_mass_g: float | None = key.number(
        "g", 10, 1_000_000, "swaying mass; computed if not given", overrides=("part", "panels"), by_machine=True
    )
    base_mass_g: float | None = key.number(
        "g",
        10,
        1_000_000,
        "mass that stands; computed when not given",
        overrides=("part", "panels"),
        full_only=True,
        by_machine=True,
    )
    panels: Panels = Panels()


class Feet(Table):
    part: str = key.part("feet", "what the machine stands on", "feet-rubber", full_only=True)
    stiffness_vertical_n_per_mm: float | None = key.number(
        "N/mm", 0.1, 1_000_000, "stiffness of one foot, upright", overrides="part", full_only=True
    )
    stiffness_sideways_n_per_mm: float | None = key.number(
        "N/mm", 0.1, 1_000_000, "stiffness of one foot, sideways", overrides="part", full_only=True
    )
    damping: float | None = key.number("ratio", 0, 0.9, "damping ratio of the feet", overrides="part", full_only=True)
    count: int = key.count(3, 12, "number of feet", 4, full_only=True)


class Shaper(Table):
    kind: str = key.one_of(lambda: names.SHAPERS, "the kind of input shaper", ...)
    frequency_hz: float | Literal["auto"] = key.auto_or_number(
        "Hz", 0.5, 2000, 'the frequency it cancels; "auto" takes it from the machine', ...
    )
    damping: float = key.number("ratio", 0, 0.9, "damping ratio it is made for", 0.05)


class Shapers(Table):
    x: Shaper | None = None
    y: Shaper | None = None


class Axes(Table):
    """Limits of single axes, beside those along the path: a screw that lifts is slower than a belt."""

    x_speed_mm_s: float | None = key.number("mm/s", 0.1, 10_000, "speed of X alone; no limit of its own if not given")
    y_speed_mm_s: float | None = key.number("mm/s", 0.1, 10_000, "speed of Y alone; no limit of its own if not given")
    z_speed_mm_s: float | None = key.number("mm/s", 0.1, 10_000, "speed of Z alone; no limit of its own if not given")
    x_acceleration_mm_s2: float | None = key.number("mm/s2", 1, 1_000_000, "acceleration of X alone, likewise")
    y_acceleration_mm_s2: float | None = key.number("mm/s2", 1, 1_000_000, "acceleration of Y alone, likewise")
    z_acceleration_mm_s2: float | None = key.number("mm/s2", 1, 1_000_000, "acceleration of Z alone, likewise")


class Motion(Table):
    speed_mm_s: float = key.number("mm/s", 0.1, 10_000, "speed along the path", 100)
    acceleration_mm_s2: float = key.number("mm/s2", 1, 1_000_000, "acceleration along the path", 2000)
    jerk_mm_s3: float = key.number("mm/s3", 0, 1e12, "change of acceleration; 0 = no limit", 0)
    corner_speed_step_mm_s: float = key.number("mm/s", 0, 1000, "jump of velocity at a corner; 0 = full stop", 5)
    corner_tolerance_mm: float = key.number("mm", 0, 10, "how far a blended corner may stay off it; 0 = no blending", 0)
    axes: Axes = Axes()
    shaper: Shapers | None = None


class Move(Table):
    pattern: str | None = key.one_of(lambda: names.PATTERNS, "the test pattern")
    gcode: str | None = key.text(1000, "motion program, relative to the scenario's folder; in place of a pattern")
    size_mm: float | None = key.number("mm", 0.1, 3000, "size of the pattern, about the middle of the reach")
    repeats: int = key.count(1, 10_000, "how often the pattern is run", 1)
    axis: Literal["x", "y", "xy"] = key.one_of(
        lambda: ("x", "y", "xy"), "direction of the patterns step and chirp", "x"
    )
    levels: int | None = key.count(1, 100, "levels of a ladder; the highest is run at the limit of [motion]")
    level_rise_mm: float | None = key.number("mm", 0, 100, "how far Z rises from one level of a ladder to the next")
    row_spacing_mm: float | None = key.number("mm", 0.05, 500, "distance of a raster's rows")
    from_hz: float | None = key.number("Hz", 0.5, 1000, "lowest frequency of a chirp, where it begins")
    to_hz: float | None = key.number("Hz", 0.5, 1000, "highest frequency of a chirp, where it ends")
    sweep_ms: float | None = key.number("ms", 100, 120_000, "how long a chirp takes from one to the other")
    settle_ms: float = key.number("ms", 0, 60_000, "rest after the move", 350)
    line_width_mm: float = key.number("mm", 0.05, 5, "width of the printed line", 0.45)


class Record(Table):
    step_ms: float = key.number("ms", 0.01, 1000, "time between recorded rows", 1)
    keep: str = key.one_of(
        lambda: names.KEEPS,
        "what of the trace stays in memory; auto: all rows, of more than 200 000 a thinned trace (ladders and sweeps: all)",
        "auto",
    )


class Budget(Table):
    money: float | None = key.number("", 0, 1e9, "what it may cost in all, in the currency of the price file")


class Variant(Table):
    name: str = key.text(100, "name of the variant", ...)
    set: dict[str, Any] = Field(description="keys and values the variant changes")


class ScenarioFile(Table):
    """The whole file."""

    title: str = key.text(200, "what the machine is called", ...)
    layout: str = key.one_of(lambda: names.LAYOUTS, "how belts and motors move the tool", ...)
    detail: str = key.one_of(
        lambda: names.DETAILS, "level of detail of the model, simple is the textbook model", "full"
    )
    space: Space
    carriage: Carriage = Carriage()
    gantry: Gantry = Gantry()
    delta: Delta = Delta()
    bed: Bed = Bed()
    belts: Belts = Belts()
    motors: Motors = Motors()
    idlers: Idlers = Idlers()
    frame: Frame = Frame()
    feet: Feet = Feet()
    motion: Motion = Motion()
    move: Move
    record: Record = Record()
    budget: Budget = Budget()
    band: dict[str, Any] = Field(default={}, description="how sure a written number is: dotted key = [low, high]")
    search: dict[str, Any] = Field(default={}, description="what `search` may vary, make least and must keep")
    variant: list[Variant] = Field(default=[], max_length=200)


@dataclass(frozen=True)
class Where:
    """Who wrote a value. label: "bench.toml", 'bench.toml variant "9 mm belt"' or "--set"."""

    kind: Literal["file", "variant", "set"]
    label: str


@dataclass(frozen=True)
class Scenario:
    """A scenario that keeps every rule of the schema; `load` makes them.

    file: its keys in file units.  tree: what was written, changes included.  origins: who wrote each value, by path.
    label: the file's name for messages.  folder: what a gcode path is relative to.  notices: what a person should be
    told, such as overrides dropped with their part.  variant: name of the variant laid over it, if any.
    """

    file: ScenarioFile
    tree: dict[str, Any]
    origins: dict[tuple[str, ...], Where]
    label: str
    folder: Path | None
    notices: tuple[str, ...] = ()
    variant: str | None = None

    @property
    def title(self) -> str:
        return self.file.title

    @property
    def layout(self) -> str:
        return self.file.layout

    @property
    def detail(self) -> str:
        return self.file.detail

    @property
    def variants(self) -> tuple[str, ...]:
        """Names of the variants the file offers, in file order."""
        return tuple(variant.name for variant in self.file.variant)

    def where(self, path: tuple[str, ...]) -> Where:
        """Who wrote the value at a path, or the file itself when nobody did; for messages."""
        return self.origins.get(path) or Where("file", self.label)
