"""Saving the changed settings as a new scenario file: what was written, and the changes, nothing else."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pygame
from beltspring.sim import BeltspringError, with_changes

from ...draw import text
from ...draw.theme import Look
from ...files.drawn import is_drawn
from ...files.scenario import tree_toml, write_new
from ..controls.buttons import Button
from ..controls.control import Control
from ..controls.field import TextField
from ..stage import Stage
from .sheet import Sheet


def with_program_beside(tree: dict[str, Any], path: Path) -> dict[str, Any]:
    """The tree with a program that was drawn here copied beside the file, under its name: what is kept for a while only
    must not be referred to. Raises OSError."""
    program = Path(str(tree.get("move", {}).get("gcode") or ""))
    if not is_drawn(program):
        return tree
    beside = path.with_name(f"{path.stem}-path.gcode")
    write_new(beside, program.read_text(encoding="utf-8"))
    return {**tree, "move": {**tree["move"], "gcode": beside.name}}


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
            write_new(path, tree_toml(with_program_beside(changed.tree, path)))
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
