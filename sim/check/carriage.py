"""The rule about a carriage whose belt, mass centre, guide and nozzle lie at different heights."""

from __future__ import annotations

from ..machine.machine import GuidePlace
from ..parts.design import GuideSpec
from .beams import STEEL_PA, pair_tilt, round_inertia
from .finding import Finding, Rule, practice
from .guides import CLAMPED_GAIN
from .subject import Subject

SEEN_M = 20e-6


def pitch_angle(guide: GuideSpec, place: GuidePlace, moment_nm: float) -> float:
    """Angle by which a carriage pitches about the axis across its guide, in the middle of the lines, rad.

    Pairs of bushings or wheels: 2 M / (k s^2) a line. Rods also bend: a moment in the middle of a rod on supports turns it by
    M l / 12 EI (Roark, from memory), half of that when its ends are clamped. A rail's block: M over its own stiffness.
    """
    if guide.kind == "rail":
        return moment_nm / (guide.lines * guide.stiffness_nm_rad) if guide.stiffness_nm_rad > 0 else 0.0
    angle = pair_tilt(moment_nm, guide.stiffness_n_m, place.spacing_m, guide.lines)
    if guide.kind == "rods":
        ei = STEEL_PA * round_inertia(guide.rod_diameter_m)
        angle += moment_nm / guide.lines * place.span_m / (12 * ei) / CLAMPED_GAIN
    return angle


def _carriage_pitch(subject: Subject) -> list[Finding]:
    d = subject.design
    body = subject.machine.body(subject.machine.tool_body)
    if body.guide is None or body.place is None:
        return []
    lever = d.carriage.belt_above_guide_m - d.carriage.mass_centre_above_guide_m
    moment = body.mass_kg * subject.limits.acceleration_m_s2 * abs(lever)
    angle = pitch_angle(body.guide, body.place, moment)
    felt = angle * abs(d.carriage.nozzle_below_guide_m)
    if felt <= SEEN_M:
        return []
    return [
        Finding(
            rule="carriage-pitch",
            severity="warn",
            where="carriage",
            value=felt * 1e6,
            limit=SEEN_M * 1e6,
            unit="um",
            basis=practice("20 um of ripple is certainly seen on a wall"),
            change="bring belt plane and mass centre to one height (carriage.belt_above_guide_mm, mass_centre_above_guide_mm), "
            "the nozzle nearer to the guide, or bearings further apart",
            words=f"the belt pulls {lever * 1e3:.0f} mm above the carriage's mass centre: speeding up pitches it by "
            f"{angle * 1e6:.0f} urad, {felt * 1e6:.0f} um at the nozzle",
        )
    ]


RULES = (Rule("carriage-pitch", "is the carriage pulled where its mass is?", _carriage_pitch),)
