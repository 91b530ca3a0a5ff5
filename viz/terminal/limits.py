"""Limits as a person reads them, and as JSON."""

from __future__ import annotations

from typing import Any

from beltspring.sim import Limit, Limits, Trial
from rich.console import Group
from rich.padding import Padding
from rich.text import Text

from ..files.plain import clean, six
from ..files.summary import judged_entry
from .tables import number, table, times

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


def _seen(trial: Trial | None) -> str:
    """ "19.4 µm, 9 %": ringing and share of the torque."""
    if trial is None:
        return "-"
    parts = [] if trial.ringing_m is None else [f"{number(trial.ringing_m * 1e6)} µm"]
    parts += [] if trial.torque_share is None else [f"{trial.torque_share * 100:.0f} %"]
    return ", ".join(parts) or "-"


def limits_page(limits: Limits, out: str | None) -> Any:
    """The answers on the terminal."""
    allowed = limits.criteria
    head = Text.assemble(
        (limits.title, "bold"),
        f"\nallowed: {number(allowed.ringing_m * 1e6)} µm of ringing, {number(allowed.torque_share * 100)} % of the torque there "
        "is at a speed, no lost step, no slack belt",
    )
    made = table("move", "highest", "gives way", "at 99 %", "judged µm", "at 105 %")
    made.columns[2].justify = "left"
    for limit in limits.limits:
        unit = "mm/s²" if limit.quantity == "acceleration" else "mm/s"
        value = "-" if limit.value is None else f"{number(limit.value * 1e3, 4)} {unit}"
        judged = number(times(limit.judged.judged_m if limit.judged else None, 1e6))
        made.add_row(
            f"{MOVE_WORDS[limit.move]}, {limit.quantity}", value, limit.gives_way or "-", _seen(limit.below), judged,
            _seen(limit.above),
        )  # fmt: skip
    words = [Padding(Text(f"{limit.words[:1].upper()}{limit.words[1:]}."), (0, 0, 0, 2)) for limit in limits.limits]
    eased = [x for x in limits.limits if x.quantity == "speed"]
    parts: list[Any] = [head, Text(), made, Text(), *words]
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
    if limits.left_out:
        parts.append(Text(limits.left_out, style="dim"))
    if out:
        parts.append(Text(f"Written to {out}: limits.json, picture.png, scenario.toml"))
    return Group(*parts)
