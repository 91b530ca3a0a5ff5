"""From a path or a shipped name to a tree of tables, with errors that say what to do."""

from __future__ import annotations

import os
import re
import stat
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

from ..errors import ScenarioError
from .telling import named, nearest

LARGEST_BYTES = 2_000_000


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
    tree = _parse(_text(path, label), label)
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
        raise ScenarioError([f"{named(str(path), 500)}: cannot be read ({_reason(error)})"]) from None
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


def _reason(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) else None) or str(error)


def _text(path: Path, label: str) -> str:
    try:
        mode = path.stat().st_mode
        if stat.S_ISDIR(mode):
            raise ScenarioError([f"{named(str(path), 500)}: is a folder; give the scenario file inside it"])
        if not stat.S_ISREG(mode):
            raise ScenarioError(
                [f"{named(str(path), 500)}: is not an ordinary file; save the scenario as a .toml file"]
            )
        with path.open("rb") as file:
            data = file.read(LARGEST_BYTES + 1)
    except OSError as error:
        raise ScenarioError([f"{named(str(path), 500)}: cannot be read ({_reason(error)})"]) from None
    if len(data) > LARGEST_BYTES:
        limit = f"{LARGEST_BYTES // 1_000_000} MB"
        raise ScenarioError(
            [f"{label}: larger than {limit}, which no scenario is; a motion program goes into [move] gcode"]
        )
    if b"\0" in data:
        raise ScenarioError([f"{label}: is not a text file (it holds zero bytes); save the scenario as UTF-8 text"])
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise ScenarioError([f"{label} line {line}: is not UTF-8 text; save the scenario as UTF-8"]) from None


def _parse(text: str, label: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise ScenarioError([f"{label}: brackets are nested too deeply"]) from None
    except ValueError as error:  # TOMLDecodeError is one; so is an integer of thousands of digits
        message = str(error)
        spot = re.search(r"\(at line (\d+), column (\d+)\)$", message)
        what = message[: spot.start()].strip() if spot else message.replace("(at end of document)", "at the end")
        at = f" line {spot[1]}, column {spot[2]}" if spot else ""
        raise ScenarioError([f"{label}{at}: {what.rstrip('. ')} (the file must be TOML: key = value)"]) from None
