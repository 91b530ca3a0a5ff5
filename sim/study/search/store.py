"""Results as they come, in one file, so that nothing is judged twice and nothing is lost: one writer, `sqlite3`.

A row is a design's answers under the hash of all that they depend on: its settings, the scenario, the prices, the judged
speeds, the catalogue and the version. A store may hold the results of several searches.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Mapping
from contextlib import suppress
from functools import cache
from importlib import resources
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from ...errors import InputError
from ...files import name_of, reason_of
from .worker import Answers, Task

FORM = 1
LOCKED_S = 5.0


class Store:
    """Answers by key. path: a file, made where there is none; None: kept in memory.

    Raises InputError for a file that cannot be written, is no store, or belongs to a search that is running.
    """

    def __init__(self, path: Path | None = None) -> None:
        self.path = path
        self.label = "the store" if path is None else f"{name_of(path)}"
        try:
            if path is not None and path.is_dir():
                raise InputError(f"{self.label} is a folder; give the name of a file for --store")
            self._base = sqlite3.connect(":memory:" if path is None else path, timeout=LOCKED_S, isolation_level=None)
            if path is not None:
                self._base.execute("PRAGMA locking_mode = EXCLUSIVE")
                self._base.execute("PRAGMA synchronous = NORMAL")
            self._base.execute("BEGIN IMMEDIATE")
            (form,) = self._base.execute("PRAGMA user_version").fetchone()
            tables = [name for (name,) in self._base.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
            if form not in (0, FORM) or (tables and tables != ["answers"]):
                self._base.close()
                raise InputError(f"{self.label} is no store of this program's searches; give another file for --store")
            self._base.execute("CREATE TABLE IF NOT EXISTS answers (key TEXT PRIMARY KEY, said TEXT NOT NULL)")
            self._base.execute(f"PRAGMA user_version = {FORM}")
            self._base.execute("COMMIT")
        except sqlite3.Error as error:
            raise InputError(_words(self.label, error)) from None

    def get(self, key: str) -> Answers | None:
        """The answers of a key, None where it was never judged."""
        try:
            row = self._base.execute("SELECT said FROM answers WHERE key = ?", (key,)).fetchone()
            return None if row is None else dict(json.loads(row[0]))
        except (sqlite3.Error, ValueError) as error:
            raise InputError(_words(self.label, error)) from None

    def put(self, key: str, said: Mapping[str, Any]) -> None:
        """Keep answers; on the disk when this returns."""
        try:
            self._base.execute("INSERT OR REPLACE INTO answers VALUES (?, ?)", (key, written(said)))
        except sqlite3.Error as error:
            raise InputError(_words(self.label, error)) from None

    def close(self) -> None:
        """Give the file back."""
        self._base.close()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _words(label: str, error: Exception) -> str:
    if isinstance(error, sqlite3.DatabaseError) and "locked" in str(error):
        return f"{label} belongs to a search that is running; wait for it, or give another file for --store"
    if isinstance(error, sqlite3.DatabaseError) and "not a database" in str(error):
        return f"{label} is no store of this program's searches; give another file for --store"
    if "full" in str(error):
        return f"{label} cannot be written, its disk is full; what was stored is kept, make room and run it again"
    if isinstance(error.__cause__, OSError):
        return f"{label}: {reason_of(error.__cause__)}"
    return f"{label} cannot be used ({error}); give another file for --store"


def written(said: Mapping[str, Any]) -> str:
    """Answers as text, the same for the same answers to the last bit."""
    return json.dumps(said, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def keys_of(task: Task) -> Keys:
    """How the keys of a search are made."""
    about = {
        "scenario": task.scenario.tree,
        "prices": None if task.prices is None else repr(task.prices),
        "paces": [task.paces.factors, task.paces.speed_m_s, task.paces.corners],
        "asked": sorted(task.goals.asked),
        # What breaks a rule that is known first is not simulated: the rules belong to the answers.
        "keep": [rule.words for rule in task.goals.keep],
        "engine": _engine(),
    }
    return Keys(hashlib.sha256(json.dumps(about, sort_keys=True, default=str).encode()).hexdigest())


class Keys:
    """Keys of one search. kind: "quick" | "thorough" | "check"."""

    def __init__(self, search: str) -> None:
        self.search = search

    def of(self, kind: str, settings: Mapping[str, Any]) -> str:
        """The key of a design's answers."""
        return hashlib.sha256(f"{self.search} {kind} {written(settings)}".encode()).hexdigest()[:32]


@cache
def _engine() -> str:
    """Version and sources of the engine and its catalogue: other code, other answers."""
    made = hashlib.sha256()
    with suppress(PackageNotFoundError):
        made.update(version("beltspring").encode())
    root = resources.files("beltspring.sim")
    for path in sorted(Path(str(root)).rglob("*")):
        if path.suffix in (".py", ".toml"):
            made.update(path.name.encode() + path.read_bytes())
    return made.hexdigest()


def digest(rows: Mapping[str, Mapping[str, Any]]) -> str:
    """Sixteen signs that are the same for the same answers to the last bit, in whatever order they came."""
    made = hashlib.sha256()
    for key in sorted(rows):
        made.update(f"{key} {written(rows[key])}\n".encode())
    return made.hexdigest()[:16]
