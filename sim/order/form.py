"""The form of a price file for one machine: every name of its list, to be filled in."""

from __future__ import annotations

from .order import Order
from .prices import EXTRA_USUAL


def price_form(made: Order) -> str:
    """A price file with every name this list has, each behind a # until its price is written."""
    lines = [
        f"# Prices for {made.title}. Write your own: take away the # and put the price in place of 0.00.",
        "# Prices of other machines' parts may stand here too; one file can serve all.",
        'currency = "EUR"',
        "saw_mm = 3.0                       # width of a cut",
    ]
    bars = {b.name: b for b in made.bars}
    words: dict[str, tuple[str, str]] = {}
    for line in made.lines:
        item = line.item
        if item.group == "extra" or item.name in bars:
            continue
        table = "per_kg" if item.name == "printed" else "per_m" if item.length_m is not None else "each"
        table = "per_kg" if item.name.startswith("panel-") else table
        words.setdefault(item.name, (table, "all that is printed" if item.name == "printed" else item.words))
    for table, what in (("each", "price of one"), ("per_m", "price of a metre"), ("per_kg", "price of a kilogram")):
        named = [(name, text) for name, (home, text) in words.items() if home == table]
        if named:
            lines += ["", f"[{table}]".ljust(35) + f"# {what}"]
            lines += [f'# "{name}" = 0.00'.ljust(35) + f"# {text}" for name, text in named]
    if bars:
        lines += ["", "[stock]".ljust(35) + "# bars sold: length in mm = price of that bar; the lengths your shop has"]
        lines += [f'# "{name}" = {{ 1000 = 0.00, 2000 = 0.00 }}' for name in bars]
    lines += ["", "[extra]".ljust(35) + "# what this list does not know; add and take away as you like"]
    lines += [f'# "{name}" = 0.00' for name in EXTRA_USUAL]
    return "\n".join(lines) + "\n"
