"""Rules about how tight belts are: slack, working load, load on motor shafts, and the note each span hums."""

from __future__ import annotations

import numpy as np

from ..machine.machine import Belt
from ..machine.routing import Span
from .beams import string_frequency
from .finding import Finding, Place, Rule, derived, memory, practice
from .solids import span_names
from .subject import Subject
from .ways import listed, stronger_belt

RESERVE = 1.2  # pretension over the largest drop of tension
SHORTEST_TO_PLUCK_M = 0.060
RATED_LEVER_M = 0.020  # from the motor's face, where its shaft load is rated
SHORTEST_LEVER_M = 0.010
TENSION_CAUTION = (
    "A tensioned belt whips when it is let go or breaks: eyes and fingers away, power off before adjusting."
)


def _pretension_slack(subject: Subject) -> list[Finding]:
    trace = subject.trace
    out = []
    for belt in subject.machine.belts if trace is not None else ():
        assert trace is not None
        seen = subject.tension(belt.name)
        if seen is None:
            continue
        at_rest = belt.spec.pretension_n
        slack_s = trace.slack_s.get(belt.name, 0.0)
        # Slack hides how far the tension would have fallen; the other side has risen by about as much.
        drop = max(at_rest - seen[0], seen[1] - at_rest if slack_s > 0 else 0.0)
        wanted = RESERVE * drop
        if slack_s == 0 and at_rest >= wanted:
            continue
        if slack_s > 0:
            words = (
                f"belt {belt.name}, {at_rest:g} N at rest, hangs slack for {slack_s * 1e3:.1f} ms of the move: "
                "the carriage is let go and caught again"
            )
        else:
            words = f"the tension of belt {belt.name}, {at_rest:g} N at rest, falls to {seen[0]:.1f} N in the move"
        out.append(
            Finding(
                rule="pretension-slack",
                severity="stop" if slack_s > 0 else "warn",
                where=f"belt {belt.name}",
                value=at_rest,
                limit=wanted,
                unit="N",
                basis=practice("pretension at least 1.2 times what the move takes off"),
                change=f"belts.pretension_n = {np.ceil(wanted):g} or more, or a lower motion.acceleration_mm_s2",
                words=words,
                caution=TENSION_CAUTION,
            )
        )
    return out


def _belt_load(subject: Subject) -> list[Finding]:
    out = []
    for belt in subject.machine.belts:
        seen = subject.tension(belt.name)
        most = belt.spec.pretension_n if seen is None else max(seen[1], belt.spec.pretension_n)
        if most <= belt.spec.working_tension_n:
            continue
        out.append(
            Finding(
                rule="belt-load",
                severity="warn",
                where=f"belt {belt.name}",
                value=most,
                limit=belt.spec.working_tension_n,
                unit="N",
                basis=memory("the working tension of the parts catalogue, a rating for long life"),
                change=listed(
                    [*stronger_belt(belt.spec), "less belts.pretension_n", "a lower motion.acceleration_mm_s2"]
                ),
                words=f"belt {belt.name} is pulled with up to {most:.0f} N; it wears out early, it does not break",
                caution=TENSION_CAUTION,
            )
        )
    return out


def shaft_pull(subject: Subject, belt: Belt, wheel: str) -> float:
    """Pull of a belt at rest on one of its wheels, N: T |d_out - d_in|, twice the tension where it turns back."""
    spans = [piece for piece in subject.path(belt).pieces if isinstance(piece, Span)]
    number = [w.wheel for w in belt.wraps].index(wheel)
    turn = spans[number + 1].direction - spans[number].direction
    return belt.spec.pretension_n * float(np.hypot(*turn))


def _shaft_load(subject: Subject) -> list[Finding]:
    out = []
    for belt in subject.machine.belts:
        for motor in subject.machine.motors:
            if motor.spec is None or motor.spec.shaft_load_n <= 0 or all(w.wheel != motor.wheel for w in belt.wraps):
                continue
            wheel = subject.machine.wheels[motor.wheel]
            lever = max(SHORTEST_LEVER_M, wheel.centre[2] - motor.face_z_m)
            allowed = motor.spec.shaft_load_n * RATED_LEVER_M / lever
            load = shaft_pull(subject, belt, motor.wheel)
            if load <= allowed:
                continue
            out.append(
                Finding(
                    rule="shaft-load",
                    severity="warn",
                    where=f"motor {motor.name}",
                    value=load,
                    limit=allowed,
                    unit="N",
                    basis=memory(
                        f"{motor.spec.shaft_load_n:g} N at {RATED_LEVER_M * 1e3:g} mm from the face, the same moment elsewhere"
                    ),
                    change="set the pulley nearer to the motor's face, carry the shaft's end in a bearing, or tension less "
                    "(belts.pretension_n)",
                    words=f"belt {belt.name} pulls at motor {motor.name}'s shaft with {load:.0f} N at rest, "
                    f"{lever * 1e3:.0f} mm from its face: its bearings wear",
                    places=(Place((wheel.centre[0], wheel.centre[1]), _middle(subject)),),
                )
            )
    return out


def _middle(subject: Subject) -> tuple[float, float, float]:
    x, y, z = subject.machine.middle
    return float(x), float(y), float(z)


def _belt_tune(subject: Subject) -> list[Finding]:
    out = []
    for belt in subject.machine.belts:
        spec = belt.spec
        if spec.mass_kg_m <= 0:
            continue
        if spec.pretension_n < 1.0:
            out.append(
                Finding(
                    rule="belt-tune",
                    severity="warn",
                    where=f"belt {belt.name}",
                    value=spec.pretension_n,
                    limit=1.0,
                    unit="N",
                    basis=derived("a span without tension has no note"),
                    change="tension the belt: belts.pretension_n",
                    words=f"belt {belt.name} has no tension to tune by ear",
                )
            )
            continue
        path = subject.path(belt)
        spans = [piece for piece in path.pieces if isinstance(piece, Span)]
        for name, span in zip(span_names(belt), spans, strict=True):
            if span.length_m < SHORTEST_TO_PLUCK_M:
                continue
            hum = string_frequency(span.length_m, spec.pretension_n, spec.mass_kg_m)
            x, y = (span.start + span.end) / 2
            out.append(
                Finding(
                    rule="belt-tune",
                    severity="note",
                    where=name,
                    value=hum,
                    limit=None,
                    unit="Hz",
                    basis=derived(
                        "a string's pitch, sqrt(T / m) / 2 l; short spans sound higher, since a belt also bends"
                    ),
                    change=f"with the tool in mid-reach, tension until this span hums at {hum:.0f} Hz",
                    words=f"{name}: {span.length_m * 1e3:.0f} mm free, hums at {hum:.0f} Hz under {spec.pretension_n:g} N",
                    caution=TENSION_CAUTION,
                    places=(Place((float(x), float(y)), _middle(subject)),),
                )
            )
    return out


RULES = (
    Rule("pretension-slack", "do all belts stay taut in the move?", _pretension_slack),
    Rule("belt-load", "is every belt within its working tension?", _belt_load),
    Rule("shaft-load", "do the motors' shafts carry the belts' pull?", _shaft_load),
    Rule("belt-tune", "at which note is each span right?", _belt_tune),
)
