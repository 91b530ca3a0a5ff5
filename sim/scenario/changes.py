"""Changes laid over a scenario: --set, variants, and the rule that a new part drops the old part's overrides."""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from ..errors import InputError, ScenarioError
from ..files import parse_toml
from .index import EACH, Path, dotted, key_at, keys_of, leaves, table_at, tables
from .schema import Where
from .telling import named, place, shown, table_rule

Tree = dict[str, Any]

# No key of the schema lies deeper than motion.shaper.x.kind.
DEEPEST = 5


@dataclass
class Layered:
    """A scenario's tree with, for each value, who wrote it; a work piece of this room."""

    tree: Tree
    origins: dict[Path, Where]
    notices: list[str] = field(default_factory=list)


def parse_sets(overrides: Sequence[str]) -> dict[str, Any]:
    """`key=value` texts to dotted key -> value. A value is TOML; what is not TOML counts as bare text.

    Raises ScenarioError naming --set for a text that is no key=value.
    """
    problems: list[str] = []
    changes: dict[str, Any] = {}
    for text in overrides:
        name, equals, value = text.partition("=")
        name, value = name.strip(), value.strip()
        if not equals or not name or not value:
            problems.append(f"--set {named(text)}: write it as key=value, for example belts.pretension_n=20")
        elif not all(part.strip() and "\n" not in part for part in name.split(".")):
            problems.append(
                f"--set {named(text)}: the key must be names joined by dots, for example belts.pretension_n"
            )
        else:
            path = tuple(part.strip() for part in name.split("."))
            changes[dotted(path)] = _value(path, value)
    if problems:
        raise ScenarioError(problems)
    return changes


def _value(path: Path, text: str) -> Any:
    try:
        parsed = parse_toml(f"v = {text}", "--set")
    except InputError:
        return text
    value = parsed["v"] if list(parsed) == ["v"] else text
    key = key_at(path)
    wants_text = key is not None and (key.text or key.names is not None)
    return text if wants_text and not isinstance(value, str) else value


def as_paths(changes: Mapping[str, Any], above: Path = ()) -> dict[Path, Any]:
    """Dotted keys, nested tables or both, as paths to single values; what lies deeper than any key stays one value."""
    flat: dict[Path, Any] = {}
    for name, value in changes.items():
        path = (*above, *(part.strip() for part in name.split(".")))
        if isinstance(value, Mapping) and value and len(path) < DEEPEST:
            flat.update(as_paths(value, path))
        else:
            flat[path] = value
    return flat


def apply(base: Layered, changes: Mapping[str, Any], where: Where) -> Layered:
    """A copy of `base` with the changes written over it, overrides of replaced parts dropped, and told so.

    Raises ScenarioError where a change does not fit into the tree of tables.
    """
    tree, origins, notices = copy.deepcopy(base.tree), dict(base.origins), list(base.notices)
    layered = Layered(tree, origins, notices)
    flat, problems = as_paths(changes), []
    if not flat:
        problems.append(f"{where.label}: changes nothing; write keys and values, such as belts.part")
    for path, value in flat.items():
        if path[0] == "variant":
            problems.append(f"{place(where, path)}: variants cannot be changed from here")
        elif len(path) > DEEPEST:
            problems.append(f"{place(where, path)}: no key lies that deep")
        elif path in tables():
            problems.append(f"{place(where, path)} = {shown(value)}: {table_rule(path)}")
    if problems:
        raise ScenarioError(problems)
    for path, value in flat.items():
        if _is_part(path) and value != _effective_part(tree, path):
            _drop_overrides(layered, path, set(flat), where)
    if ("move", "gcode") in flat and ("move", "pattern") not in flat:
        _drop(layered, ("move", "pattern"), f"{where.label}: the program replaces")
    if ("move", "pattern") in flat and ("move", "gcode") not in flat:
        _drop(layered, ("move", "gcode"), f"{where.label}: the pattern replaces")
    for path in flat:
        if path[0] != "band" and ("band", *path) not in flat:
            _drop(layered, ("band", *path), f"{where.label}: {dotted(path)} is now another value, which drops")
    for path, value in flat.items():
        _write(tree, path, value, where)
        for old in [p for p in origins if p[: len(path)] == path or path[: len(p)] == p]:
            del origins[old]
        origins[path] = where
    return layered


def _write(tree: Tree, path: Path, value: Any, where: Where) -> None:
    inner = tree
    for depth, name in enumerate(path[:-1]):
        below = inner.setdefault(name, {})
        if not isinstance(below, dict):
            raise ScenarioError([f"{place(where, path)}: {dotted(path[: depth + 1])} is a single value, not a table"])
        inner = below
    inner[path[-1]] = value


def _is_part(path: Path) -> bool:
    key = key_at(path)
    return key is not None and key.names is not None


def _at(tree: Tree, path: Path) -> Any:
    inner: Any = tree
    for name in path:
        if not isinstance(inner, dict) or name not in inner:
            return None
        inner = inner[name]
    return inner


def _effective_part(tree: Tree, path: Path) -> Any:
    """The part's name that holds before a change: written, inherited from the table above, or the schema's default."""
    written = _at(tree, path)
    if written is not None:
        return written
    if len(path) == 3 and path[0] in EACH:
        return _effective_part(tree, (path[0], path[2]))
    table = table_at(path[:-1])
    return table.model_fields[path[-1]].default if table else None


def _drop_overrides(layered: Layered, path: Path, kept: set[Path], where: Where) -> None:
    """Drops what overrode the part named at `path`; keys that the same change writes are kept."""
    table = path[:-1]
    homes = [table]
    if len(table) == 1 and table[0] in EACH:
        inner = _at(layered.tree, table)
        for name, value in inner.items() if isinstance(inner, dict) else ():
            # A belt or motor with a part of its own does not change with the part of all.
            if isinstance(value, dict) and table_at((*table, name)) and path[-1] not in value:
                homes.append((*table, name))
    following = [
        (*home, name)
        for home in homes
        for name, key in keys_of(home).items()
        if path[-1] in key.overrides and (*home, name) not in kept
    ]
    # What follows from a whole inner table stands above it: a frame's sway follows from its panels.
    following += [
        (*table[:depth], name)
        for depth in range(1, len(table))
        for name, key in keys_of(table[:depth]).items()
        if table[depth] in key.overrides and (*table[:depth], name) not in kept
    ]
    # How sure a number of the old part was says nothing of the new one.
    following += [("band", *old) for old in following if ("band", *old) not in kept]
    dropped = [told for old in following if (told := _take_out(layered, old))]
    if dropped:
        layered.notices.append(f"{where.label}: {dotted(path)} is now another part, which drops {', '.join(dropped)}")


def _drop(layered: Layered, path: Path, because: str) -> None:
    told = _take_out(layered, path)
    if told:
        layered.notices.append(f"{because} {told}")


def _take_out(layered: Layered, path: Path) -> str:
    """Remove a value; returns what it was, in words, "" if nothing was there."""
    value = _at(layered.tree, path)
    if value is None:
        return ""
    del _at(layered.tree, path[:-1])[path[-1]]
    layered.origins.pop(path, None)
    return f"{dotted(path)} = {shown(value)}"


def origins_of(tree: Tree, where: Where) -> dict[Path, Where]:
    """Every value of a tree as written by `where`."""
    return {path: where for path, _ in leaves(tree)}
