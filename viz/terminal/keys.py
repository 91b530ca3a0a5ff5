"""`keys` and `show FILE KEY`: what may be written, where a value came from, and what it does."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Any

from beltspring.sim import KeyFact
from rich.text import Text

from .tables import spaced, table, value_text


def keys_tables(facts: Sequence[KeyFact]) -> list[Any]:
    """Every key, table by table as in the file."""
    out: list[Any] = []
    for section, group in groupby(facts, key=lambda f: ".".join(f.path[:-1])):
        listed = list(group)
        made = table("", "", left=2)
        made.show_header = False
        made.box = None
        made.columns[0].width = 27
        for fact in listed:
            words = Text(fact.meaning)
            words.append(f"\n{fact.range_words()}", style="bold").append(f"; {if_left_out(fact)}")
            made.add_row(fact.path[-1], words)
        out += [Text(f"[{section}]" if section else "at the top of the file", style="bold"), made, Text()]
    notes = ["To each key: what it is; below, what may be written, and what holds if it is left out."]
    if any(fact.each for fact in facts):
        notes.append(
            "Keys of [belts] and [motors] may also stand in a table for one of them, [belts.a], [motors.x]; it wins there."
        )
    return [*out, spaced(*(Text(note, style="dim") for note in notes))]


def if_left_out(fact: KeyFact) -> str:
    """What holds when nobody writes a key, in words."""
    if fact.required:
        return "must be written"
    return f"else {fact.instead if fact.default is None else value_text(fact.default)}"
