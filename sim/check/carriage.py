"""The rule about a carriage whose belt, mass centre, guide and nozzle lie at different heights."""

from __future__ import annotations

import numpy as np

from ..errors import MachineError
from ..machine.machine import Body
from ..model.guides import guide_stiffness
from ..practice import SEEN_M
from .finding import Finding, Rule, practice
from .subject import Subject


def pitch_angle(body: Body, moment_nm: float) -> float:
    """Angle by which a body pitches on its guide under a moment about the level axis across its slide, rad.

    The guide's own springs: bushings on their bending rods, wheels, or blocks. Raises MachineError where they hold nothing.
    """
    assert body.guide is not None
    assert body.place is not None
    assert body.slide is not None
    k = guide_stiffness(body.name, body.guide, body.place, body.slide).at_rest()
    keep = [i for i in range(6) if i != body.slide]
    turn = keep.index(3 + (1 - body.slide))
    return moment_nm * float(np.linalg.inv(k[np.ix_(keep, keep)])[turn, turn])


def _carriage_pitch(subject: Subject) -> list[Finding]:
    d = subject.design
    body = subject.machine.body(subject.machine.tool_body)
    if body.guide is None or body.place is None or not body.driven:
        return []
    lever = d.carriage.belt_above_guide_m - d.carriage.mass_centre_above_guide_m
    moment = body.mass_kg * subject.limits.acceleration_m_s2 * abs(lever)
    try:
        angle = pitch_angle(body, moment)
    except MachineError:  # told by the rule about guides that hold nothing
        return []
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
            basis=practice("20 µm of ripple is certainly seen on a wall"),
            change="bring belt plane and mass centre to one height (carriage.belt_above_guide_mm, "
            "carriage.mass_centre_above_guide_mm), "
            "the nozzle nearer to the guide, or bearings further apart",
            words=f"the belt pulls {lever * 1e3:.0f} mm above the carriage's mass centre: speeding up pitches it by "
            f"{angle * 1e6:.0f} µrad, {felt * 1e6:.0f} µm at the nozzle",
        )
    ]


RULES = (Rule("carriage-pitch", "is the carriage pulled where its mass is?", _carriage_pitch),)
