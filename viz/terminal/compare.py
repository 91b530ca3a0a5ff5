"""Several designs under the same move: what to take and why, then a row for each, best first."""

from __future__ import annotations

from beltspring.sim import OFF_LINE, RINGS_BY, Comparison, Spreading
from rich.console import Group
from rich.table import Table
from rich.text import Text

from ..files.compare import against_first
from .spread import machines_table
from .tables import NONE, Renderable, number, spaced, table, times, value_text

#: So many of the best are shown unless all are asked for.
MOST_SHOWN = 10


def compare_table(
    comparison: Comparison, written: str, explain: bool, spreading: Spreading | None = None, everything: bool = False
) -> Renderable:
    """Several designs under the same move: the words, a row for each design, then what could not be built.

    explain: whether to list what each design changes (its label does not say it).  everything: every design, and the rest
    of the numbers. written: what was written where, "" for nothing.
    """
    first = comparison.reports[0]
    count = len(comparison.labels) + len(comparison.refused)
    head = Text.assemble((first.design.title, "bold"), f"\n{first.plan.description}, {count} designs")
    shown = comparison.order if everything else comparison.order[:MOST_SHOWN]
    sentences = list(comparison.sentences)
    if spreading is not None and spreading.verdict:
        sentences.insert(1, spreading.verdict)
    return spaced(
        head,
        Text("\n".join(sentences)),
        Group(_main(comparison, shown, spreading), Text("\n".join(_notes(comparison, shown, everything)), style="dim")),
        _rest(comparison, shown) if everything else None,
        machines_table(comparison.labels, spreading.spreads, spreading.pairs) if spreading is not None else None,
        _changes_table(comparison) if explain else None,
        Text(f"Written to {written}") if written else None,
    )


def _main(comparison: Comparison, shown: tuple[int, ...], spreading: Spreading | None) -> Table:
    """At most seven columns: what a builder chooses by."""
    cost = any(p is not None for p in comparison.priced)
    columns = ["judged µm", "range", "against\nthe first", *(["how sure"] if spreading is not None else [])]
    made = table("design", *columns, *(["price"] if cost else []), "check", left=1)
    made.columns[0].max_width = 22
    made.columns[-1].justify, made.columns[-1].no_wrap = "left", False
    for i in shown:
        judged, price = comparison.judged[i], comparison.priced[i]
        known = judged is not None and judged.judged_m is not None
        least, most = (judged.least_m, judged.most_m) if judged is not None else (None, None)
        share = against_first(comparison, i)
        made.add_row(
            f"{comparison.labels[i]}{' *' if comparison.starred[i] else ''}",
            number(times(judged.judged_m, 1e6)) if judged is not None else NONE,
            f"{number(times(least, 1e6), 2)} to {number(times(most, 1e6), 2)}" if known else NONE,
            "first" if i == 0 else NONE if share is None else f"{100 * share:+.0f} %".replace("-", "−"),
            *([_sure(spreading, i)] if spreading is not None else []),
            *([NONE if price is None or price.price is None else f"{price.price:.2f}"] if cost else []),
            comparison.checked[i].words or "passes",
        )
    for one in comparison.refused:
        made.add_row(one.label, *[NONE] * (len(made.columns) - 2), f"refused: {one.refused}")
    return made


def _sure(spreading: Spreading, i: int) -> str:
    if i == 0:
        return ""
    pair = spreading.pairs[i - 1]
    return f"{spreading.sures[i - 1] or NONE}, {pair.less} of {pair.of}"


def _notes(comparison: Comparison, shown: tuple[int, ...], everything: bool) -> list[str]:
    """What the marks mean, why a cell is a dash, what is other than was asked for, and what is not shown."""
    said = [comparison.star_words] if comparison.star_words else []
    for i in shown:
        judged = comparison.judged[i]
        if judged is None:
            said.append(
                f"{NONE} of {comparison.labels[i]}: no axis comes to rest after a corner, or its run ended early."
            )
        elif judged.judged_m is None:
            said.append(f"{NONE} of {comparison.labels[i]}: at {len(judged.slipping_m_s)} of its speeds a motor slips.")
        said += [f"{comparison.labels[i]}: {remark}." for remark in _gathered(comparison.remarks[i])]
    said += comparison.price_words
    more = len(comparison.order) - len(shown)
    if more:
        said.append(f"{more} more that ring more, or are stopped: --all")
    if not everything:
        said.append("Stiffness, frequencies, fading, masses and times: --all")
    return said


NOTHING = " does nothing here"


def _gathered(remarks: tuple[str, ...]) -> list[str]:
    """Remarks, the keys that do nothing in a design as one of them."""
    idle = [remark.partition(NOTHING)[0] for remark in remarks if NOTHING in remark]
    rest = [remark for remark in remarks if NOTHING not in remark]
    if len(idle) < 2:
        return list(remarks)
    return [*rest, f"{', '.join(idle[:-1])} and {idle[-1]} do nothing here"]


def _rest(comparison: Comparison, shown: tuple[int, ...]) -> Renderable:
    """The numbers behind the choice, X above Y, and why a cell is a dash."""
    columns = ("N/mm", "swings\nHz", "frame\nHz", "rings\nµm", "fades\nms", "moves\ng", "takes\ns", "off line\nµm")
    made = table("design", "", *columns, left=1)
    made.columns[0].max_width = 14
    made.collapse_padding = True
    for i in shown:
        report, weighed = comparison.reports[i], comparison.weighed[i]
        both = [report.analysis.ringing[axis] for axis in "xy"]
        made.add_row(
            comparison.labels[i],
            "X\nY",
            "\n".join(number(times(k, 1e-3)) for k in comparison.stiffness_n_m[i]),
            "\n".join(number(hz) for hz in weighed.tones_hz[:2]),
            number(weighed.tones_hz[2]),
            "\n".join(number(None if r is None else r.peak_m * 1e6, least=0.001) for r in both),
            "\n".join(number(None if r is None else times(r.fades_to_5_percent_s, 1e3)) for r in both),
            "\n".join(number(1e3 * kg) for kg in weighed.moving_kg[:2]),
            number(report.plan.move_s),
            number(report.analysis.path.across_max_m * 1e6, least=0.001),
        )
    why = [f"Rings: {RINGS_BY}, at the speed as written. Off line: {OFF_LINE} at most."]
    why += [
        f"{NONE} of {axis.upper()}, {comparison.labels[i]}: {words}."
        for i in shown
        for axis, words in comparison.reports[i].untold.items()
        if axis in "xy"
    ]
    stiff = any(k is None for i in shown for k in comparison.stiffness_n_m[i])
    why += [f"{NONE} N/mm: nothing gives way between motor and tool."] if stiff else []
    why += (
        [f"{NONE} of the frame: it is rigid, or holds no mode."]
        if any(comparison.weighed[i].tones_hz[2] is None for i in shown)
        else []
    )
    return Group(made, Text("\n".join(why), style="dim"))


def _changes_table(comparison: Comparison) -> Table | None:
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
