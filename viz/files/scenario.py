"""A scenario written as TOML, into a file that must not exist yet."""

from __future__ import annotations

import json
import os
import tempfile
from pathlib import Path
from typing import Any

from .rights import as_any_new_file


def tree_toml(tree: dict[str, Any]) -> str:
    """A scenario's tree of tables as TOML 1.0. Shapers and variants become inline tables where the schema has them."""
    lines: list[str] = []
    _table(lines, (), tree)
    return "\n".join(lines).lstrip("\n") + "\n"


def _table(lines: list[str], path: tuple[str, ...], table: dict[str, Any]) -> None:
    plain = {k: v for k, v in table.items() if not isinstance(v, dict) and not _tables(v)}
    if path and plain:
        lines += ["", f"[{'.'.join(_key(p) for p in path)}]"]
    lines += [f"{_key(k)} = {_value(v)}" for k, v in plain.items()]
    for key, value in table.items():
        if isinstance(value, dict):
            _table(lines, (*path, key), value)
    for key, value in table.items():
        for entry in value if _tables(value) else ():
            lines += ["", f"[[{'.'.join(_key(p) for p in (*path, key))}]]"]
            lines += [f"{_key(k)} = {_value(v)}" for k, v in entry.items()]


def _tables(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(v, dict) for v in value)


def _key(key: str) -> str:
    bare = key and all(c.isascii() and (c.isalnum() or c in "_-") for c in key)
    return key if bare else json.dumps(key, ensure_ascii=False)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + " }"
    return "[" + ", ".join(_value(v) for v in value) + "]"


def write_new(path: Path, words: str) -> None:
    """Write a file that must not exist yet, whole or not at all. Raises OSError; FileExistsError if it is there."""
    handle, beside = tempfile.mkstemp(dir=path.parent, prefix=".scenario-", suffix=".part")
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(words)
        as_any_new_file(beside)
        # A link fails where the name is taken: nothing is ever overwritten, not even in a race.
        try:
            os.link(beside, path)
        except (OSError, NotImplementedError) as problem:
            if path.exists():
                raise FileExistsError(f"{path.name} is already there") from problem
            os.rename(beside, path)
    finally:
        Path(beside).unlink(missing_ok=True)
