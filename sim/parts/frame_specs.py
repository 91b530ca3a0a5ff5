"""What the frame and its feet are made of, as records in SI units; see `design`."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Literal

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
class FrameSpec(MemberSpec):
    """The frame; its own section is that of its members. kind "slot" | "printed".

    joint_nm_rad: rotational stiffness of a corner joint of 20 mm profile; other_size_factor: factor on those of other sides.
    stiffness_*_n_m: the person's override of the
    frame top's sway stiffness, None = computed from the beams.  top_mass_kg: override of the mass that sways, None = computed.
    material: its name in the catalogue.  slot: "v" | "plain".  bore: "round" | "cross".
    base, columns, top: members that differ from this one; None = the same.  panels: what closes its sides.
    """

    kind: str
    joints: str
    joint_nm_rad: float
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
    other_size_factor: float = 1.0

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
