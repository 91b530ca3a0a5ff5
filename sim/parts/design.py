"""The design: the scenario completed with its parts, in SI units. What the machine is built from.

Everything here is SI: m, kg, N, s, rad, Pa. File units end at `resolve()`, which fills these records
from the scenario (what the person wrote), the catalogue (what the part says) and the defaults.
A rigid or ideal choice is `None` where its record would stand, never a very stiff spring.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields
from typing import Literal

from .numbers import BAND_SIGMA as BAND_SIGMA
from .numbers import Drawn as Drawn
from .numbers import Origin as Origin
from .numbers import Uncertain as Uncertain

Detail = Literal["simple", "full"]


@dataclass(frozen=True)
class Space:
    """Reach of the nozzle, m."""

    x_m: float
    y_m: float
    z_m: float


#: Height of the profile that wheels run on, and of a size 12 rail (sizes 9 and 15 differ by 2 mm), m.
WHEEL_BEAM_M, RAIL_HEIGHT_M = 0.020, 0.008

#: Side of the profile that the catalogue's corner joints are given for, m.
JOINT_SIDE_M = 0.020


@dataclass(frozen=True)
class MemberSpec:
    """Section and material of one kind of beam: Pa, m2, m4, kg/m. i_strong resists bending towards its wide side (side_b)."""

    part: str
    elastic_modulus_pa: float
    shear_modulus_pa: float
    i_strong_m4: float
    i_weak_m4: float
    torsion_m4: float
    area_m2: float
    side_a_m: float
    side_b_m: float
    mass_kg_m: float

    @property
    def other_size(self) -> bool:
        """Whether it has other sides than those that corner joints are given for."""
        return abs(self.side_a_m - JOINT_SIDE_M) + abs(self.side_b_m - JOINT_SIDE_M) > 1e-6


@dataclass(frozen=True)
class GuideSpec:
    """One guide (a rod pair, a set of wheels, one or two rails).

    kind: "rods" | "wheels" | "rail".
    friction_n: sliding friction F_c of the whole guide, N.  friction_static_n: break-away F_s >= F_c, N.
    stribeck_m_s: speed v_s of the Stribeck fall, m/s.  presliding_m: F_c / sigma0, m.
    mover_mass_kg: what travels (bushings, wheels, block), one carriage.  line_mass_kg_m: rods or rails of the pair, kg/m.
    rod_diameter_m, bushing_stiffness_n_m, ...: for detail = full; 0 where it does not apply.
    shaft: ISO 286 tolerance of the rods.  mismatch_m: of two rails in height, as measured; None = not known.
    ends: how rods are held, "supported" | "clamped" | "built-in".  blocks: on each profile rail.
    preload_n: force on each wheel at rest; 0 where it does not apply.  spacing_m, apart_m: of the bearings along a line
    and of the two lines; None = the layout's.
    """

    part: str
    kind: str
    friction_n: float
    friction_static_n: float
    stribeck_m_s: float
    presliding_m: float
    mover_mass_kg: float
    line_mass_kg_m: float
    lines: int = 2
    rod_diameter_m: float = 0.0
    stiffness_n_m: float = 0.0
    stiffness_nm_rad: float = 0.0
    damping_ratio: float = 0.02
    shaft: str = "h6"
    mismatch_m: float | None = None
    ends: str = "clamped"
    blocks: int = 1
    preload_n: float = 0.0
    spacing_m: float | None = None
    apart_m: float | None = None

    @property
    def half_height_m(self) -> float:
        """From the guide's centre line to the top of what the carriage runs on, m: rod, rail, or the wheels' beam."""
        return {"rods": self.rod_diameter_m / 2, "rail": RAIL_HEIGHT_M / 2, "wheels": WHEEL_BEAM_M / 2}[self.kind]


@dataclass(frozen=True)
class CarriageSpec:
    """mass_kg None: computed by the machine from its parts. Heights in m, from the guide's centre line."""

    mass_kg: float | None
    guide: GuideSpec | None
    belt_above_guide_m: float
    mass_centre_above_guide_m: float
    nozzle_below_guide_m: float
    width_m: float
    depth_m: float
    tool_mass_kg: float


@dataclass(frozen=True)
class GantrySpec:
    mass_kg: float | None
    guide: GuideSpec | None


@dataclass(frozen=True)
class ArmsSpec:
    """Three pairs of arms from carriages on columns to a platform. arm_*: of one arm.  spacing_m: of the two of a pair.

    tower_radius_m: from the middle to a guide.  carriage_offset_m: from there inward to the joints.
    """

    part: str
    length_m: float
    spacing_m: float
    tower_radius_m: float
    carriage_offset_m: float
    effector_radius_m: float
    joints_above_nozzle_m: float
    effector_mass_kg: float
    arm_mass_kg: float
    arm_stiffness_n_m: float
    damping_ratio: float

    @property
    def across_m(self) -> float:
        """How far an arm spans sideways with the tool in the middle, m."""
        return self.tower_radius_m - self.carriage_offset_m - self.effector_radius_m

    def rise_m(self, across_m: float) -> float:
        """How high a carriage's joints stand above the platform's where its arms span that far sideways, m."""
        return math.sqrt(max(self.length_m**2 - across_m**2, 0.0))


@dataclass(frozen=True)
class BedSpec:
    """z_drive: "screw" | "belt", z_stiffness_n_m of one of them, None = computed.  arms: the two under a lifted plate,
    None = rigid.  guide_gap_m: from the plate's edge to its guide.
    """

    mass_kg: float | None
    guide: GuideSpec | None
    z_drives: int
    plate_density_kg_m3: float
    plate_thickness_m: float
    glass_thickness_m: float
    print_mass_kg: float
    heater: str = "low-voltage"
    z_drive: str = "screw"
    z_stiffness_n_m: float | None = None
    arms: MemberSpec | None = None
    guide_gap_m: float = 0.015


@dataclass(frozen=True)
class BeltSpec:
    """One belt. ea_n: force per unit strain of one strand, N. damping: ratio of the belt mode. mass_kg_m: per metre.

    carriage_raise_m: its clamps above the level its wheels run it at.
    """

    part: str
    pitch_m: float
    width_m: float
    height_m: float
    tooth_height_m: float
    pitch_line_m: float
    cord: str
    ea_n: float
    pretension_n: float
    damping: float
    mass_kg_m: float
    working_tension_n: float
    min_pulley_teeth: int
    profile: str = "curved"
    carriage_raise_m: float = 0.0


@dataclass(frozen=True)
class MotorSpec:
    """One stepper motor with its driver; `None` in its place means an ideal motor.

    holding_torque_nm: data-sheet value, both phases at rated_current_a.  current_a: peak of the sine current.
    viscous_nm_s: rotor damping b.  Torque constant and limits follow in sim/model/motor.py.
    body_m: side of its square body.  length_m: length of the body.  stepped: its command comes in whole microsteps.
    """

    part: str
    holding_torque_nm: float
    rated_current_a: float
    rotor_inertia_kg_m2: float
    resistance_ohm: float
    inductance_h: float
    detent_nm: float
    rotor_damping_ratio: float
    mass_kg: float
    body_m: float
    shaft_load_n: float
    current_a: float
    supply_v: float
    microsteps: int
    rotor_teeth: int = 50
    length_m: float = 0.0
    stepped: bool = False


@dataclass(frozen=True)
class IdlerSpec:
    """teeth: of a toothed idler.  smooth_diameter_m: outside diameter of a smooth one.  Inertia about its own axis, kg m2.

    width_m: between the flanges.  at_teeth: "toothed" | "smooth", what runs on the belts' toothed side.
    pitch_m, profile: of the toothed ones; None = the belt's.
    """

    teeth: int
    smooth_diameter_m: float
    inertia_kg_m2: float
    mass_kg: float
    flange_diameter_m: float
    width_m: float
    at_teeth: str = "toothed"
    pitch_m: float | None = None
    profile: str | None = None


PanelPlace = Literal["sides", "rear", "front", "top", "bottom"]


@dataclass(frozen=True)
class PanelSpec:
    """A sheet that closes a side of the frame ("sides": one at each). screws: of one sheet.  screw_n_m: of one screw.

    material: what a printed sheet is printed from, "" for others.
    """

    place: PanelPlace
    part: str
    thickness_m: float
    shear_modulus_pa: float
    density_kg_m3: float
    screws: int
    screw_n_m: float
    material: str = ""


@dataclass(frozen=True)
class DiagonalSpec:
    """One or two bars from corner to corner of a side of the frame ("sides": at each). end_n_m: of each fastening."""

    place: PanelPlace
    count: int
    section: MemberSpec
    end_n_m: float


@dataclass(frozen=True)
class FrameSpec:
    """kind "slot" | "printed".  Section of one member: i_strong, i_weak (m4), j (m4), area (m2), kg_m.

    joint_nm_rad: rotational stiffness of a corner joint of 20 mm profile; other_size: factor on those of other sides.
    stiffness_*_n_m: the person's override of the
    frame top's sway stiffness, None = computed from the beams.  top_mass_kg: override of the mass that sways, None = computed.
    material: its name in the catalogue.  slot: "v" | "plain".  bore: "round" | "cross".
    base, columns, top: members that differ from this one; None = the same.  panels: what closes its sides.
    """

    part: str
    kind: str
    joints: str
    joint_nm_rad: float
    elastic_modulus_pa: float
    shear_modulus_pa: float
    i_strong_m4: float
    i_weak_m4: float
    torsion_m4: float
    area_m2: float
    side_a_m: float
    side_b_m: float
    mass_kg_m: float
    damping_ratio: float
    stiffness_x_n_m: float | None
    stiffness_y_n_m: float | None
    top_mass_kg: float | None
    base_mass_kg: float | None
    material: str = ""
    slot: str = "v"
    bore: str = "round"
    base: MemberSpec | None = None
    columns: MemberSpec | None = None
    top: MemberSpec | None = None
    panels: tuple[PanelSpec | DiagonalSpec, ...] = ()
    other_size: float = 1.0

    def member(self, where: Literal["base", "columns", "top"]) -> MemberSpec:
        """The members that stand there."""
        own: MemberSpec | None = getattr(self, where)
        return own if own is not None else MemberSpec(*(getattr(self, f.name) for f in fields(MemberSpec)))


@dataclass(frozen=True)
class FrameSize:
    """Outer size of the frame, m; given even for a rigid frame (it is drawn, and belts are routed in it)."""

    width_m: float
    depth_m: float
    height_m: float


@dataclass(frozen=True)
class FeetSpec:
    part: str
    vertical_n_m: float
    sideways_n_m: float
    damping_ratio: float
    count: int = 4


@dataclass(frozen=True)
class Design:
    """The completed scenario in SI units.

    belts, motors: by drive name in the layout's order ("a", "b" or "x", "y"). A motor is None when ideal.
    pulley_teeth: by drive name. frame, feet, guides: None when rigid.
    pulley_pitch_m, pulley_profile: by drive name, where they are not the belt's own.  level_gap_m: clear height between
    the levels of crossed belts.  arms: of a tool on arms, else None.  ambient_degc: air around the frame, degC.
    uncertain: numbers that are not known exactly, those computed masses left out.  mass_factors: by body, on a computed mass.
    origins: one entry for each value of the completed scenario, in file order; those the machine is to compute stand
    there with the value None until it has.
    """

    title: str
    layout: str
    detail: Detail
    space: Space
    carriage: CarriageSpec
    gantry: GantrySpec
    bed: BedSpec
    belts: dict[str, BeltSpec]
    motors: dict[str, MotorSpec | None]
    pulley_teeth: dict[str, int]
    idlers: IdlerSpec
    frame_size: FrameSize
    frame: FrameSpec | None
    feet: FeetSpec | None
    origins: list[Origin] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)
    pulley_pitch_m: dict[str, float] = field(default_factory=dict)
    pulley_profile: dict[str, str] = field(default_factory=dict)
    level_gap_m: float = 0.004
    arms: ArmsSpec | None = None
    ambient_degc: float = 25.0
    uncertain: tuple[Uncertain, ...] = ()
    mass_factors: dict[str, float] = field(default_factory=dict)
