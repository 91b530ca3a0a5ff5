"""Saving the changed settings as a new scenario file: what was written, and the changes, nothing else."""

from __future__ import annotations

import json
import os
import tempfile
from pathlib import Path
from typing import Any

import pygame
from beltspring.sim.errors import BeltspringError
from beltspring.sim.scenario.load import with_changes

from ...draw import text
from ...draw.theme import Look
from ..controls.buttons import Button
from ..controls.control import Control
from ..controls.field import TextField
from ..stage import Stage
from .sheet import Sheet


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
        umask = os.umask(0)
        os.umask(umask)
        os.chmod(beside, 0o666 & ~umask)
        # A link fails where the name is taken: nothing is ever overwritten, not even in a race.
        try:
            os.link(beside, path)
        except (OSError, NotImplementedError) as problem:
            if path.exists():
                raise FileExistsError(f"{path.name} is already there") from problem
            os.rename(beside, path)
    finally:
        Path(beside).unlink(missing_ok=True)


class SaveSheet(Sheet):
    """One field with a path. An existing file is refused."""

    title = "Save as a new scenario"
    size = (640, 240)

    def __init__(self, stage: Stage) -> None:
        super().__init__(stage)
        label = str(getattr(stage.session.scenario, "label", "scenario.toml"))
        self.field = TextField(
            "file", f"{Path(label).stem}-changed.toml", self._save, "Path of the file to write; Enter saves."
        )
        self.field.line.select_all()
        self.save = Button(
            "save file",
            "Save",
            lambda: self._save(self.field.line.words),
            "Write the file; an existing one is refused.",
        )
        self.trouble = ""

    def _save(self, name: str) -> None:
        session = self.stage.session
        name = name.strip()
        self.trouble = ""
        if not name:
            self.trouble = "give the file a name"
            return
        path = Path(name if name.endswith(".toml") else f"{name}.toml").expanduser()
        try:
            changed = (
                with_changes(session.scenario, session.changes, source="a setting")
                if session.changes
                else session.scenario
            )
            write_new(path, tree_toml(changed.tree))
        except FileExistsError:
            self.trouble = f"{path}: a file of that name is already there; choose another name"
        except BeltspringError as error:
            self.trouble = " ".join(str(error).split())
        except OSError as error:
            self.trouble = f"{path}: {error.strerror or error}"
        else:
            self.stage.close_sheet()
            self.stage.say(f"Saved {path}")

    def controls(self, look: Look) -> list[Control]:
        inner = self.inner(look)
        w = self.save.natural_width(look)
        y = inner.y + look.px(30)
        self.field.rect = pygame.Rect(inner.x, y, inner.w - w - look.px(10), look.px(36))
        self.save.rect = pygame.Rect(inner.right - w, y, w, look.px(36))
        return [self.field, self.save]

    def draw_inner(self, target: pygame.Surface, look: Look, rect: pygame.Rect) -> None:
        count = len(self.stage.session.changes)
        what = (
            f"The scenario with {count} change{'s' if count != 1 else ''} made here."
            if count
            else "The scenario as opened; nothing has been changed."
        )
        text.draw(target, look, what, rect.x, rect.y + look.px(14), 16, colour=look.theme.dim)
        y = self.field.rect.bottom + look.px(24)
        for line in text.wrap(look, f"! {self.trouble}", rect.w, 14)[:3] if self.trouble else []:
            text.draw(target, look, text.fit(look, line, rect.w, 14), rect.x, y, 14, colour=look.theme.alarm)
            y += look.px(19)
