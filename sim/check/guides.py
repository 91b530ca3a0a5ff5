"""Rules about guides: rods that bend, single rods, shafts that do not fit, preload, parallel rails, wheels in slots."""

from __future__ import annotations

import math
from collections.abc import Iterable

from ..errors import MachineError
from ..machine.machine import Body, GuidePlace
from ..model.guides import guide_stiffness
from ..model.motor import torque_limit
from ..model.shafts import Ends
from ..parts.design import GuideSpec
from ..practice import STANDARD_GRAVITY
from .beams import STEEL_KG_M3, STEEL_PA, carried_frequency, middle_sag, round_inertia, spread_sag
from .finding import Finding, Place, Rule, Severity, derived, estimate, practice, published
from .fits import finest_that_keeps, largest_play, rail_allowance, rocking
from .subject import Subject

SAG_WARN_M, SAG_STOP_M = 50e-6, 200e-6
LOOSEST_SHAFT = "h7"
GROUND_SHAFTS = ("h6", "h7", "h8")
FRICTION_SHARE = 0.2
AXES = "XYZ"


def _placed(subject: Subject, kind: str) -> Iterable[tuple[Body, GuideSpec, GuidePlace]]:
    for body, guide in subject.guided():
        if guide.kind == kind and body.place is not None:
            yield body, guide, body.place


def _spot(subject: Subject, place: GuidePlace) -> tuple[Place, ...]:
    x, y, z = subject.machine.middle
    return (Place((place.point[0], place.point[1]), (float(x), float(y), float(z))),)


def rod_sag(load_kg: float, diameter_m: float, span_m: float, rods: int, ends: Ends = "clamped") -> tuple[float, float]:
    """(sag in the middle m, bounce Hz) of a load shared by parallel rods, their own weight counted.

    ends: how the rods are held; what that does is written in model/shafts.py.
    """
    ei = STEEL_PA * round_inertia(diameter_m)
    rod_kg = math.pi / 4 * diameter_m**2 * STEEL_KG_M3 * span_m
    sag = middle_sag(load_kg * STANDARD_GRAVITY / rods, span_m, ei, ends)
    sag += spread_sag(rod_kg * STANDARD_GRAVITY, span_m, ei, ends)
    return sag, carried_frequency(load_kg, rods * rod_kg, span_m, rods * ei, ends)


def _rod_sag(subject: Subject) -> list[Finding]:
    out = []
    for body, guide, place in _placed(subject, "rods"):
        if body.held or body.slide == 2:  # upright rods do not sag
            continue
        load = sum(b.mass_kg for b in subject.carried(body.name))
        sag, bounce = rod_sag(load, guide.rod_diameter_m, place.span_m, guide.lines, guide.ends)
        if sag <= SAG_WARN_M:
            continue
        wanted_mm = guide.rod_diameter_m * (sag / SAG_WARN_M) ** 0.25 * 1e3
        out.append(
            Finding(
                rule="rod-sag",
                severity="stop" if sag > SAG_STOP_M else "warn",
                where=f"rods of the {body.name}",
                value=sag * 1e6,
                limit=SAG_WARN_M * 1e6,
                unit="um",
                basis=estimate(
                    "a quarter of a 0.2 mm layer, which the first layer shows; a whole layer cannot be levelled away. "
                    "Bending after Roark (from memory), clamped ends as springs that halve what a load in the middle bends "
                    "(common practice)"
                ),
                change=f"rods of {wanted_mm:.0f} mm or more, a shorter span, or profile rails on a beam",
                words=f"{load * 1e3:.0f} g on {guide.lines} rods of {guide.rod_diameter_m * 1e3:g} mm over "
                f"{place.span_m * 1e3:.0f} mm, ends {guide.ends}, sag by {sag * 1e6:.0f} µm in the middle and bounce at "
                f"{bounce:.0f} Hz",
                places=_spot(subject, place),
            )
        )
    return out


def _single_rod(subject: Subject) -> list[Finding]:
    return [
        Finding(
            rule="single-rod",
            severity="stop",
            where=f"rods of the {body.name}",
            value=float(guide.lines),
            limit=2.0,
            unit="rods",
            basis=derived("round bushings leave the turn about the rod free"),
            change=f"a second rod beside it: {body.name.split()[0]}.lines = 2",
            words=f"the {body.name} rides on a single rod and can turn about it",
            places=_spot(subject, place),
        )
        for body, guide, place in _placed(subject, "rods")
        if guide.lines < 2
    ]


def _guide_holds(subject: Subject) -> list[Finding]:
    out = []
    for body, guide in subject.guided():
        if body.place is None or body.slide is None or (guide.kind == "rods" and guide.lines < 2):
            continue
        try:
            guide_stiffness(body.name, guide, body.place, body.slide)
        except MachineError as error:
            out.append(
                Finding(
                    rule="guide-holds",
                    severity="stop",
                    where=f"guide of the {body.name}",
                    value=None,
                    limit=None,
                    unit="",
                    basis=derived(
                        "a guide must hold everything but its slide: the smallest eigenvalue of its stiffness"
                    ),
                    change=str(error).rpartition("; ")[2],
                    words=str(error).partition("; ")[0],
                    places=_spot(subject, body.place),
                )
            )
    return out


def nozzle_arm(subject: Subject, body: Body) -> float:
    """How far from a guide its rocking is felt, m: down to the nozzle, or out to the bed's far edge."""
    assert body.place is not None
    if any(b.name == subject.machine.tool_body for b in subject.carried(body.name)):
        return abs(body.place.point[2] - subject.machine.tool_point[2])
    spec = subject.design.arms
    if spec is not None:
        return abs(spec.carriage_offset_m)  # out to the joints of its arms
    if body.name != subject.machine.work_body:
        return 0.0
    axis = 1 if body.held else 0
    half = subject.machine.plate_m[axis] / 2
    return max(abs(body.centre[axis] + side * half - body.place.point[axis]) for side in (-1, 1))


def _shaft_fit(subject: Subject) -> list[Finding]:
    out = []
    for body, guide, place in _placed(subject, "rods"):
        if guide.shaft in ("h6", LOOSEST_SHAFT):
            continue
        least, most = largest_play(guide.rod_diameter_m, guide.shaft)
        _, allowed = largest_play(guide.rod_diameter_m, LOOSEST_SHAFT)
        arm = nozzle_arm(subject, body)
        soft = guide.shaft not in GROUND_SHAFTS
        better = finest_that_keeps(guide.rod_diameter_m, allowed)
        angle = rocking(most, place.spacing_m)
        spot = "the nozzle" if _carries_tool(subject, body) else "the bed's edge"
        spot = "its arms" if subject.design.arms is not None else spot
        out.append(
            Finding(
                rule="shaft-fit",
                severity="stop" if soft else "warn",
                where=f"rods of the {body.name}",
                value=most * 1e6,
                limit=allowed * 1e6,
                unit="um",
                basis=published(
                    "ISO 286-2 limits of shafts; ball bushings are made for h6 (handbook value, from memory)"
                ),
                change=f"ground and hardened shafts of {better or LOOSEST_SHAFT} or better, h6 best",
                words=f"{guide.shaft} shafts of {guide.rod_diameter_m * 1e3:g} mm may be {most * 1e6:.0f} µm under size: "
                f"{least * 1e6:.0f} to {most * 1e6:.0f} µm of play in a ball bushing. Over {place.spacing_m * 1e3:.0f} mm they "
                f"let the {body.name} rock by {angle * 1e6:.0f} µrad, {angle * arm * 1e6:.0f} µm at {spot}"
                + ("; drawn bar is also soft, and the balls dent it" if soft else ""),
                places=_spot(subject, place),
            )
        )
    return out


def _carries_tool(subject: Subject, body: Body) -> bool:
    return any(b.name == subject.machine.tool_body for b in subject.carried(body.name))


def drive_force(subject: Subject, axis: int) -> float | None:
    """Force with which the motors can push the tool along an axis at the speed of the move, N; None with ideal motors."""
    system = subject.system
    if system is None:
        return None
    force = 0.0
    for j, motor in enumerate(system.motors):
        if motor.spec is None:
            return None
        turns = abs(float(system.motor_travel[j, axis]))  # rad for each metre
        force += turns * float(torque_limit(motor.spec, turns * subject.limits.speed_m_s))
    return force


def _guide_preload(subject: Subject) -> list[Finding]:
    out = []
    for body, guide in subject.guided():
        force = None if body.slide is None or body.held else drive_force(subject, body.slide)
        if force is not None and subject.machine.arms:
            force /= len(subject.machine.arms)  # each carriage has a motor of its own
        if force is None or force <= 0 or guide.friction_n <= FRICTION_SHARE * force:
            continue
        wheels = f" ({guide.preload_n:g} N preload a wheel)" if guide.preload_n > 0 else ""
        push = sum(b.mass_kg for b in subject.carried(body.name)) * subject.limits.acceleration_m_s2
        share = guide.friction_n / force
        out.append(
            Finding(
                rule="guide-preload",
                severity="warn",
                where=f"guide of the {body.name}",
                value=share,
                limit=FRICTION_SHARE,
                unit="ratio",
                basis=estimate("beyond a fifth of what the motors can push, rubbing decides where the tool stops"),
                change="ease the preload (eccentrics, parallelism) or take a guide that runs easier",
                words=f"the {body.name}'s guide rubs with {guide.friction_n:g} N{wheels}, {share * 100:.0f} % of "
                f"the {force:.0f} N the motors can push with; the acceleration itself takes {push:.1f} N",
            )
        )
    return out


def _rail_parallel(subject: Subject) -> list[Finding]:
    out = []
    for body, guide, place in _placed(subject, "rail"):
        if guide.lines < 2 or place.apart_m <= 0:
            continue
        tight, loose = rail_allowance(place.apart_m, True), rail_allowance(place.apart_m, False)
        measured = guide.mismatch_m
        severity: Severity = "note"
        if measured is not None and measured > tight:
            severity = "stop" if measured > loose else "warn"
        elif measured is not None:
            continue
        state = "not measured yet" if measured is None else f"{measured * 1e6:.0f} µm as measured"
        out.append(
            Finding(
                rule="rail-parallel",
                severity=severity,
                where=f"rails of the {body.name}",
                value=None if measured is None else measured * 1e6,
                limit=tight * 1e6,
                unit="um",
                basis=published(
                    "a rail maker's catalogue: 0.00015 of their distance preloaded, 0.00025 without preload"
                ),
                change=(
                    f"measure it, and keep it within {tight * 1e6:.0f} µm ({loose * 1e6:.0f} µm without preload)"
                    if measured is None
                    else f"shim the rails to {tight * 1e6:.0f} µm, take blocks without preload (to {loose * 1e6:.0f} µm), "
                    "or let one rail float on its screws"
                ),
                words=f"two rails {place.apart_m * 1e3:.0f} mm apart may differ in height by {tight * 1e6:.0f} µm; {state}",
                places=_spot(subject, place),
            )
        )
    return out


def _wheel_slot(subject: Subject) -> list[Finding]:
    frame = subject.design.frame
    if frame is None or frame.kind != "slot" or frame.slot != "plain":
        return []
    return [
        Finding(
            rule="wheel-slot",
            severity="stop",
            where=f"wheels of the {body.name}",
            value=None,
            limit=None,
            unit="",
            basis=practice("V-wheels need a V-slot"),
            change='profile with V-slots (frame.slot = "v"), or a rail screwed onto the plain profile',
            words=f"the {body.name}'s wheels have a V rim and the slots of this profile have square edges: the rim has no flank "
            "to centre on, rides on two sharp edges and is cut by them",
        )
        for body, _, _ in _placed(subject, "wheels")
    ]


RULES = (
    Rule("rod-sag", "do rods carry their load without sagging?", _rod_sag),
    Rule("single-rod", "do rods come in pairs?", _single_rod),
    Rule("guide-holds", "does every guide hold all but its slide?", _guide_holds),
    Rule("shaft-fit", "do the shafts fit their bushings?", _shaft_fit),
    Rule("guide-preload", "is friction small beside what the motors can push?", _guide_preload),
    Rule("rail-parallel", "are two rails parallel enough?", _rail_parallel),
    Rule("wheel-slot", "do the wheels fit the slots?", _wheel_slot),
)
