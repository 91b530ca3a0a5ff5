"""Limits as a person reads them, and as JSON."""

from __future__ import annotations

from typing import Any

from beltspring.sim import RINGS_BY, Limit, Limits, Trial
from rich.console import Group
from rich.padding import Padding
from rich.text import Text

from ..files.plain import clean, six
from ..files.summary import judged_entry
from .tables import NONE, number, table, times

MOVE_WORDS = {"x": "X step", "y": "Y step", "own": "own move"}
UNITS = {"acceleration": "mm/s2", "speed": "mm/s"}


def limits_entry(limits: Limits) -> dict[str, Any]:
    """`limits --json`: what is allowed, and for each move and quantity the answer with its trials."""
    entry: dict[str, Any] = clean(
        {
            "title": limits.title,
            "allowed": {
                "ringing_um": six(limits.criteria.ringing_m * 1e6),
                "torque_share": limits.criteria.torque_share,
            },
            "limits": [_limit(limit) for limit in limits.limits],
        }
    )
    return entry


def _limit(limit: Limit) -> dict[str, Any]:
    key = "motion.acceleration_mm_s2" if limit.quantity == "acceleration" else "motion.speed_mm_s"
    return {
        "quantity": limit.quantity,
        "move": limit.move,
        "value": None if limit.value is None else six(limit.value * 1e3),
        "safe_up_to": None if limit.value is None else six(limit.value * 1e3),
        "passes_again": [[six(1e3 * low), six(1e3 * high)] for low, high in limit.passes_again],
        "fails_beyond": None if limit.fails_beyond is None else six(limit.fails_beyond * 1e3),
        "slope": _slope(limit),
        "unit": UNITS[limit.quantity],
        "key": key,
        "gives_way": limit.gives_way or None,
        "words": limit.words,
        "settings": limit.settings,
        **judged_entry(limit.judged),
        "at_99_percent": None if limit.below is None else _trial(limit.below),
        "at_105_percent": None if limit.above is None else _trial(limit.above),
        "curve": [_trial(trial) for trial in limit.curve],
    }


def _slope(limit: Limit) -> dict[str, Any] | None:
    """By how much what gives way grows there: um, or share of the torque, for each mm/s or mm/s2."""
    if limit.slope is None:
        return None
    rings = limit.gives_way == "ringing"
    value = limit.slope * (1e3 if rings else 1e-3)
    return {"value": six(value), "unit": f"{'um' if rings else 'ratio'} per {UNITS[limit.quantity]}"}


def _trial(trial: Trial) -> dict[str, Any]:
    return {
        "value": six(trial.value * 1e3),
        "ringing_um": None if trial.ringing_m is None else six(trial.ringing_m * 1e6),
        "torque_share": six(trial.torque_share),
        "least_tension_n": six(trial.least_tension_n),
        "slack_ms": six(trial.slack_s * 1e3),
        "lost_steps": trial.lost_steps,
        "passages": trial.passages,
        "holds": trial.holds,
        "broken": list(trial.broken),
    }


def _seen(limit: Limit) -> tuple[str, str]:
    """Ringing, um, at 99 % of what is safe and at 105 %, and the judged ringing there, um."""
    if limit.below is None or limit.above is None:
        return NONE, NONE
    both = (limit.below, limit.above)
    rings = ", ".join(number(None if t.ringing_m is None else t.ringing_m * 1e6) for t in both)
    return rings, number(times(limit.judged.judged_m if limit.judged else None, 1e6))


def limits_page(limits: Limits, out: str | None) -> Any:
    """The answers on the terminal."""
    allowed = limits.criteria
    head = Text.assemble(
        (limits.title, "bold"),
        f"\nallowed: {number(allowed.ringing_m * 1e6)} µm of ringing, {number(allowed.torque_share * 100)} % of the torque there "
        "is at a speed, no lost step, no slack belt",
    )
    made = table("move", "safe up to", "passes again", "fails beyond", f"{RINGS_BY} µm", "judged µm")
    for limit in limits.limits:
        unit = "mm/s²" if limit.quantity == "acceleration" else "mm/s"
        value, beyond = (NONE if v is None else number(v * 1e3) for v in (limit.value, limit.fails_beyond))
        again = "\n".join(f"{number(1e3 * a)} to {number(1e3 * b)}" for a, b in limit.passes_again[:4]) or NONE
        made.add_row(f"{MOVE_WORDS[limit.move].removesuffix(' move')}, {unit}", value, again, beyond, *_seen(limit))
    words = [Padding(Text(f"{limit.words[:1].upper()}{limit.words[1:]}."), (0, 0, 0, 2)) for limit in limits.limits]
    eased = [x for x in limits.limits if x.quantity == "speed"]
    note = Text(
        f"{RINGS_BY.capitalize()}: at 99 % of what is safe, and at 105 %. {NONE}: there is none, see below.",
        style="dim",
    )
    parts: list[Any] = [head, Text(), made, note, Text(), *words]
    if eased:
        listed = ", ".join(
            f"{MOVE_WORDS[x.move]} {number(float(str(x.settings['motion.acceleration_mm_s2'])))}" for x in eased
        )
        parts += [Text(), Text(f"Speeds were looked for at accelerations of (mm/s²): {listed}.", style="dim")]
    parts.append(
        Text(
            "Ringing comes and goes with speed and acceleration: the curves show where. Judged: over speeds around the one "
            "at 99 %.",
            style="dim",
        )
    )
    parts.append(Text("What to change to go faster without ringing more: `beltspring improve`.", style="dim"))
    if limits.carriages:
        parts.append(Text(limits.carriages))
    if limits.left_out:
        parts.append(Text(limits.left_out, style="dim"))
    if out:
        parts.append(Text(f"Written to {out}: limits.json, picture.png, scenario.toml"))
    return Group(*parts)
