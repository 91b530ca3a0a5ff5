"""A spread on the terminal: what it says, the answers, and what decides them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from beltspring.sim import Pair, Spread
from rich.table import Table
from rich.text import Text

from .tables import NONE, Renderable, number, spaced, table

NAMES = {
    "judged_um": "judged ringing µm",
    "x_hz": "X swings most at Hz",
    "y_hz": "Y swings most at Hz",
    "least_tension_n": "least belt tension N",
}


def spread_page(machine: Any, move: str, found: Spread, out: str | None) -> Renderable:
    """One design's spread on one screen."""
    design = machine.design
    head = Text.assemble(
        (machine.title, "bold"),
        f"\n{design.layout}, detail {design.detail}: {move}"
        f"\n{found.draws} machines drawn within the bands of {found.uncertain} numbers, seed {found.seed}",
    )
    made = table("Of 10 machines 8 lie between", "low", "median", "high", left=1)
    for name, answer in found.answers.items():
        made.add_row(NAMES[name], number(answer.low), number(answer.middle), number(answer.high))
    why = "Bands: `beltspring parts` and `beltspring show`; a number written in the file counts as measured, or has a [band]."
    written = Text(f"Written to {out}: spread.json, scenario.toml") if out else None
    return spaced(head, Text("\n".join(found.sentences)), made, _shares(found), Text(why, style="dim"), written)


def _shares(found: Spread) -> Table | None:
    if not found.shares:
        return None
    made = table("What decides", "share", "how to measure it", left=1)
    made.columns[0].no_wrap, made.columns[0].max_width = False, 30
    made.columns[2].justify, made.columns[2].no_wrap = "left", False
    for share in found.shares:
        made.add_row(f"{share.name}\n{share.key}", f"{100 * share.share:.0f} %", share.measure)
    return made


def machines_table(labels: Sequence[str], spreads: Sequence[Spread], pairs: Sequence[Pair]) -> Table:
    """Designs over their machines, each against the first. pairs: of every design after it."""
    made = table("Machines", "8 of 10 judged µm", f"less than {labels[0]} in", left=1)
    for i, (label, found) in enumerate(zip(labels, spreads, strict=True)):
        judged = found.answers.get("judged_um")
        between = f"{number(judged.low)} to {number(judged.high)}" if judged else NONE
        made.add_row(label, between, f"{pairs[i - 1].less} of {pairs[i - 1].of}" if i else "")
    return made
