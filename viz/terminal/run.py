"""A run on one screen: the reading in words, then the numbers behind it."""

from __future__ import annotations

from typing import Any

from rich.console import Group
from rich.table import Table
from rich.text import Text

from .tables import NONE, Renderable, number, spaced, table, times

MOST_MODES = 5  # of a run's summary, which has to fit on one screen


def run_summary(outcome: Any, judged: dict[str, Any], out: str | None) -> Renderable:
    """A run on one screen: the reading in words, then the numbers behind it."""
    from beltspring.sim.chain.buzz import buzz_words

    design, analysis = outcome.design, outcome.analysis
    head = Text.assemble(
        (design.title, "bold"),
        f"\n{design.layout}, detail {design.detail}: {outcome.plan.description}"
        f"\n{number(judged['duration_s'])} s simulated, {number(judged['times_real_time'], 2)} × real time",
    )
    buzz = buzz_words(outcome.moving)
    more = ", ripples.png, ripples.json" if analysis.ripples is not None else ""
    written = Text(f"Written to {out}: trace.csv, summary.json, picture.png, scenario.toml{more}") if out else None
    return spaced(
        head,
        Text("\n".join([*analysis.sentences, *([buzz] if buzz else [])])),
        _motion_notes(outcome),
        _ripples_table(outcome),
        _levels_table(analysis),
        _answers_table(outcome),
        _ringing_table(judged, analysis),
        _friction_note(outcome),
        _drives_table(judged),
        _belts_table(judged),
        _modes_list(outcome, judged),
        written,
    )


def _ringing_table(judged: dict[str, Any], analysis: Any) -> Table:
    # What goes on after a chirp says little of the machine: the response above does.
    name = "After the sweep" if analysis.responses else "Ringing"
    made = table(name, "peak µm", "Hz", "damping", "fades in ms", "worst after")
    for axis in analysis.ringing:
        entry, found = judged["ringing"][axis], analysis.ringing[axis]
        made.add_row(
            axis.upper(), number(entry["peak_um"], least=0.001), number(entry["frequency_hz"]),
            number(entry["damping_ratio"], 2), number(entry["fades_to_5_percent_ms"]), (found and found.leg) or NONE,
        )  # fmt: skip
    # Names of legs may be long; the words before them must not give way.
    made.columns[0].no_wrap, made.columns[-1].no_wrap = True, False
    path, along = judged["path_error_um"], judged["along_um"]
    made.add_section()
    made.add_row(
        "Off the path", number(path["max"], least=0.001), "", "", "", f"rms {number(path['rms'], least=0.001)} µm"
    )
    delay_um = analysis.path.delay_max_m * 1e6
    shaped = f", up to {number(delay_um)} µm of it the shapers' delay" if delay_um > 0 else ""
    made.add_row(
        "Along it", number(along["max"], least=0.001), "", "", "", f"rms {number(along['rms'], least=0.001)} µm{shaped}"
    )
    return made


def _friction_note(outcome: Any) -> Text | None:
    """Why what rings at rest differs from what is seen while an axis moves."""
    from beltspring.sim.chain.heard import raised_by_friction

    if outcome.analysis.responses:
        return None
    said = raised_by_friction(outcome)
    return Text(said, style="dim") if said else None


def _motion_notes(outcome: Any) -> Text | None:
    """What the plan has to say: codes skipped, feeds lowered, and what shapers cost."""
    from beltspring.sim.plan.rounding import shaping_notes

    said = [*outcome.plan.notes, *shaping_notes(outcome.plan)]
    return Text("\n".join(said).replace(" um ", " µm ")) if said else None


def _levels_table(analysis: Any) -> Table | None:
    """A ladder, level by level: what rings after its legs."""
    if not analysis.levels:
        return None
    quantity = analysis.levels[0].level.quantity
    unit = "mm/s²" if quantity == "acceleration" else "mm/s"
    made = table("Level", f"{quantity} {unit}", "X peak µm", "Y peak µm", "X Hz", "Y Hz")
    for one in analysis.levels:
        peaks = [number(times(one.peak_m.get(axis), 1e6), least=0.001) for axis in "xy"]
        tones = [number(one.frequency_hz.get(axis)) for axis in "xy"]
        made.add_row(str(one.level.number), number(one.level.value * 1e3, 4), *peaks, *tones)
    return made


def _answers_table(outcome: Any) -> Renderable | None:
    """A chirp: where the response peaks, and the model's own mode there."""
    from beltspring.sim.chain.answers import answers

    found = answers(outcome)
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


def _ripples_table(outcome: Any) -> Renderable | None:
    """The worst places of a program, with the setting to change."""

    ripples = outcome.analysis.ripples
    if ripples is None or not ripples.places:
        return None
    made = table("Worst", "µm", "at X, Y, Z mm", "line", "levels", left=1)
    changes: dict[str, list[int]] = {}
    for place, advice in list(zip(ripples.places, outcome.ripple_advice, strict=True))[:LISTED_PLACES]:
        at = ", ".join(number(1e3 * v, 4) for v in place.point)
        made.add_row(
            str(place.number), number(place.error_m * 1e6, least=0.001), at, str(place.line) if place.line else NONE,
            str(place.levels),
        )  # fmt: skip
        changes.setdefault(advice.words, []).append(place.number)
    # Whole lines below the table, so that they can be pasted into the file or behind --set.
    lines = [f"Change for {', '.join(map(str, places))}: {words}" for words, places in changes.items()]
    return Group(made, Text("\n".join(lines)))


def _drives_table(judged: dict[str, Any]) -> Table:
    made = table("Motor", "peak torque mNm", "of", "peak lag °", "lost steps")
    for name, entry in judged["motors"].items():
        limit = entry["torque_limit_nm"]
        made.add_row(
            name, number(times(entry["peak_torque_nm"], 1e3), least=1e-6), "ideal" if limit is None else number(limit * 1e3),
            number(entry["peak_lag_deg"], 2), _lost(entry),
        )  # fmt: skip
    return made


def _lost(entry: dict[str, Any]) -> str:
    """ "4", or "0 (84 off)" where a rotor was further off than it ends."""
    lost, most = entry["lost_steps"], entry["most_steps_off"]
    return f"{lost} ({most} off)" if most > lost else str(lost)


def _belts_table(judged: dict[str, Any]) -> Table:
    made = table("Belt", "tension N", "slack ms", "order mm", "runs at mid-move (mm, N/mm)")
    for name, entry in judged["belts"].items():
        runs = "; ".join(
            f"{run['name']} {number(run['length_mm'])}, {number(run['stiffness_n_per_mm'])}" for run in entry["runs"]
        )
        made.add_row(
            name, f"{number(entry['min_tension_n'])} to {number(entry['max_tension_n'])}", number(entry["slack_ms"]),
            f"{entry['length_to_order_mm']:.0f}", runs,
        )  # fmt: skip
    made.columns[-1].justify, made.columns[-1].no_wrap = "left", False
    return made


def _modes_list(outcome: Any, judged: dict[str, Any]) -> Table:
    """The modes that swing the tool most after a jump of acceleration, the slowest first."""
    from beltspring.sim.chain.chain import swing

    made = table("Mode at mid-move", "Hz", "damping")
    much = [max(swing(outcome.system, mode, axis) for axis in (0, 1)) for mode in outcome.modes]
    kept = sorted(sorted(range(len(much)), key=lambda k: -much[k])[:MOST_MODES])
    listed = [judged["modes"][k] for k in kept]
    for mode in listed:
        made.add_row(mode["words"], number(mode["frequency_hz"]), number(mode["damping_ratio"], 2))
    more = len(judged["modes"]) - len(listed)
    if more:
        highest = number(judged["modes"][-1]["frequency_hz"])
        made.add_row(f"{more} that swing the tool less, up to {highest} Hz: `beltspring modes`", "", "")
    if not judged["modes"]:
        made.add_row("none: nothing in this machine gives way", NONE, NONE)
    return made
