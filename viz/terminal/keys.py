"""`keys` and `show FILE KEY`: what may be written, where a value came from, and what it does."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Any

from beltspring.sim import Effect, KeyFact
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


def effect_page(found: Effect) -> list[Any]:
    """`show FILE KEY`: what the key is, its value and whence, and what another value would do."""
    fact, origin = found.fact, found.origin
    unit = f" {fact.unit}" if fact.unit and isinstance(origin.value, int | float) else ""
    head = Text(f"{fact.name} = {value_text(origin.value)}{unit}", style="bold")
    out: list[Any] = [head, Text(f"{fact.meaning}; {fact.range_words()}; {if_left_out(fact)}.")]
    band = (
        "" if found.band is None else f" 19 of 20 machines keep it between {found.band[0]:.6g} and {found.band[1]:.6g}."
    )
    out += [Text(f"From: {whence(origin)}.{band}")]
    if fact.full_only:
        out.append(Text('Only detail = "full" has it; the textbook model leaves it out.'))
    if found.words:
        out += [Text(), Text(found.words)]
    if any(other.changes for other in found.others):
        out += [Text(), Text("What another value would do, everything else left as it is:", style="bold")]
        made = table("", "", left=2)
        made.show_header, made.box = False, None
        made.columns[0].width = 20
        for other in found.others:
            made.add_row(other.value, "; ".join(other.changes) or "nothing that is computed here changes")
        out += [made, Text(), Text("Frequencies, stiffness and masses with the tool in mid-reach.", style="dim")]
    return out


def whence(origin: Any) -> str:
    """Where a value came from, with its source."""
    kind = {"file": "the file", "set": "--set", "default": "the default", "computed": "computed", "part": "part"}
    words = kind.get(origin.origin, origin.origin)
    return (
        f"{words} {origin.note}".strip()
        if origin.origin in ("part", "variant")
        else ": ".join(filter(None, [words, origin.note]))
    )


def if_left_out(fact: KeyFact) -> str:
    """What holds when nobody writes a key, in words."""
    if fact.required:
        return "must be written"
    return f"else {fact.instead if fact.default is None else value_text(fact.default)}"
