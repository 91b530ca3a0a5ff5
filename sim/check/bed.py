"""Rules about the bed: its mass, how far it sags and tilts on its Z drives, and what heats it."""

from __future__ import annotations

from ..machine.machine import Body
from ..model.motor import torque_limit
from ..model.sag import bed_sag
from .finding import Finding, Place, Rule, Severity, derived, estimate, practice
from .subject import Subject
from .ways import listed

SAG_WARN_M, SAG_STOP_M = 50e-6, 100e-6
ONE_DRIVE_M = 0.250
PRINT_KG = 0.5
TILT_M = 50e-6
SHARE = 0.5


def _lifted(subject: Subject) -> Body | None:
    """The bed, if it moves on Z."""
    return next((b for b in subject.machine.bodies if b.name == subject.machine.work_body and b.held), None)


def size_m(subject: Subject) -> tuple[float, float]:
    """Width and depth of the bed plate, m."""
    return subject.machine.plate_m


def _spot(subject: Subject) -> tuple[Place, ...]:
    body = subject.machine.body(subject.machine.work_body)
    x, y, z = subject.machine.middle
    _, depth = size_m(subject)
    return (Place((body.centre[0], body.centre[1] - depth / 2), (float(x), float(y), float(z))),)


def _bed_mass(subject: Subject) -> list[Finding]:
    body = subject.machine.body(subject.machine.work_body)
    width, depth = size_m(subject)
    words = f"the bed of {width * 1e3:.0f} x {depth * 1e3:.0f} mm weighs {body.mass_kg * 1e3:.0f} g"
    severity: Severity = "note"
    limit: float | None = None
    change = "nothing to change"
    if body.slide is not None and body.driven:
        letter = "xy"[body.slide]
        motor = next((m for m in subject.machine.motors if m.name == letter), None)
        radius = subject.machine.wheels[motor.wheel].radius_m if motor is not None else 0.0
        if motor is not None and motor.spec is not None:
            speed = subject.limits.speed_m_s / radius
            push = float(torque_limit(motor.spec, speed)) / radius
            limit = SHARE * push / subject.limits.acceleration_m_s2
            words += (
                f" and is shaken in {letter.upper()}: motor {letter} could move {limit:.2f} kg so with torque to spare"
            )
            if body.mass_kg > limit:
                severity = "warn"
                change = (
                    "a thinner plate, no glass, a lower motion.acceleration_mm_s2, or a stronger motor under the bed"
                )
    return [
        Finding(
            rule="bed-mass",
            severity=severity,
            where="bed",
            value=body.mass_kg,
            limit=limit,
            unit="kg",
            basis=estimate("half of the motor's torque at the speed of the move")
            if limit is not None
            else derived("parts"),
            change=change,
            words=words,
            places=_spot(subject),
        )
    ]


def _bed_sag(subject: Subject) -> list[Finding]:
    body = _lifted(subject)
    if body is None:
        return []
    found = bed_sag(subject.machine)
    if found is None or found.tip_m <= SAG_WARN_M:
        return []
    width, depth = size_m(subject)
    if found.sides == 1:
        words = (
            f"held at one edge, the bed of {body.mass_kg * 1e3:.0f} g hangs by {found.tip_m * 1e6:.0f} µm at the other, "
            f"{depth * 1e3:.0f} mm away: {found.arms_m * 1e6:.0f} µm from its arms bending, {found.guide_m * 1e6:.0f} µm from "
            "its guide tilting"
        )
        change = listed(
            [*_more_drives(subject), "bearings further apart (bed.spacing_mm)", "a lighter plate (bed.mass_g)"]
        )
    else:
        words = (
            f"between its drives at both sides, {width * 1e3:.0f} mm apart, the bed of {body.mass_kg * 1e3:.0f} g sags by "
            f"{found.tip_m * 1e6:.0f} µm: {found.arms_m * 1e6:.0f} µm from its arms, {found.guide_m * 1e6:.0f} µm from its guides"
        )
        change = "stiffer arms under the plate (bed.arms), or a lighter plate"
    return [
        Finding(
            rule="bed-sag",
            severity="stop" if found.tip_m > SAG_STOP_M else "warn",
            where="bed",
            value=found.tip_m * 1e6,
            limit=SAG_STOP_M * 1e6 if found.tip_m > SAG_STOP_M else SAG_WARN_M * 1e6,
            unit="um",
            basis=practice(
                "0.05 to 0.1 mm of droop is where a second drive pays; bending after Roark's table of beams"
            ),
            change=change,
            words=words,
            places=_spot(subject),
        )
    ]


def _more_drives(subject: Subject) -> list[str]:
    """A drive at the other side, where there is none yet."""
    one = subject.design.bed.z_drives < 2
    return ["a second Z drive with rods on the other side (bed.z_drives = 2)"] if one else []


def _bed_tilt(subject: Subject) -> list[Finding]:
    load = max(subject.design.bed.print_mass_kg, PRINT_KG)
    found = bed_sag(subject.machine, load)
    if found is None or found.tip_m <= TILT_M:
        return []
    return [
        Finding(
            rule="bed-tilt",
            severity="warn",
            where="bed",
            value=found.tip_m * 1e6,
            limit=TILT_M * 1e6,
            unit="um",
            basis=estimate(
                "a quarter of a 0.2 mm layer; levelling takes away what the empty bed does, not what the print adds"
            ),
            change=listed(
                [*_more_drives(subject), "bearings further apart (bed.spacing_mm)", "stiffer arms under it (bed.arms)"]
            ),
            words=f"a print of {load * 1e3:.0f} g tips the bed's free edge down by another {found.tip_m * 1e6:.0f} µm while it "
            "grows",
            places=_spot(subject),
        )
    ]


def _z_drives(subject: Subject) -> list[Finding]:
    body = _lifted(subject)
    side = max(size_m(subject))
    if body is None or subject.design.bed.z_drives > 1 or side <= ONE_DRIVE_M:
        return []
    found = bed_sag(subject.machine)
    hangs = found is not None and found.tip_m > SAG_STOP_M
    return [
        Finding(
            rule="z-drives",
            severity="stop" if hangs else "warn",
            where="bed",
            value=side * 1e3,
            limit=ONE_DRIVE_M * 1e3,
            unit="mm",
            basis=practice("above 250 mm two Z drives, with four rods"),
            change="bed.z_drives = 2 and a pair of rods at each side",
            words=f"one Z drive lifts a bed of {side * 1e3:.0f} mm at one edge"
            + (f", and its other edge hangs by {found.tip_m * 1e6:.0f} µm" if found is not None and hangs else ""),
            places=_spot(subject),
        )
    ]


def _bed_heater(subject: Subject) -> list[Finding]:
    if subject.design.bed.heater != "mains":
        return []
    return [
        Finding(
            rule="bed-heater",
            severity="warn",
            where="bed",
            value=None,
            limit=None,
            unit="",
            basis=practice("local electrical codes decide, and they ask for a competent person"),
            change="have it wired by a licensed electrician, or heat the bed with extra-low voltage",
            words="the bed is heated from the mains: its plate, its guide and the frame are within reach of live parts",
            caution="Mains wiring is for a licensed or competent person after the local code: protective earth on all "
            "metal, fuse, strain relief, thermal cut-off.",
            places=_spot(subject),
        )
    ]


RULES = (
    Rule("bed-mass", "what does the bed weigh, and is it shaken?", _bed_mass),
    Rule("bed-sag", "does the bed stay flat under its own weight?", _bed_sag),
    Rule("bed-tilt", "does it stay flat while the print grows?", _bed_tilt),
    Rule("z-drives", "is the bed lifted on enough sides?", _z_drives),
    Rule("bed-heater", "is what heats the bed safe to touch?", _bed_heater),
)
