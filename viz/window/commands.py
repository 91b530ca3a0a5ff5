"""The commands of the key table that the window itself does."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from .deck import Deck
from .frame import Frame
from .input import Input
from .keys import CLOCK, WINDOW, Key
from .sound import Sound
from .stage import Stage

#: What works while a sheet lies above the screen.
ALWAYS = frozenset({"quit", "larger", "smaller", "normal", "back"})
SHEETS = ("keys", "check", "open", "save", "export")


class Window(Protocol):
    """What the commands need of the window."""

    alive: bool
    full_screen: bool

    @property
    def stage(self) -> Stage: ...

    @property
    def sound(self) -> Sound: ...

    @property
    def input(self) -> Input: ...

    @property
    def deck(self) -> Deck: ...

    @property
    def on_full_screen(self) -> Callable[[bool], None]: ...

    @property
    def frame(self) -> Frame: ...

    def show_sheet(self, name: str) -> None: ...

    def set_scale(self, scale: float) -> None: ...


class Commands:
    """Each command of the groups Clock and Window, and undo and redo, by name."""

    def __init__(self, window: Window) -> None:
        self._window = window
        stage = window.stage
        self.does: dict[str, Callable[[], None]] = {
            "play": lambda: stage.clock.toggle(),
            "step back": lambda: stage.clock.step(-1),
            "step on": lambda: stage.clock.step(1),
            "leg back": lambda: self._leg(-1),
            "leg on": lambda: self._leg(1),
            "to start": lambda: stage.clock.go(0.0),
            "to end": lambda: stage.clock.go(stage.clock.end_s),
            "slower": lambda: stage.clock.faster(-1),
            "faster": lambda: stage.clock.faster(1),
            "repeat": lambda: window.frame.clock_bar.cycle(),
            "undo": lambda: stage.session.undo(),
            "redo": lambda: stage.session.redo(),
            "theme": self._theme,
            "drawer": self._drawer,
            "larger": lambda: window.set_scale(stage.scale * 1.1),
            "smaller": lambda: window.set_scale(stage.scale / 1.1),
            "normal": lambda: window.set_scale(stage.normal),
            "full screen": lambda: self._full_screen(not window.full_screen),
            "present": lambda: self._present(not stage.presenting),
            "sound": lambda: stage.say(window.sound.toggle(stage.clock.speed)),
            "lessons": lambda: (
                window.frame.lessons.begin() if window.frame.lessons.card is None else window.frame.lessons.end()
            ),
            "quit": self._quit,
            "back": self._back,
            **{name: self._sheet(name) for name in SHEETS},
            **{f"screen {k + 1}": self._screen(k) for k in range(5)},
        }

    def do(self, name: str) -> bool:
        """Do a command; False if there is none of that name, or it means nothing below a sheet."""
        if name not in self.does or (self._window.deck.sheet is not None and name not in ALWAYS):
            return False
        self.does[name]()
        return True

    def key(self, key: Key, clock: bool) -> None:
        """A key that no control and no screen wanted. clock: whether there is one to move."""
        if not (clock and self.do(CLOCK.command(key))) and not key.ctrl:
            self.do(WINDOW.command(key))

    def _leg(self, way: int) -> None:
        stage = self._window.stage
        stage.clock.leg(way, [corner.stop_s for corner in stage.session.shown.corners])

    def _sheet(self, name: str) -> Callable[[], None]:
        return lambda: self._window.show_sheet(name)

    def _screen(self, index: int) -> Callable[[], None]:
        def show() -> None:
            deck = self._window.deck
            if index < len(deck.screens):
                deck.show(deck.screens[index])

        return show

    def _theme(self) -> None:
        stage = self._window.stage
        stage.theme_name = "light" if stage.theme_name == "dark" else "dark"

    def _drawer(self) -> None:
        stage = self._window.stage
        if stage.narrow:
            stage.drawer_open = not stage.drawer_open

    def _full_screen(self, on: bool) -> None:
        self._window.full_screen = on
        self._window.on_full_screen(on)

    def _present(self, on: bool) -> None:
        """Presenting fills the screen."""
        self._window.stage.presenting = on
        self._window.input.drop_focus()
        if self._window.full_screen != on:
            self._full_screen(on)

    def _quit(self) -> None:
        self._window.alive = False

    def _back(self) -> None:
        """Close what is open: the sheet, else the focus, the drawer, the full screen."""
        window = self._window
        if window.deck.sheet is not None:
            window.deck.close_sheet()
        elif window.frame.lessons.card is not None:
            window.frame.lessons.end()
        elif window.input.focus is not None:
            window.input.drop_focus()
        elif window.stage.drawer_open and window.stage.narrow:
            window.stage.drawer_open = False
        elif window.stage.presenting:
            self._present(False)
        elif window.full_screen:
            self._full_screen(False)
