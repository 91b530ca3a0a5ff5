"""Rules about belts on their wheels: pitch, which side touches what, teeth in mesh, diameters, skew."""

from __future__ import annotations

import itertools
import math

import numpy as np

from ..machine.machine import Belt, Wheel
from ..machine.routing import Arc, Span, belt_path, teeth_in_mesh
from .clearance import poses
from .finding import Finding, Place, Rule, derived, estimate, memory, published
from .solids import stop_heights
from .subject import Array, Subject

FULL_MESH = 6  # teeth
LARGE_TEETH = 40  # a smooth idler as large as this many teeth may run under them
COMFORTABLE_TEETH = 16
RIPPLE_M = 10e-6  # half of a ripple that is certainly seen


def mesh_factor(teeth: int) -> float:
    """Share of a belt's rating that so many whole teeth in mesh carry: 1 - 0.2 (6 - z), 1 from 6 on, 0 below 2.

    ISO 5295 and ANSI/RMA IP-24, from memory; ISO 5295's abstract (published) says the basic formula holds from 6 on.
    """
    if teeth >= FULL_MESH:
        return 1.0
    return 1.0 - 0.2 * (FULL_MESH - teeth) if teeth >= 2 else 0.0


def two_pulley_length(small_m: float, large_m: float, apart_m: float) -> float:
    """Length of a belt round two pulleys of the given radii, m; exact geometry.

    L = 2 sqrt(C^2 - (R - r)^2) + pi (R + r) + 2 (R - r) asin((R - r) / C).
    """
    step = large_m - small_m
    return 2 * math.sqrt(apart_m**2 - step**2) + math.pi * (small_m + large_m) + 2 * step * math.asin(step / apart_m)


def place_of(subject: Subject, wheel: Wheel) -> Place:
    """A wheel on the drawing, the machine in mid-reach."""
    return Place((wheel.centre[0], wheel.centre[1]), _tuple(subject.machine.middle))


def _tuple(tool: Array) -> tuple[float, float, float]:
    return float(tool[0]), float(tool[1]), float(tool[2])


def _contacts(subject: Subject, belt: Belt) -> list[tuple[Arc, Wheel]]:
    arcs = [piece for piece in subject.path(belt).pieces if isinstance(piece, Arc)]
    return [(arc, subject.machine.wheels[arc.wheel]) for arc in arcs]


def _pitch_match(subject: Subject) -> list[Finding]:
    d = subject.design
    out = []
    for belt in subject.machine.belts:
        for arc, wheel in _contacts(subject, belt):
            if wheel.teeth is None:
                continue
            pitch = d.pulley_pitch_m.get(wheel.drive) if wheel.drive else d.idlers.pitch_m
            profile = d.pulley_profile.get(wheel.drive) if wheel.drive else d.idlers.profile
            where = f"belt {belt.name} on {wheel.name}"
            places = (place_of(subject, wheel),)
            if pitch is not None and abs(pitch - belt.spec.pitch_m) > 1e-6:
                mine, its = belt.spec.pitch_m * 1e3, pitch * 1e3
                off_mm = abs(its - mine) * teeth_in_mesh(arc, wheel.teeth)
                out.append(
                    Finding(
                        rule="pitch-match",
                        severity="stop",
                        where=where,
                        value=its,
                        limit=mine,
                        unit="mm",
                        basis=derived("teeth mesh only when belt and pulley have the same pitch"),
                        change=f"order {wheel.name} with {mine:g} mm pitch, or a belt of {its:g} mm pitch",
                        words=f"{wheel.name} has teeth {its:g} mm apart and belt {belt.name} {mine:g} mm: over the teeth in "
                        f"mesh they come {off_mm:.2f} mm apart",
                        places=places,
                    )
                )
            if profile is not None and profile != belt.spec.profile:
                out.append(
                    Finding(
                        rule="pitch-match",
                        severity="stop",
                        where=where,
                        value=None,
                        limit=None,
                        unit="",
                        basis=published(
                            "ISO 5296 and ISO 13050 define trapezoidal and curved teeth as separate systems"
                        ),
                        change=f"order {wheel.name} with {belt.spec.profile} teeth",
                        words=f"{wheel.name} has {profile} teeth and belt {belt.name} {belt.spec.profile} ones: they do not mesh",
                        places=places,
                    )
                )
    return out


def _smooth_under_teeth(subject: Subject) -> list[Finding]:
    out = []
    for belt in subject.machine.belts:
        spec = belt.spec
        large_m = LARGE_TEETH * spec.pitch_m / math.pi
        smooth = [wheel for arc, wheel in _contacts(subject, belt) if arc.touches_teeth and wheel.teeth is None]
        outside_m = [2 * (wheel.radius_m - spec.tooth_height_m - spec.pitch_line_m) for wheel in smooth]
        small = [wheel for wheel, d in zip(smooth, outside_m, strict=True) if d < large_m]
        if not small:
            continue
        names = ", ".join(wheel.name for wheel in small)
        out.append(
            Finding(
                rule="smooth-under-teeth",
                severity="stop",
                where=f"belt {belt.name} on {names}",
                value=min(outside_m) * 1e3,
                limit=large_m * 1e3,
                unit="mm",
                basis=memory(
                    "a handbook of timing belts: toothed idlers inside, or smooth ones of 40 teeth's diameter"
                ),
                change='take toothed idlers on the toothed side: idlers.at_teeth = "toothed"',
                words=f"the teeth of belt {belt.name} run over smooth idlers {min(outside_m) * 1e3:.1f} mm thick ({names}): each "
                f"tooth tip bumps over them, which prints a ripple every {spec.pitch_m * 1e3:g} mm and wears the teeth",
                places=tuple(place_of(subject, wheel) for wheel in small),
            )
        )
    return out


def _teeth_on_back(subject: Subject) -> list[Finding]:
    out = []
    for belt in subject.machine.belts:
        for arc, wheel in _contacts(subject, belt):
            if arc.touches_teeth or wheel.teeth is None:
                continue
            drives = "a pulley cannot drive it there" if wheel.drive else "its teeth press into the back and wear it"
            out.append(
                Finding(
                    rule="teeth-on-back",
                    severity="stop" if wheel.drive else "warn",
                    where=f"belt {belt.name} on {wheel.name}",
                    value=None,
                    limit=None,
                    unit="",
                    basis=memory("a handbook of timing belts: smooth, uncrowned idlers on the back"),
                    change="turn the belt over, or put a smooth idler there",
                    words=f"the back of belt {belt.name} runs over the teeth of {wheel.name}: {drives}",
                    places=(place_of(subject, wheel),),
                )
            )
    return out


def _teeth_in_mesh(subject: Subject) -> list[Finding]:
    out = []
    for belt in subject.machine.belts:
        least: dict[str, float] = {}
        for tool in subject.corners():
            for piece in subject.path(belt, tool).pieces:
                wheel = subject.machine.wheels[piece.wheel] if isinstance(piece, Arc) else None
                if isinstance(piece, Arc) and wheel is not None and wheel.drive and wheel.teeth:
                    z = teeth_in_mesh(piece, wheel.teeth)
                    least[wheel.name] = min(z, least.get(wheel.name, math.inf))
        for name, z in least.items():
            whole = math.floor(z + 1e-9)
            if whole >= FULL_MESH:
                continue
            factor = mesh_factor(whole)
            carries = factor * belt.spec.working_tension_n
            pull = _pull(subject, name)
            over = pull is not None and pull > carries
            asked = f"; it is asked for {pull:.0f} N" if pull is not None else ""
            out.append(
                Finding(
                    rule="teeth-in-mesh",
                    severity="stop" if over or factor == 0 else "warn",
                    where=f"belt {belt.name} on {name}",
                    value=float(whole),
                    limit=float(FULL_MESH),
                    unit="teeth",
                    basis=memory(
                        "ISO 5295 and ANSI/RMA IP-24: full rating from 6 teeth on, a fifth less for each one missing"
                    ),
                    change="lead the belt further round the pulley with an idler, or take a pulley with more teeth",
                    words=f"{whole} teeth of {name} hold belt {belt.name}: they carry {carries:.0f} N in the long run{asked}",
                    places=(place_of(subject, subject.machine.wheels[name]),),
                )
            )
    return out


def _pull(subject: Subject, wheel: str) -> float | None:
    """Largest pull of a belt on a motor's pulley in the move, N: what its two runs differ by. The motor's torque is no
    measure of it: detent and the rotor's own swing do not go through the teeth."""
    motor = next(m for m in subject.machine.motors if m.name == subject.machine.wheels[wheel].drive)
    trace, system = subject.trace, subject.system
    if trace is None or system is None or motor.spec is None or not len(trace.t_s):
        return None
    rotor = system.dof_names.index(f"rotor {motor.name}")
    lets_out = np.array([run.row[rotor] for run in system.runs]) / subject.machine.wheels[wheel].radius_m
    return float(np.abs(trace.tension_n @ lets_out).max())


def _pulley_diameter(subject: Subject) -> list[Finding]:
    out = []
    for belt in subject.machine.belts:
        least = belt.spec.min_pulley_teeth
        least_m = least * belt.spec.pitch_m / math.pi
        for _, wheel in _contacts(subject, belt):
            bend_m = 2 * wheel.radius_m
            teeth = bend_m * math.pi / belt.spec.pitch_m
            if teeth >= least - 1e-6 and (teeth >= COMFORTABLE_TEETH - 1e-6 or wheel.drive is None):
                continue
            small = teeth < least - 1e-6
            out.append(
                Finding(
                    rule="pulley-diameter",
                    severity="stop" if small else "note",
                    where=f"belt {belt.name} on {wheel.name}",
                    value=bend_m * 1e3,
                    limit=(least_m if small else COMFORTABLE_TEETH * belt.spec.pitch_m / math.pi) * 1e3,
                    unit="mm",
                    basis=memory(
                        "a handbook of timing belts: at 2 mm pitch at least 10 to 12 teeth and better 16; 18 to 20 for steel cord"
                    ),
                    change=f"take {least if small else COMFORTABLE_TEETH} teeth or more"
                    + (" or a cord that bends tighter (glass, aramid)" if small and belt.spec.cord == "steel" else ""),
                    words=f"{wheel.name} bends the {belt.spec.cord} cord of belt {belt.name} to {bend_m * 1e3:.1f} mm, "
                    f"as {teeth:.0f} teeth do" + (": it breaks early" if small else ": it lives, but not longest"),
                    places=(place_of(subject, wheel),),
                )
            )
    return out


def way_m(subject: Subject, belt: Belt, tool: Array) -> float:
    """Length of a belt's way with the tool at `tool`, its rise and fall between clamps and wheels counted, m."""
    offsets = subject.machine.offsets(tool)
    path = belt_path(subject.machine, belt, offsets)
    heights = stop_heights(subject.machine, belt, offsets)
    spans = [piece for piece in path.pieces if isinstance(piece, Span)]
    rise = sum(
        math.hypot(span.length_m, b - a) - span.length_m
        for span, (a, b) in zip(spans, itertools.pairwise(heights), strict=True)
    )
    return path.length_m + rise


def _ways(subject: Subject, belt: Belt, places: list[Array]) -> Array:
    """`way_m` at each place, (k,); worked out once where the bodies that a belt touches stand alike."""
    bodies = belt.bodies(subject.machine.wheels)
    known: dict[bytes, float] = {}
    out = np.empty(len(places))
    for i, tool in enumerate(places):
        offsets = subject.machine.offsets(tool)
        stand = b"".join(offsets[body].tobytes() for body in bodies)
        if stand not in known:
            known[stand] = way_m(subject, belt, tool)
        out[i] = known[stand]
    return out


def _skew(subject: Subject) -> list[Finding]:
    out = []
    for belt in subject.machine.belts:
        places = poses(subject.machine, (9, 9, 3))
        lengths = _ways(subject, belt, places)
        change = float(np.ptp(lengths))
        if change <= RIPPLE_M:
            continue
        strain_n = belt.spec.ea_n * change / float(lengths.max())
        slack = strain_n > belt.spec.pretension_n
        worst = places[int(np.argmax(lengths))]
        out.append(
            Finding(
                rule="skew",
                severity="stop" if slack else "warn",
                where=f"belt {belt.name}",
                value=change * 1e6,
                limit=RIPPLE_M * 1e6,
                unit="um",
                basis=estimate(
                    "half of the 20 µm that a wall certainly shows; an offset e over a span s costs e^2 / 2s (geometry)"
                ),
                change="bring clamps and wheels into line and to one height, so that changing spans lie along the travel"
                + (" (belts.carriage_raise_mm)" if belt.spec.carriage_raise_m else ""),
                words=f"belt {belt.name} needs {change * 1e6:.0f} µm more length in one place of the reach than in another, "
                f"as its spans are not parallel to the travel: its tension swings by {strain_n:.1f} N"
                + (f", more than its pretension of {belt.spec.pretension_n:g} N" if slack else ""),
                places=(Place((float(worst[0]), float(worst[1])), _tuple(worst)),),
            )
        )
    return out


def _no_motion(subject: Subject) -> list[Finding]:
    if subject.refusal is None:
        return []
    return [
        Finding(
            rule="no-model",
            severity="stop",
            where="machine",
            value=None,
            limit=None,
            unit="",
            basis=derived("belts and guides must determine the motion: rank of their equations"),
            change=subject.refusal.rpartition("; ")[2] or subject.refusal,
            words=f"{subject.refusal}; what the move does to this machine was not looked at",
        )
    ]


RULES = (
    Rule("no-model", "do belts and guides determine where the tool is?", _no_motion),
    Rule("pitch-match", "have belts, pulleys and idlers the same pitch and teeth?", _pitch_match),
    Rule("smooth-under-teeth", "do teeth run on teeth?", _smooth_under_teeth),
    Rule("teeth-on-back", "does the back run on something smooth?", _teeth_on_back),
    Rule("teeth-in-mesh", "do enough teeth hold the belt?", _teeth_in_mesh),
    Rule("pulley-diameter", "does nothing bend the cord too tightly?", _pulley_diameter),
    Rule("skew", "do changing spans lie along the travel?", _skew),
)
