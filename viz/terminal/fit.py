"""A fit on the terminal: whether the model makes what was measured, what was learned, what cannot be told apart."""

from __future__ import annotations

from beltspring.sim import Fitted, apart_words, fit_headline, measured_words, unit_words
from rich.table import Table
from rich.text import Text

from .tables import Renderable, number, spaced, table

FILES = "report.txt, picture.png, fit.json"


def fit_page(found: Fitted, out: str | None) -> Renderable:
    """One fit."""
    head = Text.assemble(
        (found.title, "bold"),
        f"\n{found.layout}, detail {found.detail}, measured: {measured_words(found.measured)}"
        f"\n{found.runs} machines tried from {found.starts} start{'s' if found.starts > 1 else ''}",
    )
    said = Text("\n".join(fit_headline(found)))
    apart = apart_words(found)
    fitted = "fitted.toml, " if found.explains and not found.interrupted else ""
    written = Text(f"Written to {out}: {fitted}{FILES}") if out else None
    return spaced(
        head, said, _numbers(found), _learned(found), Text("\n".join(apart)) if apart else None, _rest(found), written
    )


def _learned(found: Fitted) -> Table | None:
    informed = [p for p in found.parameters if p.informed]
    if not informed:
        return None
    made = table("Learned", "before", "now", "19 of 20", left=1)
    for p in informed:
        made.add_row(
            f"{p.key}{unit_words(p.unit)}",
            number(p.before),
            number(p.after, 4),
            f"{number(p.low, 3)} to {number(p.high, 3)}",
        )
    return made


def _numbers(found: Fitted) -> Table | None:
    if not found.numbers:
        return None
    made = table("Measured", "", "±", "model before", "model now", left=1)
    for n in found.numbers:
        made.add_row(
            f"{n.name}{unit_words(n.unit)}", number(n.measured), number(n.give, 2), number(n.before), number(n.after)
        )
    return made


def _rest(found: Fitted) -> Text | None:
    keys = [p.key for p in found.parameters if not p.informed]
    if not keys:
        return None
    return Text(f"Not informed by what was measured: {', '.join(keys)}.", style="dim")
