"""The screens of the window, the one in view, and the sheet that may lie above it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from beltspring.sim import Report

from .film_pages import page_film
from .filming import Filmed
from .memory import give_back
from .pictures import Pictured, render
from .screens.compare import CompareScreen
from .screens.mixing import MixingScreen
from .screens.printed import PrintScreen
from .screens.ringing import RingingScreen
from .screens.screen import Screen
from .screens.what_moves import WhatMovesScreen
from .sheets.check import CheckSheet
from .sheets.export import ExportSheet
from .sheets.keys import KeysSheet
from .sheets.open import OpenSheet
from .sheets.save import SaveSheet
from .stage import Laid, Stage
from .watched import Watched


def screens_of(stage: Stage) -> list[Screen]:
    """Every screen, in the order of the tabs."""
    compare = CompareScreen(stage)
    return [
        MixingScreen(stage), RingingScreen(stage), WhatMovesScreen(stage), compare, PrintScreen(stage, compare.fleet)
    ]  # fmt: skip


class Deck:
    """What is in view. first: the name of the screen to begin with.  changed: called when another screen or sheet is."""

    def __init__(self, stage: Stage, first: str, changed: Callable[[], None]) -> None:
        self.stage = stage
        self.changed = changed
        self.sheet: Laid | None = None
        self.screens: Sequence[Screen] = screens_of(stage)
        self.screen = next((s for s in self.screens if s.name == first), self.screens[0])
        self.screen.in_view = True
        stage.show_way, stage.show = self.show_way, lambda name: self.show(self.named(name))
        stage.open_sheet, stage.close_sheet = self.open_sheet, self.close_sheet
        self.screen.entered()

    def show(self, screen: Screen) -> None:
        """Bring a screen into view."""
        if screen is self.screen:
            return
        stage = self.stage
        stage.input.let_go()
        self.screen.left()
        give_back()
        self.screen.in_view = False
        self.screen = screen
        screen.in_view = True
        self.changed()
        stage.clock.set_end(stage.session.shown.end_s)
        screen.entered()

    def named(self, name: str) -> Screen:
        """The screen of a name."""
        return next(screen for screen in self.screens if screen.name == name)

    def show_way(self, hertz: float) -> None:
        """Bring into view what moves at about a frequency, Hz."""
        moves = next(s for s in self.screens if isinstance(s, WhatMovesScreen))
        self.show(moves)
        moves.choose_near(hertz)

    def open_sheet(self, sheet: Laid) -> None:
        """Put a sheet above the screen; it takes all events until it is closed."""
        self.stage.input.drop_focus()
        self.sheet = sheet
        self.changed()

    def close_sheet(self) -> None:
        """Take the sheet away."""
        if self.sheet is not None:
            self.sheet.close()
        self.sheet = None
        self.changed()
        self.stage.input.drop_focus()

    def close(self) -> None:
        """Stop the workers of every screen, and of the sheet."""
        for screen in self.screens:
            screen.close()
        if self.sheet is not None:
            self.sheet.close()
            self.sheet = None


def sheet_named(
    name: str,
    window: Pictured,
    twin: Callable[[tuple[int, int]], Filmed],
    opened: Callable[[Report, Watched | None], None],
) -> Laid:
    """The sheet of a command: keys, check, open, save or export. opened: called with what was opened."""
    stage = window.stage
    if name == "keys":
        return KeysSheet(stage)
    if name == "check":
        return CheckSheet(stage)
    if name == "open":
        return OpenSheet(stage, opened)
    if name == "save":
        return SaveSheet(stage)
    stage.clock.playing = False
    return ExportSheet(stage, window.screen, lambda factor: render(window, factor), twin, page_film)
