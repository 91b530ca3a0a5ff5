"""The strict reader of one table of a measured file: each key with its kind and range, errors that say what would be right."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ...scenario.fields import tidy
from ...scenario.telling import named, nearest, shown


@dataclass(frozen=True)
class Field:
    """One key: what it means, its range where it is a number (of each item, where it is a list of `count` numbers), its
    choices where it is a word. default: None, not written; `...`: it must be."""

    meaning: str
    low: float = -math.inf
    high: float = math.inf
    choices: tuple[str, ...] = ()
    text: bool = False
    table: bool = False
    count: int = 0
    default: Any = ...

    @property
    def allowed(self) -> str:
        """What may be written, in words that follow "must be"."""
        if self.choices:
            return "one of " + ", ".join(self.choices)
        if self.text:
            return "text in quotes"
        if self.table:
            return 'a table of changes, such as { "move.pattern" = "step" }'
        span = "" if math.isinf(self.low) else f", {tidy(self.low)} to {tidy(self.high)}"
        return f"{self.count} numbers in brackets{span}" if self.count else f"a number{span}"


def read_table(table: Any, fields: Mapping[str, Field], at: str) -> tuple[dict[str, Any], list[str]]:
    """The values of one table, defaults filled in, and what is wrong with it, one sentence each. at: the table, for messages."""
    if not isinstance(table, Mapping):
        return {}, [
            f"{at}: must be a table; write [[{at.rpartition('[[')[2].partition(']]')[0]}]] and its keys below it"
        ]
    problems = [
        f"{at} {named(name)}: {_unknown(name, table[name], tuple(fields))}" for name in table if name not in fields
    ]
    out: dict[str, Any] = {}
    for name, field in fields.items():
        if name not in table:
            out[name] = None if field.default is ... else field.default
            if field.default is ... and not problems:
                problems.append(f"{at}: {name} is missing; write {name}, {field.meaning} ({field.allowed})")
            continue
        rule = _rule(table[name], field)
        out[name] = table[name]
        if rule is not None:
            problems.append(f"{at} {name} = {shown(table[name])}: must be {field.allowed}{rule}")
    return out, problems


def is_number(value: Any) -> bool:
    """Whether a value of a TOML file is a finite number."""
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e300 and value == value


def _rule(value: Any, field: Field) -> str | None:
    """None where the value is right, else what to add to what is allowed."""
    if field.choices:
        near = nearest(value, field.choices) if isinstance(value, str) else None
        return None if value in field.choices else f"; did you mean {near}?" if near else ""
    if field.text:
        return None if isinstance(value, str) and 0 < len(value) <= 500 and value.isprintable() else ""
    if field.table:
        return None if isinstance(value, Mapping) else ""
    many = value if field.count and isinstance(value, list) else [value]
    if (field.count and not isinstance(value, list)) or (field.count and len(many) != field.count):
        return ""
    if not all(is_number(v) for v in many):
        return ", without quotes" if any(isinstance(v, str) for v in many) else ""
    return None if all(field.low <= v <= field.high for v in many) else ""


def _unknown(name: str, value: Any, here: Sequence[str]) -> str:
    near = nearest(name, here)
    bare = [key for key in here if key.rpartition("_")[0] == name or key.startswith(f"{name}_")]
    if bare:
        return f"unknown key; the unit belongs in it, write {bare[0]}"
    stem = name.partition("_")[0]
    other = [key for key in here if key.partition("_")[0] == stem and "_" in key]
    if other:
        return f"unknown key; this is not written in that unit here, write {other[0]}"
    return f"unknown key; did you mean {near}?" if near else f"unknown key; allowed here: {', '.join(here)}"
