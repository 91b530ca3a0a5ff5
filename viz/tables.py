"""Terminal tables: one screen in 80 columns, without colour in a pipe. SI becomes reading units here."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby
from typing import Any

from beltspring.sim.parts.design import Design, Origin
from rich import box
from rich.console import Group
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

Renderable = Any
NONE = "-"
MOST_MODES = 8  # of a run's summary, which has to fit on one screen


def number(value: float | None, digits: int = 3, least: float = 0.0) -> str:
    """A number to so many figures, without exponent in everyday sizes; a dash for what is undefined."""
    if value is None:
        return NONE
    if value == 0 or abs(value) < least:
        return "0"
    text = f"{value:.{digits}g}"
    if "e" in text:
        text = f"{value:.0f}" if abs(value) >= 1 else f"{value:.{digits}g}"
    return text.replace("-", "−") if value < 0 and "e" not in text else text


def table(*columns: str, left: int = 1) -> Table:
    """A plain table: the first `left` columns to the left, numbers to the right."""
    made = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, header_style="dim", padding=(0, 1))
    for i, name in enumerate(columns):
        made.add_column(name, justify="left" if i < left else "right", no_wrap=i >= left, overflow="fold")
    return made


def spaced(*parts: Renderable | None) -> Group:
    """Parts below each other with an empty line between."""
    rows: list[Renderable] = []
    for part in parts:
        if part is not None:
            rows += [part, Text()]
    return Group(*rows[:-1])


def run_summary(outcome: Any, judged: dict[str, Any], out: str | None) -> Renderable:
    """A run on one screen: the reading in words, then the numbers behind it."""
    design, analysis = outcome.design, outcome.analysis
    head = Text.assemble(
        (design.title, "bold"),
        f"\n{design.layout}, detail {design.detail}: {outcome.plan.description}"
        f"\n{number(judged['duration_s'])} s simulated, {number(judged['times_real_time'], 2)} × real time",
    )
    more = ", ripples.png, ripples.json" if analysis.ripples is not None else ""
    written = Text(f"Written to {out}: trace.csv, summary.json, picture.png, scenario.toml{more}") if out else None
    return spaced(
        head,
        Text("\n".join(analysis.sentences)),
        _motion_notes(outcome),
        _ripples_table(outcome),
        _levels_table(analysis),
        _answers_table(outcome),
        _ringing_table(judged, analysis),
        _friction_note(outcome),
        _drives_table(judged),
        _belts_table(judged),
        _modes_list(judged),
        written,
    )


def _ringing_table(judged: dict[str, Any], analysis: Any) -> Table:
    # What goes on after a chirp says little of the machine: the response above does.
    name = "After the sweep" if analysis.responses else "Ringing"
    made = table(name, "peak µm", "Hz", "damping", "fades in ms", "worst after")
    for axis in ("x", "y"):
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
    from beltspring.sim.study.sounding import raised_by_friction

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
        peaks = [number(_times(one.peak_m.get(axis), 1e6), least=0.001) for axis in "xy"]
        tones = [number(one.frequency_hz.get(axis)) for axis in "xy"]
        made.add_row(str(one.level.number), number(one.level.value * 1e3, 4), *peaks, *tones)
    return made


def _answers_table(outcome: Any) -> Renderable | None:
    """A chirp: where the response peaks, and the model's own mode there."""
    from beltspring.sim.study.response import answers

    found = answers(outcome)
    if not found:
        return None
    made = table("Response", "Hz", "µm per m/s²", "model Hz", "off by", "mode")
    for one in found:
        made.add_row(
            one.axis.upper(), number(one.peak.frequency_hz), number(one.peak.gain_s2 * 1e6),
            number(one.mode and one.mode.frequency_hz), NONE if one.off is None else f"{100 * one.off:+.1f} %",
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
    from beltspring.sim.study.ripples import ripple_advice

    ripples = outcome.analysis.ripples
    if ripples is None or not ripples.places:
        return None
    made = table("Worst", "µm", "at X, Y, Z mm", "line", "levels", left=1)
    changes: dict[str, list[int]] = {}
    for place, advice in list(zip(ripples.places, ripple_advice(outcome), strict=True))[:LISTED_PLACES]:
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
            name, number(_times(entry["peak_torque_nm"], 1e3), least=1e-6), "ideal" if limit is None else number(limit * 1e3),
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


def _modes_list(judged: dict[str, Any]) -> Table:
    made = table("Mode at mid-move", "Hz", "damping")
    listed = judged["modes"][:MOST_MODES]
    for mode in listed:
        made.add_row(mode["words"], number(mode["frequency_hz"]), number(mode["damping_ratio"], 2))
    more = len(judged["modes"]) - len(listed)
    if more:
        highest = number(judged["modes"][-1]["frequency_hz"])
        made.add_row(f"{more} more, up to {highest} Hz; `beltspring modes` lists them", "", "")
    if not judged["modes"]:
        made.add_row("none: nothing in this machine gives way", NONE, NONE)
    return made


def completed_table(design: Design) -> Renderable:
    """The completed scenario: every value with where it came from, table by table as in the file."""
    made = table("key", "value", "from", left=3)
    made.columns[0].width, made.columns[1].width = 28, 18
    made.columns[2].style = "dim"
    for section, origins in groupby(design.origins, key=lambda o: o.key.rpartition(".")[0]):
        if section:
            made.add_row(Text(f"[{section}]", style="bold"), "", "")
        for origin in origins:
            name = origin.key.rpartition(".")[2]
            made.add_row(f"  {name}" if section else name, value_text(origin.value), _from(origin))
    return spaced(
        made, Text("`beltspring parts` gives the source of every number that comes from a part.", style="dim")
    )


def value_text(value: object) -> str:
    """A value of the scenario file as a person reads it."""
    if value is None:
        return NONE
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:.6g}" if abs(value) < 1e6 else f"{value:.0f}"
    return str(value)


def _from(origin: Origin) -> str:
    if origin.origin == "part":
        return f"part {origin.note.partition(':')[0]}"
    if origin.origin == "computed" and origin.note:
        return f"computed: {origin.note}"
    if origin.origin == "variant":
        return origin.note or "variant"
    return origin.origin


def shipped_table(shipped: Iterable[Any]) -> Renderable:
    """The scenarios that come with the program."""
    made = table("Shipped scenario", "what it is", "variants", left=3)
    for one in shipped:
        made.add_row(one.name, one.title, ", ".join(one.variants) or NONE)
    return spaced(made, Text("`beltspring run NAME` simulates one, `beltspring show NAME` prints it completed."))


def parts_tables(rows: Sequence[Any]) -> list[Renderable]:
    """The catalogue: a table for each part; equal sources are told once, below the numbers they belong to."""
    out: list[Renderable] = []
    for (kind, part), group in groupby(rows, key=lambda r: (r.kind, r.part)):
        listed = list(group)
        sources = list(dict.fromkeys(_source(r) for r in listed))
        made = table("", "value", "unit", "band", "source", left=1)
        made.show_header = False
        made.box = None
        made.columns[0].width = 24
        for r in listed:
            band = f"{number(r.band[0], 6)} to {number(r.band[1], 6)}" if r.band else ""
            made.add_row(r.key, number(r.value, 6), r.unit, band, f"({sources.index(_source(r)) + 1})")
        made.columns[2].justify = made.columns[3].justify = "left"
        head = Text.assemble((part, "bold"), f"  {kind}; {listed[0].description}")
        notes = Text("\n".join(f"({i + 1}) {s}" for i, s in enumerate(sources)), style="dim")
        out += [head, Padding(made, (0, 0, 0, 2)), Padding(notes, (0, 0, 1, 4))]
    return out


def _source(row: Any) -> str:
    return f"{row.mark}: {row.source}" + (f" ({row.why})" if row.why else "")


def modes_table(machine: Any, found: Sequence[tuple[str, Any, Sequence[Any]]], detent: str = "") -> Renderable:
    """Natural frequencies in the middle of the reach, and how far each moves over its corners.

    detent: what the mean over the motors' detent leaves out, in words.
    """
    middle = found[0][2]
    made = table("Mode", "Hz in the middle", "damping", "Hz over the reach")
    for i, mode in enumerate(middle):
        over = [listed[i].frequency_hz for _, _, listed in found if i < len(listed)]
        low, high = number(min(over)), number(max(over))
        made.add_row(
            mode.words,
            number(mode.frequency_hz, 4),
            number(mode.damping_ratio, 2),
            low if low == high else f"{low} to {high}",
        )
    head = Text.assemble((machine.title, "bold"), f"\n{machine.layout}, detail {machine.design.detail}")
    if not middle:
        return spaced(head, Text("Nothing in this machine gives way, so it has no natural frequency."))
    words = "Over the reach: the middle and its four corners. Guide friction is left out."
    last = Text(f"{words} {detent}".rstrip(), style="dim")
    return spaced(head, made, last)


def compare_table(comparison: Any, out: str | None, explain: bool) -> Renderable:
    """Several designs under the same move: the words first, then a row for each design, X above Y.

    explain: whether to list what each design changes (its label does not say it).
    """
    first = comparison.outcomes[0]
    head = Text.assemble((first.design.title, "bold"), f"\n{first.plan.description}, {len(comparison.labels)} designs")
    made = table("design", "", "N/mm", "peak µm", "Hz", "fades in ms", "off path µm", left=2)
    made.columns[0].max_width = 26
    for label, stiffness, outcome in zip(comparison.labels, comparison.stiffness_n_m, comparison.outcomes, strict=True):
        both = [outcome.analysis.ringing[axis] for axis in "xy"]
        made.add_row(
            label,
            "X\nY",
            "\n".join(number(_times(s, 1e-3)) for s in stiffness),
            "\n".join(number(r and r.peak_m * 1e6, least=0.001) for r in both),
            "\n".join(number(r and r.frequency_hz) for r in both),
            "\n".join(number(_times(r and r.fades_to_5_percent_s, 1e3)) for r in both),
            number(outcome.analysis.path.across_max_m * 1e6, least=0.001),
        )
    written = Text(f"Written to {out}: compare.json, picture.png, scenario.toml") if out else None
    changes = _changes_table(comparison) if explain else None
    return spaced(head, Text("\n".join(comparison.sentences)), made, changes, written)


def _changes_table(comparison: Any) -> Table | None:
    """What each design changes against the first; the first with its own values of those keys."""
    if not comparison.differences:
        return None
    made = table("design", "what differs", left=2)
    made.columns[0].max_width = 26
    for i, label in enumerate(comparison.labels):
        own = [
            f"{d.key} = {value_text(d.values[i])}"
            for d in comparison.differences
            if d.values[i] is not None and (i == 0 or d.values[i] != d.values[0])
        ]
        made.add_row(label, "\n".join(own))
    return made


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor
