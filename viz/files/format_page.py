"""The page that describes the scenario file, written from the schema: `beltspring keys --page` prints it."""

from __future__ import annotations

from itertools import groupby
from typing import Any

from beltspring.sim import key_facts

HEAD = """# The scenario file

A scenario is one text file in TOML: a machine, and the move it is asked to do. This page is written by
`beltspring keys --page` from the same list of keys that reads the file; a test holds them together.

- **Units stand in the names of the keys**: `x_mm`, `pretension_n`, `stiffness_n_per_mm`. Numbers have a decimal point.
- Only `title`, `layout`, `[space]` and `[move]` must be written. What is left out comes from a part, from a default or is
  computed; `beltspring show FILE` prints the whole machine and where each value came from, `beltspring show FILE KEY` one
  value, and what another would do.
- **Parts** are named from the catalogue (`beltspring parts`). A number of your own wins over the part's. When a part is
  changed by a variant or by `--set`, numbers of your own that belonged to the old part are dropped, and you are told.
- `[belts.a]`, `[motors.x]` and so on are for one belt or motor; what they leave out stands in `[belts]` and `[motors]`.
  Layouts call their drives: corexy and hframe a, b (hframe has one belt, a); box and moving-bed x, y; delta a, b, c.
- `[band]` says how sure a number of yours is, as the low and the high that 19 of 20 machines keep:
  `"belts.ea_n" = [12000, 19000]`. Without it a number counts as measured.
- `[[variant]]` is another design of the same machine: a `name`, and a `set` of dotted keys with their values.
  `beltspring compare FILE` runs all of them under the same move.
- On the command line `--set belts.pretension_n=18` changes a value, `--variant NAME` lays a variant over the file.
- A misspelt key, a wrong unit or a number out of range is an error that names file, key, value, what is allowed and the
  nearest spelling. Nothing is guessed.
"""
FOOT = """
Keys marked * do something only with `detail = "full"`, which is the default.
"""


def format_page(if_left_out: Any) -> str:
    """The page as Markdown. if_left_out: what holds when nobody writes a key, in words."""
    lines = [HEAD]
    for section, group in groupby(key_facts(), key=lambda f: ".".join(f.path[:-1])):
        lines += [
            f"## {f'`[{section}]`' if section else 'At the top of the file'}",
            "",
            "| key | what it is | may be | if left out |",
            "|---|---|---|---|",
        ]
        for fact in group:
            cells = [f"`{fact.path[-1]}`{'*' if fact.full_only else ''}", fact.meaning, fact.range_words()]
            cells.append(if_left_out(fact).removeprefix("else "))
            lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
        lines.append("")
    return "\n".join(lines).rstrip("\n") + "\n" + FOOT
