"""[band]: how sure a written number is. Dotted keys with the low and the high that 19 of 20 machines keep, in file units."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from .fields import Key, tidy
from .index import EACH, Path, all_keys, dotted, key_at, leaves
from .schema import Scenario, Where
from .telling import nearest, place, range_words, shown

BAND = "band"
Band = tuple[float, float]

# What a machine is may be uncertain; what is asked of it is not.
TABLES = ("carriage", "gantry", "bed", "belts", "motors", "idlers", "frame", "feet", "delta")
EXAMPLE = '"belts.ea_n" = [12000, 19000]'


def nested(table: Any) -> Any:
    """The table with its dotted keys as tables in tables, so that a change finds what it replaces; else as it is."""
    if not isinstance(table, Mapping):
        return table
    out: dict[str, Any] = {}
    for path, value in _split(dict(table)):
        inner = out
        for name in path[:-1]:
            inner = inner.setdefault(name, {})
            if not isinstance(inner, dict):
                return table
        inner[path[-1]] = value
    return out


def _split(table: dict[str, Any]) -> Iterator[tuple[Path, Any]]:
    for path, value in leaves(table):
        if value == {}:  # what a change has emptied
            continue
        yield tuple(part.strip() for name in path for part in name.split(".")), value


def may_have_band(path: Path, key: Key) -> bool:
    """Whether a key is a number of the machine that can be uncertain: no count, no length, no temperature."""
    return (
        path[0] in TABLES and key.low is not None and key.unit not in ("", "mm", "degC") and path[-1] != "mismatch_um"
    )


def bands_of(scenario: Scenario) -> dict[Path, Band]:
    """The bands a scenario has, by the path of their number, in file units."""
    table = scenario.file.band
    return {path: (float(value[0]), float(value[1])) for path, value in _split(dict(table))}


def band_problems(tree: Mapping[str, Any], where: Mapping[Path, Where], label: str) -> dict[Path, str]:
    """What is wrong with the table of a tree, by path, in sentences. where: who wrote each value."""
    table = tree.get(BAND)
    if table is None or not isinstance(table, Mapping):
        return {}
    found: dict[Path, str] = {}
    for path, value in _split(dict(table)):
        rule = _rule(path, value, tree)
        if rule:
            at = where.get((BAND, *path)) or Where("file", label)
            named = f"{label} [{BAND}] {dotted(path)}" if at.kind == "file" else place(at, (BAND, *path))
            found[BAND, *path] = f"{named} = {_told(value)}: {rule}"
    return found


def _told(value: Any) -> str:
    return f"[{', '.join(shown(v) for v in value[:3])}]" if isinstance(value, list) and len(value) < 4 else shown(value)


def _rule(path: Path, value: Any, tree: Mapping[str, Any]) -> str:
    """What is wrong with one band, "" if nothing is."""
    key = key_at(path)
    if key is None or not may_have_band(path, key):
        return _no_such(path, key)
    if not isinstance(value, list) or len(value) != 2 or not all(_number(v) for v in value):
        return f"must be two numbers, the low and the high that 19 of 20 machines keep, such as {EXAMPLE}"
    low, high = value
    if low > high:
        return f"its low is above its high; write [{tidy(high)}, {tidy(low)}]"
    if key.low is not None and key.high is not None and not key.low <= low <= high <= key.high:
        return f"both must be {range_words(key)}"
    return outside(_at(tree, path), low, high)


def outside(value: Any, low: float, high: float) -> str:
    """What is wrong with a band for a value, "" where it holds it or nobody knows the value yet."""
    if not _number(value):
        return ""
    if not low <= value <= high:
        return f"the value {tidy(value)} lies outside; give a low and a high around it, or another value"
    if low == 0.0 < value:
        return "its low must be above 0, as the value is: the band is cut off by factors, not by differences"
    return ""


def _number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < float("inf")


def _at(tree: Mapping[str, Any], path: Path) -> Any:
    inner: Any = tree
    for name in path:
        inner = inner.get(name) if isinstance(inner, Mapping) else None
    return inner


def _no_such(path: Path, key: Key | None) -> str:
    if key is not None and path[0] not in TABLES:
        return f"has no band: what is asked of the machine is known; bands are for numbers of {', '.join(TABLES)}"
    if key is not None and key.unit == "mm":
        return "has no band: lengths are taken as measured"
    if key is not None:
        return "has no band: it is no number that can be uncertain"
    known = [dotted(p) for p, k in all_keys() if may_have_band(p, k)]
    for table in EACH:
        if len(path) == 3 and path[0] == table:
            known += [f"{table}.{path[1]}.{p[-1]}" for p, k in all_keys() if p[:-1] == (table,) and may_have_band(p, k)]
    near = nearest(dotted(path), known) or next((k for k in known if k.endswith(f".{path[-1]}")), None)
    hint = f"did you mean {near}?" if near else f"write the dotted key of a number, such as {EXAMPLE}"
    return f"no such number; {hint}"
