"""Rules of a scenario: the schema's own, read as sentences, and those that tie several keys together."""

from __future__ import annotations

from typing import Any

import pydantic

from ..errors import ScenarioError
from . import names
from .bands import BAND, EXAMPLE, band_problems
from .changes import Layered
from .fields import Key, tidy
from .index import Path, key_at, keys_of, leaves, table_at
from .motion import OWN_CHOICES
from .schema import ScenarioFile, Where
from .telling import missing, named, nearest, problem, unknown_key, value_rule

# A file that is wrong throughout (or no scenario at all) is told by its first problems.
MOST_PROBLEMS = 40


def validated(layered: Layered, label: str) -> ScenarioFile:
    """The tree as the schema's records. Raises ScenarioError with every problem at once, in file order."""
    problems: dict[Path, str] = {}
    lacking: dict[Path, str] = {}
    file: ScenarioFile | None = None
    try:
        file = ScenarioFile.model_validate(layered.tree)
    except pydantic.ValidationError as error:
        for entry in error.errors(include_url=False, include_context=False)[:MOST_PROBLEMS]:
            path, rule = _sentence(layered, entry, label)
            (lacking if entry["type"] == "missing" else problems).setdefault(path, rule)
    for path, value in leaves(layered.tree):
        key = key_at(path)
        if key is None or path in problems or len(problems) >= MOST_PROBLEMS:
            continue
        unchosen = key.choices is not None and not _chosen(value, key.choices())
        if unchosen or _outside(value, key.low, key.high) or _control_characters(value, key):
            problems[path] = problem(_where(layered, path, label), path, value, value_rule(path, value))
    problems.update(band_problems(layered.tree, layered.origins, label))
    for path, rule in lacking.items():
        # What is written under a near spelling or in another unit is not missing as well.
        near = (f" write {path[-1]}", f" mean {path[-1]}?", f" mean [{path[-1]}]?")
        if not any(text.rpartition(";")[2].startswith(near) for text in problems.values()):
            problems[path] = rule
    for index, variant in enumerate(file.variant if file is not None else ()):
        if not variant.name.isprintable():
            path = ("variant", str(index + 1), "name")
            problems[path] = _variant_sentence(label, path, variant.name, "control")
    if file is not None and not problems:
        for path, rule in _ties(file, layered):
            problems[path] = problem(_where(layered, path, label), path, _value_at(layered.tree, path), rule)
        if file.move.pattern is None and file.move.gcode is None:
            problems["move", "pattern"] = missing(label, ("move", "pattern"))
    if problems or file is None:
        told = list(problems.values())
        raise ScenarioError([*told, f"{label}: and perhaps more"] if len(told) >= MOST_PROBLEMS else told)
    return file


def _chosen(value: Any, choices: tuple[str | int, ...]) -> bool:
    return not isinstance(value, bool) and any(value == choice and type(value) is type(choice) for choice in choices)


def _outside(value: Any, low: float | None, high: float | None) -> bool:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return number and low is not None and high is not None and not low <= value <= high


def _control_characters(value: Any, key: Key) -> bool:
    return (key.text or key.names is not None) and isinstance(value, str) and not value.isprintable()


def _where(layered: Layered, path: Path, label: str) -> Where:
    """Who wrote the value at a path, or wrote it inside a larger value, or inside it."""
    for written, where in layered.origins.items():
        if written == path or path[: len(written)] == written or written[: len(path)] == path:
            return where
    return Where("file", label)


def _sentence(layered: Layered, entry: Any, label: str) -> tuple[Path, str]:
    """One of pydantic's errors as path and sentence, worded from the schema and the value as written."""
    path: Path = ()
    inner: Any = layered.tree
    for step in entry["loc"]:
        if isinstance(step, int) and isinstance(inner, list) and step < len(inner):
            inner = inner[step]
            path = (*path, str(step + 1))
        elif isinstance(step, str) and isinstance(inner, dict) and step in inner:
            inner = inner[step]
            path = (*path, step)
        elif entry["type"] == "missing" and isinstance(step, str) and path[:1] == ("variant",):
            return (*path, step), _variant_sentence(label, (*path, step), None, "missing")
        elif entry["type"] == "missing" and isinstance(step, str):
            return (*path, step), missing(_where(layered, path, label).label, (*path, step))
        else:
            break  # the rest of the location names pydantic's own branches, not keys
    where = _where(layered, path, label)
    if path[:1] == ("variant",) and len(path) > 1:
        return path, _variant_sentence(label, path, inner, entry["type"])
    if path[:1] == (BAND,):
        return path, problem(where, path, inner, f"must be a table; write [{BAND}], and below it such as {EXAMPLE}")
    known = key_at(path) is not None or table_at(path) is not None or path == ("variant",)
    in_each = len(path) == 2 and path[0] in ("belts", "motors") and path[1] not in keys_of(path[:1])
    if not known or (in_each and not isinstance(inner, dict)):
        return path, problem(where, path, inner, unknown_key(path, inner))
    return path, problem(where, path, inner, value_rule(path, inner))


def _variant_sentence(label: str, path: Path, value: Any, kind: str) -> str:
    at = f"{label} [[variant]] number {path[1]}"
    if len(path) == 2:
        return f"{at}: must be a table with name and set"
    if kind == "missing":
        return f'{at}: {path[2]} is missing; a variant has a name and a set, such as set = {{ "belts.ea_n" = 20000 }}'
    if path[2] not in ("name", "set"):
        near = nearest(path[2], ["name", "set"])
        return f"{at}: unknown key {named(path[2])}; " + (
            f"did you mean {near}?" if near else "a variant has a name and a set"
        )
    right = (
        "text in quotes, 1 to 100 characters on one line"
        if path[2] == "name"
        else 'a table, such as { "belts.ea_n" = 20000 }'
    )
    return problem(Where("variant", at), path[2:3], value, f"must be {right}")


def _value_at(tree: dict[str, Any], path: Path) -> Any:
    inner: Any = tree
    for name in path:
        inner = inner.get(name) if isinstance(inner, dict) else None
    return inner


def _ties(file: ScenarioFile, layered: Layered) -> list[tuple[Path, str]]:
    """Rules that tie keys together; asked only of a file whose every key is right by itself."""
    found: list[tuple[Path, str]] = []
    for name, what in names.NOT_BUILT.items():
        path = tuple(name.split("."))
        if _value_at(layered.tree, path) not in (None, 0):
            off = "leave it out" if key_at(path) and key_at(path).low is None else "write 0"  # type: ignore[union-attr]
            found.append((path, f"{what} are not built yet; {off}"))
    move = file.move
    if move.pattern is not None and move.gcode is not None:
        found.append((("move", "gcode"), "write either pattern or gcode, not both"))
    if move.pattern is not None and move.size_mm is not None:
        x_mm, y_mm = file.space.x_mm, file.space.y_mm
        one_axis = {"x": x_mm, "y": y_mm}.get(move.axis) if move.pattern in ("step", "chirp") else None
        most = one_axis if one_axis is not None else min(x_mm, y_mm)
        if move.size_mm > most:
            found.append((("move", "size_mm"), f"must be at most {tidy(most)}, the reach given in [space]"))
    if move.pattern == "chirp":
        usual = OWN_CHOICES["chirp"]
        lowest = move.from_hz if move.from_hz is not None else usual["from_hz"]
        highest = move.to_hz if move.to_hz is not None else usual["to_hz"]
        if highest <= lowest and move.to_hz is not None:
            found.append((("move", "to_hz"), f"must be above from_hz = {tidy(lowest)}: a chirp rises"))
        elif highest <= lowest:
            found.append((("move", "from_hz"), f"must be below to_hz = {tidy(highest)}: a chirp rises"))
    for name in ("carriage", "gantry", "bed"):
        table = getattr(file, name)
        sliding, breaking = table.friction_n, table.friction_static_n
        if sliding is not None and breaking is not None and breaking < sliding:
            rule = f"must be at least friction_n = {tidy(sliding)}: breaking away takes no less than sliding"
            found.append(((name, "friction_static_n"), rule))
    if file.frame.width_mm is not None and file.frame.width_mm <= file.space.x_mm:
        found.append((("frame", "width_mm"), f"must be more than the reach, [space] x_mm = {tidy(file.space.x_mm)}"))
    return found
