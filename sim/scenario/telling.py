"""How a problem in a scenario is told: place, key, value, what is allowed, the nearest spelling, the way on."""

from __future__ import annotations

import difflib
import json
from collections.abc import Sequence
from typing import Any

from ..files import comma_words
from .fields import Key, tidy
from .index import Path, dotted, key_at, keys_of, table_at, tables
from .names import SHORT_SHAPERS
from .schema import Where
from .units import OTHER_UNITS


def shown(value: Any) -> str:
    """A value as it would be written in the file, cut at 60 characters."""
    if isinstance(value, bool):
        out = "true" if value else "false"
    elif isinstance(value, float):
        out = tidy(value) if value == value and abs(value) != float("inf") else str(value)
    elif isinstance(value, int):
        # Python refuses to print integers of more than 4300 digits.
        out = str(value) if abs(value) < 10**30 else "a number of very many digits"
    elif isinstance(value, str):
        # Control characters are escaped: a message must not steer the terminal it is printed on.
        out = json.dumps(value, ensure_ascii=not value.isprintable())
    elif isinstance(value, list):
        out = "[]" if not value else f"[{shown(value[0])}{', ...' if len(value) > 1 else ''}]"
    elif isinstance(value, dict):
        out = "{...}" if value else "{}"
    else:
        out = str(value)
    return out if len(out) <= 60 else out[:57] + "..."


def named(name: str, longest: int = 60) -> str:
    """The name of a key or a file for a message: as written when it is plain, else quoted, escaped and cut."""
    return name if name.isprintable() and 0 < len(name) <= longest else shown(name)


def spelled(path: Path) -> str:
    """A path for a message."""
    return dotted(tuple(named(name) for name in path[:8]))


def place(where: Where, path: Path) -> str:
    """Place and key: `bench.toml [belts.a] pretension_n`, or `--set belts.a.pretension_n`."""
    if where.kind != "file":
        colon = ":" if where.kind == "variant" else ""
        return f"{where.label}{colon} {spelled(path)}"
    if len(path) == 1:
        return f"{where.label} {named(path[0])}"
    return f"{where.label} [{spelled(path[:-1])}] {named(path[-1])}"


def problem(where: Where, path: Path, value: Any, rule: str) -> str:
    """One finished sentence: `bench.toml [belts.a] pretension_n = -40: must be 0 to 1000`."""
    if isinstance(value, dict) and where.kind == "file":
        return f"{where.label} [{spelled(path)}]: {rule}"
    return f"{place(where, path)} = {shown(value)}: {rule}"


def nearest(name: str, among: Sequence[str]) -> str | None:
    """The nearest spelling, if one is near."""
    found = difflib.get_close_matches(name.lower(), [a.lower() for a in among], n=1, cutoff=0.6)
    return next((a for a in among if a.lower() == found[0]), None) if found else None


def choice_rule(value: Any, choices: Sequence[str | int]) -> str:
    """What is wrong with a value that is not in a list."""
    rule = "must be one of " + ", ".join(str(choice) for choice in choices)
    if isinstance(value, str) and (now := SHORT_SHAPERS.get(value.lower().replace(" ", "-"))) in choices:
        return f'is called "{now}" here; write that'
    near = nearest(value, [str(choice) for choice in choices]) if isinstance(value, str) else None
    return f"{rule}; did you mean {near}?" if near else rule


def value_rule(path: Path, value: Any) -> str:
    """What would be right for the key at `path`, and why this kind of value is not."""
    key = key_at(path)
    if key is None:
        return _table_rule(path, value)
    if key.choices is not None:
        choices = key.choices()
        return choice_rule(value, choices) if choices else "nothing to choose from is built yet; remove it"
    if key.low is None:
        return f"must be {key.allowed}"
    rule = f"must be {range_words(key)}"
    if isinstance(value, bool):
        return f"{rule}, not true or false"
    if isinstance(value, str):
        comma = comma_words(value)
        return f"{rule}; {comma}" if comma else f"{rule}, a number without quotes"
    if isinstance(value, float) and (value != value or abs(value) == float("inf")):
        return f"{rule}, a finite number"
    return rule if isinstance(value, int | float) else f"{rule}, a number"


def table_rule(path: Path) -> str:
    """What to write instead of one value for a whole table."""
    below = [p[-1] for p in tables() if p and p[:-1] == path]
    if keys_of(path) or not below:
        names = [f"{dotted(path)}.{name}" for name in keys_of(path)]
        return f"this is a table; name one of its keys: {', '.join(names[:3])}{', ...' if len(names) > 3 else ''}"
    inner = (*path, below[0])
    examples: dict[Path, str] = {
        ("motion", "shaper"): 'kind = "zero-vibration", frequency_hz = 48',
        ("frame", "panels"): 'part = "plywood", thickness_mm = 6',
    }
    example = examples.get(path, "...")
    return (
        f"this is a table of the tables {' and '.join(below)}; write {dotted(inner)} = {{ {example} }}, or one key at a "
        f"time, {', '.join(f'{dotted(inner)}.{name}' for name in list(keys_of(inner))[:2])}"
    )


def range_words(key: Key) -> str:
    """What may be written, with its unit: "0 to 1000 N"; an alternative to the number comes after the unit."""
    if not key.unit or key.unit == "ratio":
        return key.allowed
    span, comma, other = key.allowed.partition(", or ")
    return f"{span} {key.unit}{comma}{other}"


def _table_rule(path: Path, value: Any) -> str:
    name = dotted(path)
    if isinstance(value, list) and path != ("variant",):
        return f"must be one table; write [{name}] with single brackets"
    if path == ("variant",):
        return "must be tables; write [[variant]] with double brackets for each"
    return f"must be a table; write [{name}] and its keys below it"


def unknown_key(path: Path, value: Any) -> str:
    """What to write instead of a key that the schema does not have."""
    name, table = path[-1], path[:-1]
    if isinstance(value, dict) and not table:
        return _unknown_table(name)
    inner = [p[-1] for p in tables() if p and p[:-1] == table]
    here = [*keys_of(table), *inner]
    rule = f"unknown key {named(name)}"
    if isinstance(value, dict) and (near := nearest(name, inner)):
        return f"unknown table [{spelled(path)}]; did you mean [{dotted((*table, near))}]?"
    unit = _other_unit(name, value, here)
    if unit:
        return f"{rule}; {unit}"
    elsewhere = [p for p in tables() if p != table and name in keys_of(p)]
    if len(elsewhere) == 1:
        home = f"[{dotted(elsewhere[0])}]" if elsewhere[0] else "the top of the file"
        return f"{rule} here; it belongs in {home}"
    near = nearest(name, here)
    if near:
        return f"{rule}; did you mean {near}?"
    return f"{rule}; allowed here: {', '.join(here)}"


def _unknown_table(name: str) -> str:
    top = [p[0] for p in tables() if len(p) == 1] + ["band", "search", "variant"]
    near = nearest(name, top)
    inside = next((dotted(p) for p in tables() if len(p) == 2 and p[1] == name.lower()), None)
    if inside:
        return f"unknown table [{named(name)}]; did you mean [{inside}]?"
    return f"unknown table [{named(name)}]; " + (f"did you mean [{near}]?" if near else f"allowed: {', '.join(top)}")


def _other_unit(name: str, value: Any, here: Sequence[str]) -> str | None:
    """For a known quantity in another unit: the key to write, with the value converted where there is one."""
    for ending, unit, right, factor in OTHER_UNITS:
        wanted = name.removesuffix(ending) + right
        if name.endswith(ending) and wanted in here:
            number = isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e15
            example = f" = {tidy(float(f'{value * factor:.6g}'))}" if number else ""
            return f"this quantity is not written in {unit} here; write {wanted}{example}"
    bare = [key for key in here if key.startswith(name + "_")]
    if len(bare) == 1:
        return f"the unit belongs in the key; write {bare[0]}"
    return None


def missing(label: str, path: Path) -> str:
    """What must be written and is not."""
    table = table_at(path)
    if table is not None:
        needed = [name for name, field in table.model_fields.items() if field.is_required()] or list(keys_of(path))[:1]
        return f"{label}: the table [{dotted(path)}] is missing; write it with {', '.join(needed)}"
    key = key_at(path)
    at = f"[{dotted(path[:-1])}] " if len(path) > 1 else ""
    if key is None:
        return f"{label}: {at}{path[-1]} is missing"
    allowed = ", ".join(str(c) for c in key.choices()) if key.choices else range_words(key)
    return f"{label}: {at}{path[-1]} is missing; write {path[-1]}, {key.meaning} ({allowed})"
