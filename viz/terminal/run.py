"""A run on one screen: the reading in words, then the numbers behind it."""

from __future__ import annotations

import math

from beltspring.sim import OFF_LINE, RINGS_BY, MotorReport, Report, corner_name
from rich.console import Group
from rich.table import Table
from rich.text import Text

from .tables import NO_BAND, NONE, Renderable, band_text, number, spaced, table, times

#: On the head's last line: this page says causes, and the command that simulates each change says what helps.
WHAT_TO_CHANGE = "what to change: `beltspring improve`"


def run_summary(report: Report, out: str | None) -> Renderable:
    """A run on one screen: the reading in words, then the numbers behind it."""
    design, plan = report.design, report.plan
    head = Text.assemble(
        (report.title, "bold"),
        f"\n{design.layout}, detail {design.detail}: {plan.description}"
        f"\n{number(plan.duration_s)} s simulated, {number(report.times_real_time, 2)} × real time; {WHAT_TO_CHANGE}",
    )
    more = ", ripples.png, ripples.json" if report.analysis.ripples is not None else ""
    written = Text(f"Written to {out}: trace.csv, summary.json, picture.png, scenario.toml{more}") if out else None
    return spaced(
        head,
        Text("\n".join(report.sentences)),
        Text("\n".join(report.motion_notes)) if report.motion_notes else None,
        _ripples_table(report),
        _levels_table(report),
        _answers_table(report),
        _ringing(report),
        _drives_table(report),
        _belts_table(report),
        _modes_list(report),
        written,
    )


def _ringing(report: Report) -> Renderable:
    """What rings after the corners, and below it why a cell is a dash and which frequency is told."""
    notes = (_dash_note(report), Text(report.friction_note, style="dim") if report.friction_note else None)
    return Group(_ringing_table(report), *(note for note in notes if note is not None))


def _ringing_table(report: Report) -> Table:
    # What goes on after a chirp says little of the machine: the response above does.
    name = "After the sweep" if report.analysis.responses else "Ringing"
    made = table(name, f"{RINGS_BY} µm", "Hz", "damping", "fades in ms", "worst after")
    last = report.plan.legs[-1].name if report.plan.legs else ""
    for axis, found in report.analysis.ringing.items():
        if found is None:
            made.add_row(axis.upper(), *[NONE] * 5)
            continue
        made.add_row(
            axis.upper(), _um(found.peak_m), number(found.frequency_hz), number(found.damping_ratio, 2),
            number(times(found.fades_to_5_percent_s, 1e3)), corner_name(found.leg, last) if found.leg else NONE,
        )  # fmt: skip
    # Names of corners may be long; the words before them must not give way.
    made.columns[0].no_wrap, made.columns[-1].no_wrap = True, False
    return made


def _um(length_m: float | None) -> str:
    return number(times(length_m, 1e6), least=0.001)


def _dash_note(report: Report) -> Text | None:
    """Why a frequency, damping or fading is a dash, a line for each axis that has one."""
    said = [f"{NONE} of {axis.upper()}: {why}." for axis, why in report.untold.items()]
    return Text("\n".join(said), style="dim") if said else None


def _levels_table(report: Report) -> Table | None:
    """A ladder, level by level: what rings after its corners."""
    levels = report.analysis.levels
    if not levels:
        return None
    quantity = levels[0].level.quantity
    unit = "mm/s²" if quantity == "acceleration" else "mm/s"
    made = table("Level", f"{quantity} {unit}", f"X {RINGS_BY} µm", f"Y {RINGS_BY} µm", "X Hz", "Y Hz")
    for one in levels:
        peaks = [number(times(one.peak_m.get(axis), 1e6), least=0.001) for axis in "xy"]
        tones = [number(one.frequency_hz.get(axis)) for axis in "xy"]
        made.add_row(str(one.level.number), number(one.level.value * 1e3, 4), *peaks, *tones)
    return made


def _answers_table(report: Report) -> Renderable | None:
    """A chirp: where the response peaks, and the model's own mode there."""
    found = report.answers
    if not found:
        return None
    made = table("Response", "Hz", "µm per m/s²", "model Hz", "off by", "mode")
    for one in found:
        made.add_row(
            one.axis.upper(), number(one.peak.frequency_hz), number(one.peak.gain_s2 * 1e6),
            number(one.mode.frequency_hz if one.mode else None), NONE if one.off is None else f"{100 * one.off:+.1f} %",
            one.mode.words if one.mode else "none near",
        )  # fmt: skip
    made.columns[-1].justify, made.columns[-1].no_wrap = "left", False
    if all(one.off is not None and abs(one.off) <= 0.02 for one in found):
        return made
    why = (
        "The modes are those of small motions without friction: guides that stick raise a peak, slack belts and a motor "
        "pushed far off lower it. Sweep again at another acceleration to see it move."
    )
    return Group(made, Text(why, style="dim"))


#: Of the worst places of a program, so many are listed; the picture and ripples.json have them all.
LISTED_PLACES = 3


def _ripples_table(report: Report) -> Renderable | None:
    """The worst places of a program, and why."""
    ripples = report.analysis.ripples
    if ripples is None or not ripples.places:
        return None
    made = table("Worst", f"{OFF_LINE} µm", "at X, Y, Z mm", "line", "levels", left=1)
    causes: dict[str, list[int]] = {}
    for place, cause in list(zip(ripples.places, report.place_causes, strict=True))[:LISTED_PLACES]:
        at = ", ".join(number(1e3 * v, 4) for v in place.point)
        made.add_row(
            str(place.number), number(place.error_m * 1e6, least=0.001), at, str(place.line) if place.line else NONE,
            str(place.levels),
        )  # fmt: skip
        causes.setdefault(cause, []).append(place.number)
    lines = [f"At {', '.join(map(str, places))}: {words}." for words, places in causes.items()]
    return Group(made, Text("\n".join(lines)))


def _drives_table(report: Report) -> Table:
    made = table("Motor", "peak torque mNm", "of", "peak lag °", "lost steps")
    for motor in report.motors:
        limit, lag_deg = motor.torque_limit_nm, times(motor.peak_lag_rad, 180 / math.pi)
        made.add_row(
            motor.name, number(times(motor.peak_torque_nm, 1e3), least=1e-6),
            "ideal" if limit is None else number(limit * 1e3), number(lag_deg, 2), _lost(motor),
        )  # fmt: skip
    return made


def _lost(motor: MotorReport) -> str:
    """ "4", or "0 (84 off)" where a rotor was further off than it ends."""
    lost, most = motor.lost_steps, motor.most_steps_off
    return f"{lost} ({most} off)" if most > lost else str(lost)


def _belts_table(report: Report) -> Table:
    made = table("Belt", "tension N", "slack ms", "order mm", "runs at mid-move (mm, N/mm)")
    for belt in report.belts:
        runs = "; ".join(
            f"{run.name} {number(run.length_m * 1e3)}, {number(run.stiffness_n_m / 1e3)}" for run in belt.runs
        )
        made.add_row(
            belt.name, f"{number(belt.least_n)} to {number(belt.most_n)}", number(belt.slack_s * 1e3),
            f"{belt.order_length_m * 1e3:.0f}", runs,
        )  # fmt: skip
    made.columns[-1].justify, made.columns[-1].no_wrap = "left", False
    return made


def _modes_list(report: Report) -> Renderable:
    """The modes that swing the tool most after a jump of acceleration, the slowest first, and what was seen of each."""
    if not report.modes:
        return Text("Nothing in this machine gives way, so it has no natural frequency.")
    x, y, _ = (
        number(round(1e3 * v, 2) + 0.0) for v in report.middle
    )  # a closed curve's middle is 0 but for its rounding
    made = table(f"Mode at mid-move, X {x} Y {y}", "Hz", "19 of 20", "damping", "seen here")
    made.collapse_padding = True
    for told in report.main_modes:
        mode, words = told.mode, "\n".join(one.words for one in told.seen) or "no"
        made.add_row(
            mode.words, number(mode.frequency_hz), band_text(told.band_hz), number(mode.damping_ratio, 2), words
        )
    more = len(report.modes) - len(report.main_modes)
    if more:
        highest = number(report.modes[-1].mode.frequency_hz)
        made.add_row(f"{more} more to {highest} Hz: `beltspring modes`", "", "", "", "")
    # Where guides that stick are told of already, the page does not say it twice.
    seen = [] if report.friction_note else [one for told in report.main_modes for one in told.seen]
    why = [f"{one.words}: {one.why}" for one in seen if one.why]
    said = [f"Seen {'; '.join(why)}."] if why else []
    if any(band_text(told.band_hz) == NONE for told in report.main_modes):
        said.append(NO_BAND)
    return Group(made, Text("\n".join(said), style="dim")) if said else made
