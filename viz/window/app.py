"""The window's state and its one step: events in, picture out. It knows no display; `run` gives it a surface."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pygame
from beltspring.sim import Prices, Report

from ..charts.shown import Shown
from ..draw.stamp import HEIGHT
from ..draw.theme import THEMES, Look
from . import memory
from .clock import Clock
from .commands import Commands
from .deck import Deck, sheet_named
from .frame import Frame
from .input import Input, key_of
from .keys import Key
from .lessons import Lessons
from .pictures import render, wait_until_ready
from .screens.screen import Screen
from .session import Runner, Session, default_runner
from .sound import Sound
from .stage import SCALES, Laid, Stage
from .top_bar import TopBar
from .watched import EVERY_S, Watched

#: What ends the greeting.
TOUCHES = (pygame.MOUSEBUTTONDOWN, pygame.KEYDOWN, pygame.MOUSEWHEEL)
LAYOUT_WIDTH = 1280.0  # a smaller film is laid out at this width and scaled down


class App:
    """Everything the window shows and does. All of it happens in `step`, on the caller's thread.

    results: what to open with, the first one is worked on.  runner: simulates a scenario with changes.
    filming: no focus, tooltips or buttons that only a hand needs.  files: where each result came from, watched.
    prices: what parts cost, for Compare and the search.
    """

    def __init__(
        self,
        results: Sequence[Report],
        *,
        runner: Runner = default_runner,
        theme: str = "dark",
        scale: float = 1.0,
        size: tuple[int, int] = (1280, 800),
        initial_screen: str = "ringing",
        filming: bool = False,
        files: Sequence[Watched | None] = (),
        prices: Prices | None = None,
    ) -> None:
        memory.keep_together()
        self.input = Input(self)
        theme = theme if theme in THEMES else "dark"
        self.stage = Stage(runner, self.input, self.say, theme, scale, size, filming, prices)
        self.commands, self.sound = Commands(self), Sound()
        self.alive = True
        self.full_screen = False
        self.time_s = 0.0
        self.message = ""
        self._message_until = 0.0
        self._dirty = True
        self._was_running = False
        self.on_full_screen: Callable[[bool], None] = lambda _: None
        self._looked_s = self._trimmed_s = 0.0
        self._begin(results, initial_screen, files)

    def open(self, results: Sequence[Report], screen: str = "ringing", files: Sequence[Watched | None] = ()) -> None:
        """Work on other results: new sessions, screens and clock. files: where each came from, watched."""
        self.close()
        self._begin(results, screen, files)

    def _begin(self, results: Sequence[Report], screen: str, files: Sequence[Watched | None]) -> None:
        stage = self.stage
        every = [*files, *([None] * len(results))]
        stage.sessions = [Session(Shown(r), stage.runner, watched=f) for r, f in zip(results, every, strict=False)]
        stage.clock = Clock(stage.session.shown.end_s)
        stage.session.on_result = self._new_result
        self.deck = Deck(stage, screen, self._changed)
        self.input.let_go()
        lessons = Lessons(stage, self.deck.named)
        self.frame = Frame(stage, TopBar(stage, self.deck.screens, self.deck.show, self.commands.do), lessons)
        self._dirty = True

    def _changed(self) -> None:
        self._dirty = True

    # ---- what of the stage is asked for most

    @property
    def session(self) -> Session:
        """The first scenario: what settings change."""
        return self.stage.session

    @property
    def sessions(self) -> list[Session]:
        return self.stage.sessions

    @property
    def screens(self) -> Sequence[Screen]:
        return self.deck.screens

    @property
    def screen(self) -> Screen:
        """The one in view."""
        return self.deck.screen

    @property
    def sheet(self) -> Laid | None:
        return self.deck.sheet

    @sheet.setter
    def sheet(self, sheet: Laid | None) -> None:
        self.deck.sheet = sheet

    @property
    def clock(self) -> Clock:
        return self.stage.clock

    @property
    def look(self) -> Look:
        return self.stage.look

    @property
    def size(self) -> tuple[int, int]:
        return self.stage.size

    # ---- wishes

    def set_scale(self, scale: float) -> None:
        """A new scale, within 80 to 250 %."""
        stage = self.stage
        stage.scale = min(SCALES[1], max(SCALES[0], scale))
        shown = round(stage.effective_scale * 100)
        note = "" if abs(stage.effective_scale - stage.scale) < 1e-6 else ", as much as this window has room for"
        self.say(f"Scale {shown} %{note}")

    def resize(self, size: tuple[int, int]) -> None:
        """The window has another size."""
        if size != self.stage.size:
            self.screen.left()
            memory.give_back()
        self.stage.size = size
        self._dirty = True

    def say(self, words: str, seconds: float = 3.0) -> None:
        """A short message at the foot of the content."""
        self.message = words
        self._message_until = self.time_s + seconds

    def show_sheet(self, name: str) -> None:
        """Open a sheet by its command: keys, check, open, save or export."""
        deck = self.deck
        deck.open_sheet(
            sheet_named(name, self, self.twin, lambda one, file: self.open([one], deck.screen.name, [file]))
        )

    # ---- events that no control takes

    @property
    def space_plays(self) -> bool:
        """Whether the space bar plays."""
        return self.screen.uses_clock

    def command(self, name: str) -> bool:
        """Do a command of the key table; False if it means nothing now."""
        return self.commands.do(name)

    def key(self, key: Key) -> None:
        """A key that the focused control did not want."""
        typing = self.input.focus is not None and self.input.focus.typing
        if self.sheet is not None:
            self.sheet.key(key)
        elif not (self.frame.lessons.key(key) or typing or self.screen.key(key)):
            self.commands.key(key, self.screen.uses_clock)

    def released(self, key: int) -> None:
        """A key came up."""
        self.screen.released(key)

    def _handle(self, event: pygame.event.Event) -> None:
        if event.type == pygame.QUIT:
            self.alive = False
        elif event.type in (pygame.VIDEORESIZE, pygame.WINDOWSIZECHANGED) and hasattr(event, "w"):
            self.resize((event.w, event.h))
            self.layout()
        else:
            self.input.handle(event)

    # ---- one step

    def step(self, dt: float, events: Sequence[pygame.event.Event], target: pygame.Surface | None = None) -> bool:
        """Handle events, let `dt` seconds pass, draw if anything changed; True if it drew."""
        self.time_s += dt
        self.input.time_s = self.time_s
        runs = self.clock.playing and self.sheet is None
        self.stage.frame_s = dt * self.clock.speed if runs else 0.0
        if events:
            if any(event.type in TOUCHES for event in events):
                self.stage.greeting = False
            self.layout()
            for event in events:
                if event.type == pygame.KEYDOWN and self.stage.presenting:
                    self.frame.presenting.pressed(key_of(event), self.time_s)
                self._handle(event)
            self._dirty = True
        moved = self._advance(dt)
        if not (moved or self._dirty) or target is None:
            return False
        self.draw_now(target)
        self._dirty = False
        return True

    def _advance(self, dt: float) -> bool:
        """Time passes for everything; True if something has to be drawn anew."""
        # Below a sheet time stands still.
        moved = self.screen.advance(dt if self.sheet is None else 0.0)
        moved |= (timed := self.sheet is None and self.screen.uses_clock) and self.clock.advance(dt)
        self.sound.follow(self.clock, self.screen.clock_shown or self.session.shown, dt, timed)
        if self.time_s - self._trimmed_s >= memory.EVERY_S:
            self._trimmed_s = self.time_s
            memory.trim()
        if self.time_s - self._looked_s >= EVERY_S:
            self._looked_s = self.time_s
            for session in filter(Session.look_at_file, self.sessions):
                self.say(f"Reading {session.scenario.label} anew")
        for session in self.sessions:
            moved |= session.poll()
        moved |= self.frame.lessons.advance() | self.input.tooltip_due(dt) | self.frame.presenting.due(self.time_s)
        if self.message and self.time_s > self._message_until:
            self.message = ""
            moved = True
        if self.sheet is not None:
            moved |= self.sheet.advance(dt)
        running = self.screen.running or any(session.running for session in self.sessions)
        moved |= running != self._was_running  # only the word "running" changes meanwhile: drawing would slow the run
        self._was_running = running
        return moved

    def _new_result(self) -> None:
        self.clock.set_end(max(s.shown.end_s for s in self.sessions[:1]))
        for screen in self.screens:
            screen.result_changed()

    def close(self) -> None:
        """Stop the workers; the window may go."""
        self.sound.close()
        for session in self.sessions:
            session.close()
        self.deck.close()
        self.frame.lessons.close()

    # ---- for pictures and films

    def wait_until_ready(self, longest_s: float = 120.0) -> None:
        """Let everything that runs for the present screen finish (films and pictures have nobody to wait for it)."""
        wait_until_ready(self, longest_s)

    def render(self, factor: int = 1) -> tuple[pygame.Surface, Look, dict[str, pygame.Rect]]:
        """The screen as it is, without sheet, focus and tooltips, `factor` times as fine; its look and its panels."""
        return render(self, factor)

    def twin(self, size: tuple[int, int]) -> App:
        """A second window without a display that shows the same, for filming."""
        results = [s.shown.result for s in self.sessions]
        twin = film_app(results, self.screen.name, self.stage.theme_name, size, self.stage.prices)
        twin.screen.like(self.screen)
        twin.wait_until_ready()
        return twin

    def draw_now(self, target: pygame.Surface) -> None:
        """Lay out and draw, whatever has changed."""
        self.layout()
        self.frame.draw(target, self.screen, self.sheet, self.message)

    def content(self) -> pygame.Rect:
        """Between top bar and clock bar, inside the outer margin."""
        return self.frame.content(self.screen)

    def layout(self) -> None:
        """Place everything, and tell the input what there is."""
        self.input.give(self.frame.layout(self.screen, self.sheet))


def film_app(
    results: Sequence[Report], screen: str, theme: str, size: tuple[int, int], prices: Prices | None = None
) -> App:
    """A window without a display for filming; the settings line fits below it in `size`."""
    factor = max(1.0, LAYOUT_WIDTH / size[0])
    width, height = round(size[0] * factor), round(size[1] * factor)
    return App(results, theme=theme, size=(width, height - HEIGHT), initial_screen=screen, filming=True, prices=prices)
