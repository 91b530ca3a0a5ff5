"""The kinds of keys a scenario table is made of: numbers with unit and range, choices, part names, text.

Each key carries one `Key` record with its unit, its range in words and what it overrides. Loading words its errors
from it, `resolve` takes its unit, `show` its meaning, so that the schema stays the one truth.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pydantic import Field
from pydantic.fields import FieldInfo


@dataclass(frozen=True)
class Key:
    """What is known of one key beyond its type.

    meaning: one line for a person.
    unit: symbol in units.SI_FACTOR; "" for a count, a name or text.
    allowed: what may be written, in words that follow "must be".  low, high: the range of a number, in its unit.
    choices: the accepted values, read at the moment of checking; None when there is no list here.
    overrides: keys of the same table that name parts; this key replaces a value of the first, and follows from all.
    names: the kind of catalogue part that this key names.
    full_only: it does nothing at detail "simple".  text: free text.
    by_machine: where nobody writes it, the machine computes it from the parts each time.
    """

    meaning: str
    unit: str = ""
    allowed: str = ""
    low: float | None = None
    high: float | None = None
    choices: Callable[[], tuple[str | int, ...]] | None = None
    overrides: tuple[str, ...] = ()
    names: str | None = None
    full_only: bool = False
    text: bool = False
    by_machine: bool = False


def key_of(field: FieldInfo) -> Key | None:
    """The `Key` of a schema field; None for a table."""
    extra = field.json_schema_extra
    if not isinstance(extra, dict):
        return None
    key = extra.get("key")
    return key if isinstance(key, Key) else None


def tidy(number: float) -> str:
    """A number as a person writes it: 0, 0.5, 200000."""
    return str(int(number)) if float(number).is_integer() and abs(number) < 1e15 else f"{number:.12g}"


def _tuple(names: str | tuple[str, ...]) -> tuple[str, ...]:
    return (names,) if isinstance(names, str) else names


def _field(default: Any, key: Key, **limits: Any) -> Any:
    return Field(default, description=key.meaning, json_schema_extra={"key": key}, **limits)  # type: ignore[dict-item]


def number(
    unit: str,
    low: float,
    high: float,
    meaning: str,
    default: Any = None,
    *,
    overrides: str | tuple[str, ...] = (),
    full_only: bool = False,
    by_machine: bool = False,
) -> Any:
    """A finite number in `unit` from low to high, both included. default `...`: the person must write it."""
    key = Key(
        meaning,
        unit,
        f"{tidy(low)} to {tidy(high)}",
        low,
        high,
        overrides=_tuple(overrides),
        full_only=full_only,
        by_machine=by_machine,
    )
    return _field(default, key, ge=low, le=high, allow_inf_nan=False)


def count(
    low: int,
    high: int,
    meaning: str,
    default: Any = None,
    *,
    overrides: str | tuple[str, ...] = (),
    full_only: bool = False,
) -> Any:
    """A whole number from low to high, both included."""
    key = Key(
        meaning, "", f"a whole number, {low} to {high}", low, high, overrides=_tuple(overrides), full_only=full_only
    )
    return _field(default, key, ge=low, le=high)


def one_of(
    choices: Callable[[], tuple[str | int, ...]], meaning: str, default: Any = None, *, full_only: bool = False
) -> Any:
    """One value of a list that is read when checking, so that a name counts from the moment it is built."""
    return _field(default, Key(meaning, choices=choices, full_only=full_only))


def part(
    kind: str, meaning: str, default: Any = None, *, overrides: str | tuple[str, ...] = (), full_only: bool = False
) -> Any:
    """The name of a part in the catalogue; `resolve` looks it up, since the catalogue is the next room."""
    key = Key(meaning, "", f"the name of a part ({kind})", names=kind, overrides=_tuple(overrides), full_only=full_only)
    return _field(default, key, min_length=1, max_length=80)


def text(longest: int, meaning: str, default: Any = None) -> Any:
    """One line of 1 to `longest` characters."""
    key = Key(meaning, "", f"text in quotes, 1 to {longest} characters on one line", text=True)
    return _field(default, key, min_length=1, max_length=longest)


def auto_or_number(unit: str, low: float, high: float, meaning: str, default: Any = None) -> Any:
    """A finite number in range, or the word "auto"; its range is checked beside the choices."""
    key = Key(meaning, unit, f'{tidy(low)} to {tidy(high)}, or "auto"', low, high)
    return _field(default, key)
