"""What to measure, on the terminal: cheapest first, with what each would leave."""

from __future__ import annotations

from beltspring.sim import CAUTIONS, MeasuringSheet, leaves_words
from rich.table import Table
from rich.text import Text

from .tables import Renderable, spaced, table

FILES = "sheet.txt, measured.toml, step-x.gcode, step-y.gcode, square.gcode, measure.json"


def measure_page(sheet: MeasuringSheet, out: str | None) -> Renderable:
    """One sheet."""
    head = Text.assemble(
        (sheet.title, "bold"),
        f"\n{sheet.layout}, detail {sheet.detail}: what to measure, cheapest first",
        "\n± holds for 19 of 20 machines, before → after that measurement alone",
    )
    last = Text(f"All of it together leaves {leaves_words(sheet.all_of_it, 8)}.")
    how = Text(
        "--out writes the sheet with how each is done, a measured.toml to fill in, and the moves to record as programs."
    )
    written = Text(f"Written to {out}: {FILES}") if out else how
    return spaced(head, Text("\n".join(CAUTIONS), style="dim"), _items(sheet), last, written)


def _items(sheet: MeasuringSheet) -> Table:
    made = table("Measure", "min", "leaves", left=1)
    made.columns[2].justify, made.columns[2].no_wrap = "left", False
    made.columns[0].no_wrap, made.columns[0].max_width = False, 30
    for item in sheet.items:
        made.add_row(f"{item.name}\n{item.tool}", str(item.minutes), leaves_words(item.leaves, 3))
    return made
