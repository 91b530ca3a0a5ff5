"""From a path or a shipped name to a tree of tables, with errors that say what to do."""

from __future__ import annotations

import os
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

from ..errors import InputError, ScenarioError
from ..files import parse_toml, read_text, reason_of
from .telling import named, nearest

LARGEST_BYTES = 2_000_000
HINT = "; a motion program goes into [move] gcode"


@dataclass(frozen=True)
class Source:
    """A scenario's text as a tree. label: how messages call it.  folder: what its gcode path is relative to."""

    tree: dict[str, Any]
    label: str
    folder: Path | None


@dataclass(frozen=True)
class Shipped:
    """A scenario that comes with the program. path: of its file.  variants: their names."""

    name: str
    title: str
    path: Path
    variants: tuple[str, ...]


@cache
def shipped_scenarios() -> tuple[Shipped, ...]:
    """The scenarios that come with the program, by name."""
    found = []
    files = resources.files("beltspring.scenarios").iterdir()
    for entry in sorted(files, key=lambda item: item.name.removesuffix(".toml")):
        if entry.name.endswith(".toml"):
            tree = tomllib.loads(entry.read_text(encoding="utf-8"))
            variants = tuple(str(variant["name"]) for variant in tree.get("variant", []))
            found.append(Shipped(entry.name.removesuffix(".toml"), str(tree["title"]), Path(str(entry)), variants))
    return tuple(found)


def read(source: str | Path) -> Source:
    """The tree of a scenario file, or of a shipped scenario by its name. Raises ScenarioError."""
    path = _find(source)
    label = named(path.name)
    try:
        tree = parse_toml(read_text(path, "a scenario", LARGEST_BYTES, HINT), label)
    except InputError as error:
        raise ScenarioError([str(error)]) from None
    if not tree:
        raise ScenarioError([f"{label}: the file is empty; a scenario needs title, layout, [space] and [move]"])
    return Source(tree, label, path.parent)


def _find(source: str | Path) -> Path:
    if isinstance(source, str):
        for shipped in shipped_scenarios():
            if source == shipped.name and not os.path.isfile(source):
                return shipped.path
    path = Path(source)
    try:
        if str(source):
            os.stat(path)
            return path
    except (FileNotFoundError, NotADirectoryError):
        pass
    except (OSError, ValueError) as error:
        raise ScenarioError([f"{named(str(path), 500)}: cannot be read ({reason_of(error)})"]) from None
    names = [shipped.name for shipped in shipped_scenarios()]
    near = nearest(path.name.removesuffix(".toml"), names)
    beside = path.with_name(path.name + ".toml") if path.name else path
    if path.name and not path.suffix and beside.is_file():
        hint = f"did you mean {named(str(beside), 500)}?"
    elif near:
        hint = f"did you mean {near}?"
    else:
        hint = f"shipped scenarios are: {', '.join(names)}"
    raise ScenarioError([f"{named(str(source), 500)}: no such file and no shipped scenario of this name; {hint}"])
