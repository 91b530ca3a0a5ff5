"""The sheet for the bench: what to measure in words, the measured file to fill in, and test moves as plain programs."""

from __future__ import annotations

from collections.abc import Sequence

from .offers import record_entry
from .sheet import SHOWN, Leaves, Sheet, TestMove

CAUTIONS = (
    "Keep hands, hair and sleeves away while axes can move; they pinch. Home the machine first, and stand at the switch.",
    "Before you push, pluck or weigh anything: power off where it says motors off; a vertical axis may drop without power.",
    "A belt under tension can whip when it is let go. Heater off and cold: nothing here needs heat but the printed corner.",
    "Fix the sensor and its cable so that neither can catch. Nothing here is a safety certificate.",
)


def leaves_words(leaves: Sequence[Leaves], most: int = SHOWN) -> str:
    """ "belts.ea_n ± 30 → 13 %, ..."; of the first few."""
    if not leaves:
        return "tells nothing that is not known as well"
    said = [f"{one.key} ± {_percent(one.before)} → {_percent(one.after)} %" for one in leaves[:most]]
    more = f", and {len(leaves) - most} more" if len(leaves) > most else ""
    return ", ".join(said) + more


def _percent(share: float) -> str:
    return f"{100 * share:.2g}" if share < 0.1 else f"{100 * share:.0f}"


def sheet_text(sheet: Sheet) -> str:
    """The whole sheet."""
    lines = [f"{sheet.title}: what to measure", f"{sheet.layout}, detail {sheet.detail}", ""]
    lines += CAUTIONS
    lines += ["", "Cheapest first; ± holds for 19 of 20 machines, before → after that measurement alone:"]
    for i, item in enumerate(sheet.items, start=1):
        lines += ["", f"{i}. {item.name} ({item.tool}, {item.minutes} min)", f"   {item.how}."]
        lines.append(f"   Leaves {leaves_words(item.leaves)}.")
    lines += ["", f"All of it together leaves {leaves_words(sheet.all_of_it, 12)}."]
    lines += ["", "Limits to set on the real machine for the recorded moves:"]
    lines += [f"  {move.name}: {limits_words(move)}" for move in sheet.moves]
    lines.append(
        "No other shaping of the motion than the scenario has, no rounding of corners, no change of speed on the way."
    )
    return "\n".join(lines) + "\n"


def limits_words(move: TestMove) -> str:
    """The limits of one move."""
    jerk = "no limit of jerk" if not move.jerk_m_s3 else f"jerk {move.jerk_m_s3 * 1e3:g} mm/s3"
    corner = (
        "a full stop at each corner"
        if not move.corner_speed_step_m_s
        else f"corners with a jump of the velocity of at most {move.corner_speed_step_m_s * 1e3:g} mm/s"
    )
    return (
        f"speed {move.speed_m_s * 1e3:g} mm/s, acceleration {move.acceleration_m_s2 * 1e3:g} mm/s2, {jerk}, {corner}"
        + ("; held out" if move.checks else "")
    )


def measured_form(sheet: Sheet) -> str:
    """A measured.toml to fill in: every entry a comment until somebody has a value for it."""
    lines = [
        f"# {sheet.title}: what was measured. Take the # off each table you have a value for, and write it; leave the others.",
        "# give_or_take_mm, give_or_take_hz, give_or_take_um and give_or_take say how sure a value is (19 of 20) where the",
        "# usual does not hold. at_mm of a record: from the nozzle to the sensor, X right, Y to the rear, Z up.",
    ]
    for item in sheet.items:
        lines += ["", f"# {item.name}: {item.how}", *(f"#{line}".rstrip() for line in item.entry.splitlines())]
    for move in sheet.moves:
        if move.checks:
            lines += ["", f"# {move.name}: held out, so that a wrong answer is found out; run {move.name}.gcode"]
            lines += [f"#{line}" for line in record_entry(move.name, move.on, move.set, True).splitlines()]
    return "\n".join(lines) + "\n"


def program_text(move: TestMove) -> str:
    """The move as a plain motion program (ISO 6983 words) for the real machine."""
    x, y = (1e3 * move.points[0]).tolist()
    lines = [
        f"; {move.name}: a test move, to be recorded with an accelerometer on the {move.on}",
        f"; set first: {limits_words(move)}",
        "; no shaping that the scenario has not, no rounding of corners; home the machine, heater off, hands clear",
        "; it goes to its start and waits ten seconds: start the recording then, and stop it after the move",
        "G21 (millimetres)",
        "G90 (absolute places)",
        f"G0 Z{1e3 * move.height_m:.3f} F600",
        f"G0 X{x:.3f} Y{y:.3f} F3000",
        "G4 P10 (P in seconds; some machines count milliseconds: write P10000 there)",
    ]
    feed = 60e3 * move.speed_m_s
    for px, py in (1e3 * move.points[1:]).tolist():
        lines.append(f"G1 X{px:.3f} Y{py:.3f} F{feed:g}")
    lines.append("G4 P2")
    return "\n".join(lines) + "\n"
