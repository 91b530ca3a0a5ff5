"""The completed scenario as a file that loads again: what a person wrote as values, all else as comments with its origin."""

from __future__ import annotations

import json
from pathlib import Path as FilePath
from typing import Any

from ..scenario.bands import BAND, bands_of
from ..scenario.index import Path, dotted, key_at, tables
from ..scenario.motion import move_spec
from ..scenario.schema import Scenario
from .design import Design, Origin

HEADING = "# What stands behind a # came from parts and defaults, or was computed; it follows when a part is changed."
#: Origins of what a person wrote; anything else follows from it, and from the parts it names.
WRITTEN = ("file", "variant", "set")


def completed_toml(scenario: Scenario, design: Design) -> str:
    """The completed scenario as TOML that loads to the same design.

    What the file, a variant or --set said is written as a value. What came from a part, from a default or was computed
    stands there as a comment: written as a value it would stay as it is when a part changes later. Variants are kept
    unless one of them is laid over the scenario already.
    """
    by_table: dict[Path, list[Origin]] = {}
    for origin in design.origins:
        path = tuple(origin.key.split("."))
        if key_at(path) is not None and origin.value is not None:
            by_table.setdefault(path[:-1], []).append(origin)
    lines: list[str] = [
        "# What stands behind a # came from parts and defaults, or was computed; it follows when a part is changed."
    ]
    for table, origins in sorted(by_table.items(), key=lambda item: _order(item[0])):
        if table:
            lines += ["", f"[{dotted(table)}]"]
        lines += [_line(origin, scenario) for origin in origins]
    lines += _band_lines(scenario)
    if scenario.variant is None:
        for variant in scenario.file.variant:
            lines += ["", "[[variant]]", f"name = {_toml(variant.name)}", f"set = {_toml(variant.set)}"]
    return "\n".join(lines) + "\n"


def _band_lines(scenario: Scenario) -> list[str]:
    """How sure the written values are, as the person said it; parts bring their own bands."""
    lines = [
        f'"{dotted(path)}" = {_toml([float(low), float(high)])}' for path, (low, high) in bands_of(scenario).items()
    ]
    return ["", f"[{BAND}]", *lines] if lines else []


def _order(table: Path) -> tuple[int, Path]:
    """The top of the file first, then tables as the schema has them; sub-tables after their table."""
    known = list(tables())
    home = table if table in known else table[:1]
    return known.index(home), table


def _line(origin: Origin, scenario: Scenario) -> str:
    value = origin.value
    if origin.key == "move.gcode":
        program = move_spec(scenario).program
        value = str(FilePath(program).absolute()) if program is not None else value
    note = origin.origin
    if origin.origin == "part":
        note = f"part {origin.note.partition(':')[0]}"
    elif origin.origin == "computed" and origin.note:
        note = f"computed: {origin.note}"
    open_ = "" if origin.origin in WRITTEN else "# "
    return f"{open_}{origin.key.rpartition('.')[2]} = {_toml(value)}" + ("" if note == "file" else f"  # {note}")


def _toml(value: Any) -> str:
    """A value as TOML."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        # A JSON string is a TOML basic string but for DEL, which TOML wants escaped too.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, list):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_toml(str(key))} = {_toml(item)}" for key, item in value.items()) + " }"
    return str(value)
