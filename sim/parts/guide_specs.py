"""What moves and what it slides on, as records in SI units; see `design`."""

from __future__ import annotations

import math
from dataclasses import dataclass

from .frame_specs import MemberSpec

#: Height of the profile that wheels run on, and of a size 12 rail (sizes 9 and 15 differ by 2 mm), m.
WHEEL_BEAM_M, RAIL_HEIGHT_M = 0.020, 0.008


@dataclass(frozen=True)
class Space:
    """Reach of the nozzle, m."""

    x_m: float
    y_m: float
    z_m: float


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
