"""Rules about printed parts: heat, creep and brittleness."""

from __future__ import annotations

from ..parts.catalogue import catalogue
from ..parts.design import MotorSpec
from ..practice import SEEN_M
from .finding import Finding, Rule, estimate, practice
from .frame import sway, swaying_axes
from .subject import Subject
from .ways import FILLED, bears_more, closed_sides, listed

RATED_RISE_K = 80.0
NEARLY_K = 10.0
CREEP = 2.0
BRITTLE = ("pla",)


def motor_rise_k(m: MotorSpec) -> float:
    """How much warmer than the air a motor gets on a sine of peak current_a, K.

    80 K with both phases at the rated current (usual data-sheet limit, from memory), in proportion to the copper loss:
    a sine of peak I warms as I^2 R in all, both phases at I_r as 2 I_r^2 R.
    """
    return RATED_RISE_K * m.current_a**2 / (2 * m.rated_current_a**2)


def _print_heat(subject: Subject) -> list[Finding]:
    spec = subject.design.frame
    if spec is None or spec.kind != "printed":
        return []
    material = catalogue().get("materials", spec.material)
    bears = material.value("service_degc")
    air = subject.design.ambient_degc
    motors = [m for m in subject.machine.motors if m.spec is not None]
    hottest = max(motors, key=lambda m: motor_rise_k(m.spec) if m.spec else 0.0, default=None)
    rise = motor_rise_k(hottest.spec) if hottest is not None and hottest.spec is not None else 0.0
    warm = air + rise
    if warm <= bears - NEARLY_K:
        return []
    held = f"motor {hottest.name}'s mount" if hottest is not None and rise > 0 else "the frame"
    return [
        Finding(
            rule="print-heat",
            severity="stop" if warm > bears else "warn",
            where=held,
            value=warm,
            limit=bears,
            unit="degC",
            basis=practice(material.numbers["service_degc"].source.text),
            change=listed(
                [
                    *bears_more(bears),
                    "less motors.current_a",
                    "a cooler room",
                    "a plate of metal between motor and print",
                ]
            ),
            words=f"{held}, printed in {spec.material}, gets about {warm:.0f} °C warm ({air:g} °C air and {rise:.0f} K "
            f"from the motor, our estimate) and softens above {bears:g} °C",
            caution="Motors and beds burn fingers; do not leave a hot machine unattended.",
        )
    ]


def _print_creep(subject: Subject) -> list[Finding]:
    spec = subject.design.frame
    if spec is None or spec.kind != "printed":
        return []
    out = []
    for axis in swaying_axes(subject.machine):
        found = sway(subject, axis)
        if found is None or found[0] > SEEN_M or CREEP * found[0] <= SEEN_M:
            continue
        out.append(
            Finding(
                rule="print-creep",
                severity="warn",
                where=f"frame along {'XY'[axis]}",
                value=CREEP * found[0] * 1e6,
                limit=SEEN_M * 1e6,
                unit="um",
                basis=practice("creep halves a print's stiffness in the long run"),
                change=f"{listed(_against_creep(subject, axis))}; tension the belts again after the first weeks",
                words=f"new, the frame sways by {found[0] * 1e6:.0f} µm along {'XY'[axis]}; crept, by twice that",
            )
        )
    return out


def _against_creep(subject: Subject, axis: int) -> list[str]:
    spec = subject.design.frame
    filled = (
        [] if spec is None or spec.material == FILLED else [f'a fibre-filled material (frame.material = "{FILLED}")']
    )
    return ["thicker walls (frame.wall_mm)", *filled, *closed_sides(subject, axis)]


def _brittle(subject: Subject) -> list[Finding]:
    spec = subject.design.frame
    if spec is None or spec.material not in BRITTLE:
        return []
    return [
        Finding(
            rule="brittle",
            severity="warn",
            where="printed frame",
            value=None,
            limit=None,
            unit="",
            basis=estimate("PLA breaks without bending first, and cracks under screws that hold it for months"),
            change='frame.material = "petg" or "abs"',
            words="PLA carries much when new, then creeps, and breaks without a warning at screws and sharp corners",
            caution="A belt under tension whips when its printed mount breaks.",
        )
    ]


RULES = (
    Rule("print-heat", "do printed parts stay cool enough?", _print_heat),
    Rule("print-creep", "are printed parts stiff enough once they have crept?", _print_creep),
    Rule("brittle", "do printed parts bend before they break?", _brittle),
)
