"""Opening another scenario: the shipped ones by title, or a file by its path."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path

import pygame
from beltspring.sim import BeltspringError, Report, load, shipped

from ...draw import text
from ...draw.theme import Look
from ...files.fit_read import read_fit
from ..controls.buttons import Button
from ..controls.control import Control
from ..controls.field import TextField
from ..jobs import Worker
from ..session import words_of
from ..stage import Stage
from ..watched import Watched, watched
from .fit import FitSheet
from .sheet import Sheet


class OpenSheet(Sheet):
    """A button for each shipped scenario, and a field for a path. The run happens off the drawing thread."""

    title = "Open a scenario"

    def __init__(self, stage: Stage, opened: Callable[[Report, Watched | None], None]) -> None:
        super().__init__(stage)
        self._opened = opened
        self.shipped = shipped()
        self.buttons = [
            Button(f"open {s.name}", s.title, self._opener(s.name), f"The shipped scenario {s.name}.")
            for s in self.shipped
        ]
        self.field = TextField(
            "path",
            "",
            self._go,
            "Path of a scenario file, or of a fit's folder; Enter opens it.",
            "path of a scenario file, or of the folder of a fit",
        )
        self.go = Button("open path", "Open", lambda: self._go(self.field.line.words), "Open the file of that path.")
        self.worker: Worker[Report] = Worker(words_of)
        self.trouble = ""
        self.busy = ""
        self._path = Path()
        self.size = (640, 224 + 44 * ((len(self.buttons) + 1) // 2))

    def _opener(self, name: str) -> Callable[[], None]:
        return lambda: self._go(name)

    def _go(self, name: str) -> None:
        name = name.strip()
        if not name or self.busy:
            return
        path = Path(name).expanduser()
        if path.is_dir():
            self._fit(path)
            return
        self.trouble, self.busy, self._path = "", name, path
        runner = self.stage.runner
        self.worker.ask(lambda: runner(load(name), {}))

    def _fit(self, folder: Path) -> None:
        """Show what a fit left in a folder; from there its scenario is opened as any other."""
        try:
            saved = read_fit(folder)
        except BeltspringError as error:
            self.trouble = words_of(error)
            return

        def work_on() -> None:
            self.stage.open_sheet(self)
            self._go(str(saved.scenario))

        self.stage.open_sheet(FitSheet(self.stage, saved, work_on))

    def advance(self, dt: float) -> bool:
        for done in self.worker.poll():
            self.busy = ""
            if done.result is None:
                self.trouble = done.trouble
            else:
                self._opened(done.result, watched(self._path, partial(load, self._path), done.result.scenario))
                self.stage.say(f"Opened: {done.result.title}")
            return True
        return bool(self.busy)

    def close(self) -> None:
        self.worker.close(0.0)

    def controls(self, look: Look) -> list[Control]:
        inner = self.inner(look)
        gap = look.px(10)
        width = (inner.w - gap) // 2
        for k, button in enumerate(self.buttons):
            row, column = divmod(k, 2)
            button.rect = pygame.Rect(inner.x + column * (width + gap), inner.y + row * look.px(44), width, look.px(36))
        y = inner.y + look.px(44) * ((len(self.buttons) + 1) // 2) + look.px(12)
        w = self.go.natural_width(look)
        self.field.rect = pygame.Rect(inner.x, y, inner.w - w - gap, look.px(36))
        self.go.rect = pygame.Rect(inner.right - w, y, w, look.px(36))
        return [*self.buttons, self.field, self.go]

    def draw_inner(self, target: pygame.Surface, look: Look, rect: pygame.Rect) -> None:
        y = self.field.rect.bottom + look.px(26)
        if self.busy:
            text.draw(
                target, look, text.fit(look, f"running {self.busy}", rect.w, 16), rect.x, y, 16, colour=look.theme.dim
            )
        for line in text.wrap(look, f"! {self.trouble}", rect.w, 14)[:4] if self.trouble else []:
            text.draw(target, look, text.fit(look, line, rect.w, 14), rect.x, y, 14, colour=look.theme.alarm)
            y += look.px(19)
