"""Several designs under the same move, a row each."""

from __future__ import annotations

from typing import Any

from beltspring.sim import OFF_LINE, RINGS_BY
from rich.table import Table
from rich.text import Text

from .spread import machines_table
from .tables import NONE, Renderable, number, spaced, table, times, value_text


def compare_table(comparison: Any, out: str | None, explain: bool, spreading: Any = None) -> Renderable:
    """Several designs under the same move: the words first, then a row for each design, X above Y.

    explain: whether to list what each design changes (its label does not say it).
    """
    first = comparison.reports[0]
    head = Text.assemble((first.design.title, "bold"), f"\n{first.plan.description}, {len(comparison.labels)} designs")
    made = table("design", "judged µm", "", "N/mm", f"{RINGS_BY}\nµm", "Hz", "fades\nms", f"{OFF_LINE}\nµm", left=1)
    made.columns[0].max_width = 18
    for i in comparison.order:
        outcome, stiffness = comparison.reports[i], comparison.stiffness_n_m[i]
        both = [outcome.analysis.ringing[axis] for axis in "xy"]
        made.add_row(
            comparison.labels[i],
            _judged(comparison.judged[i]),
            "X\nY",
            "\n".join(number(times(s, 1e-3)) for s in stiffness),
            "\n".join(number(r and r.peak_m * 1e6, least=0.001) for r in both),
            "\n".join(number(r and r.frequency_hz) for r in both),
            "\n".join(number(times(r and r.fades_to_5_percent_s, 1e3)) for r in both),
            number(outcome.analysis.path.across_max_m * 1e6, least=0.001),
        )
    written = Text(f"Written to {out}: compare.json, picture.png, scenario.toml") if out else None
    changes = _changes_table(comparison) if explain else None
    sentences, machines = list(comparison.sentences), None
    if spreading is not None:
        sentences[1:1] = [spreading.verdict] if spreading.verdict else []
        machines = machines_table(comparison.labels, spreading.spreads, spreading.pairs)
    return spaced(head, Text("\n".join(sentences)), made, machines, changes, written)


def _judged(judged: Any) -> str:
    """Judged ringing above its range; "-" where a motor slips at most speeds, or nothing could be judged."""
    if judged is None or judged.judged_m is None:
        return NONE
    return f"{number(judged.judged_m * 1e6)}\n{number(judged.least_m * 1e6, 2)} to {number(judged.most_m * 1e6, 2)}"


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
