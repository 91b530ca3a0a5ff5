"""The design: the scenario completed with its parts, in SI units. What the machine is built from.

Everything here is SI: m, kg, N, s, rad, Pa. File units end at `resolve()`, which fills these records
from the scenario (what the person wrote), the catalogue (what the part says) and the defaults.
A rigid or ideal choice is `None` where its record would stand, never a very stiff spring.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from .drive_specs import BeltSpec as BeltSpec
from .drive_specs import IdlerSpec as IdlerSpec
from .drive_specs import MotorSpec as MotorSpec
from .frame_specs import JOINT_SIDE_M as JOINT_SIDE_M
from .frame_specs import DiagonalSpec as DiagonalSpec
from .frame_specs import FeetSpec as FeetSpec
from .frame_specs import FrameSize as FrameSize
from .frame_specs import FrameSpec as FrameSpec
from .frame_specs import MemberSpec as MemberSpec
from .frame_specs import PanelPlace as PanelPlace
from .frame_specs import PanelSpec as PanelSpec
from .guide_specs import ArmsSpec as ArmsSpec
from .guide_specs import BedSpec as BedSpec
from .guide_specs import CarriageSpec as CarriageSpec
from .guide_specs import GantrySpec as GantrySpec
from .guide_specs import GuideSpec as GuideSpec
from .guide_specs import Space as Space
from .numbers import BAND_SIGMA as BAND_SIGMA
from .numbers import Drawn as Drawn
from .numbers import Origin as Origin
from .numbers import Uncertain as Uncertain

Detail = Literal["simple", "full"]


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
