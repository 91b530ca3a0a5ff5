"""Every measurement a person could make, in words: what it takes, how it is done, and its open table in the measured file."""

from __future__ import annotations

from .measured import Measured, Pitch, Push, Ripples, Set, Weighed
from .problem import Problem

WEIGHED = {
    "belts.mass_g_m": "weigh a metre of the belt",
    "frame.top_mass_g": "weigh what sways with the frame's top, its ring with motors and idlers, before it is put together",
    "gantry.mass_g": "take the gantry off and weigh it with its rods or rail, idlers and bearings, without the carriage",
    "carriage.mass_g": "take the carriage off and weigh it with tool, bearings and half of its cable",
    "bed.mass_g": "take the bed off and weigh it with its plate and bearings",
}

Made = tuple[str, str, str, str, int]


def offers(problem: Problem, measured: Measured) -> list[tuple[Made, str, list[int]]]:
    """Every measurement with how it is made, its open entry, and the rows of what is left that it fills."""
    out: list[tuple[Made, str, list[int]]] = []
    at = 0
    for one in problem.samples:
        rows = one.fine.a_m_s2.size + 2 + one.axes
        name = one.recording.name.removesuffix(".csv")
        entry = record_entry(name, one.recording.on, one.recording.set, False)
        out.append((_record_made(name, one.recording.on), entry, list(range(at, at + rows))))
        at += rows
    single = [
        *(_ripples_offer(r) for r in measured.ripples),
        *(_pitch_offer(p) for p in measured.pitch),
        *(_push_offer(p) for p in measured.push),
        *(_weighed_offer(w) for w in measured.weighed),
    ]
    return out + [(made, entry, [at + i]) for i, (made, entry) in enumerate(single)]


def _record_made(name: str, on: str) -> Made:
    return (
        "record", name, f"an accelerometer on the {on}",
        f"fix it stiffly, note where it sits, run {name}.gcode and start the sensor while that waits",
        20 if name == "step-x" else 21,
    )  # fmt: skip


def record_entry(name: str, on: str, changes: Set, checks: bool) -> str:
    """A [[record]] for the measured file."""
    said = ", ".join(f'"{k}" = {toml_value(v)}' for k, v in changes.items())
    use = '\nuse = "check"' if checks else ""
    return f'[[record]]\nfile = "{name}.csv"\non = "{on}"\nat_mm = [0, 20, 35]\nset = {{ {said} }}{use}'


def toml_value(value: object) -> str:
    """A value of `set` as TOML."""
    if isinstance(value, str):
        return f'"{value}"'
    return f"{value:g}" if isinstance(value, float) else str(value)


def _ripples_offer(r: Ripples) -> tuple[Made, str]:
    axis, along = "xy"[r.axis], "yx"[r.axis]
    made = (
        "ripples", f"ripples {axis}", "a ruler or calipers",
        f"print a corner at {r.speed_m_s * 1e3:g} mm/s; on the wall along {along.upper()}, measure over five ripples behind it "
        "and divide by five",
        2,
    )  # fmt: skip
    return made, f'[[ripples]]\naxis = "{axis}"\nspeed_mm_s = {r.speed_m_s * 1e3:g}\nspacing_mm = '


def _pitch_offer(p: Pitch) -> tuple[Made, str]:
    made = (
        "pitch", f"pitch {p.belt} {p.run}", "a microphone",
        f"motors off; hold the strand down so that {p.free_m * 1e3:g} mm of it are free, pluck it, record a WAV or read a tuner",
        3,
    )  # fmt: skip
    return made, f'[[pitch]]\nrun = "{p.belt} {p.run}"\nfree_mm = {p.free_m * 1e3:g}\nhz = '


def _push_offer(p: Push) -> tuple[Made, str]:
    axis = "xy"[p.axis]
    what = "carriage" if p.on == "tool" else "frame's top"
    how = (
        f"motors powered and at rest: pull the {what} along {axis.upper()} with a spring scale to {p.force_n:g} N and back, "
        "read the give beyond break-away on a dial gauge that stands on the bed"
    )
    if p.on == "frame":
        how = f"base held: pull the frame's top along {axis.upper()} with {p.force_n:g} N and read its sway on a dial gauge"
    made = ("push", f"push {p.on} {axis}", "a spring scale and a dial gauge", how, 10 if p.on == "tool" else 11)
    on = "" if p.on == "tool" else '\non = "frame"'
    return made, f'[[push]]\naxis = "{axis}"\nforce_n = {p.force_n:g}{on}\ngives_um = '


def _weighed_offer(w: Weighed) -> tuple[Made, str]:
    belt, how = w.key == "belts.mass_g_m", WEIGHED[w.key]
    made = ("weighed", f"weighed {w.key}", "a kitchen scale", how, 5 if belt else 30)
    return made, f'[[weighed]]\nkey = "{w.key}"\nvalue = '
