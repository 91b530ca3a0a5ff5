"""The window's state and its one step: events in, picture out. It knows no display; `run` gives it a surface."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence

import pygame

from ..charts.shown import Shown
from ..draw.canvas import focus_ring, surface
from ..draw.theme import THEMES, Look, look
from ..result import RunResult
from .chrome import draw_alarm, draw_message, draw_tooltip
from .clock import Clock
from .clock_bar import ClockBar
from .controls.buttons import Button, Tab
from .controls.control import Control
from .controls.dropdown import DropDown
from .input import Input
from .screens.compare import CompareScreen
from .screens.mixing import MixingScreen
from .screens.printed import PrintScreen
from .screens.ringing import RingingScreen
from .screens.screen import Screen
from .session import Runner, Session, default_runner
from .sheets.check import CheckSheet
from .sheets.export import ExportSheet
from .sheets.open import OpenSheet
from .sheets.save import SaveSheet
from .sheets.sheet import KeysSheet, Sheet

SMALLEST = (1024, 680)
SCALES = (0.8, 2.5)
TOP_BAR = 56
TOOLTIP_AFTER_S = 0.5


class App(Input):
    """Everything the window shows and does. All of it happens in `step`, on the caller's thread.

    results: what to open with, the first one is worked on.  runner: simulates a scenario with changes.
    filming: no focus, tooltips or buttons that only a hand needs.
    """

    def __init__(
        self,
        results: Sequence[RunResult],
        *,
        runner: Runner = default_runner,
        theme: str = "dark",
        scale: float = 1.0,
        size: tuple[int, int] = (1280, 800),
        initial_screen: str = "ringing",
        filming: bool = False,
    ) -> None:
        self.filming = filming
        self._factor = 1
        self.runner = runner
        self.theme_name = theme if theme in THEMES else "dark"
        self.scale = scale
        self.size = size
        self.alive = True
        self.full_screen = False
        self.reduce_motion = False
        self.time_s = 0.0
        self.frame_s = 0.0
        self.focus: Control | None = None
        self.focus_by_key = False
        self.hovered: Control | None = None
        self.active: Control | None = None
        self.drawer_open = False
        self.sheet: Sheet | None = None
        self.message = ""
        self._message_until = 0.0
        self._pos = (-1, -1)
        self._mods = 0
        self._still_s = 0.0
        self._tip_asked = False
        self._last_press: tuple[float, Control | None, tuple[int, int]] = (-10.0, None, (0, 0))
        self._controls: list[Control] = []
        self._dirty = True
        self._was_running = False
        self.on_full_screen: Callable[[bool], None] = lambda _: None
        self.sessions: list[Session] = []
        self.screens: list[Screen] = []
        self.open(results, initial_screen)

    def open(self, results: Sequence[RunResult], screen: str = "ringing") -> None:
        """Work on other results: new sessions, screens and clock."""
        self.close()
        self.sessions = [Session(Shown(result), self.runner) for result in results]
        self.clock = Clock(self.session.shown.end_s)
        self.session.on_result = self._new_result
        self.clock_bar = ClockBar(self)
        self.screens = self._make_screens()
        self.screen = next((s for s in self.screens if s.name == screen), self.screens[0])
        self.screen.entered()
        self.sheet = None
        self._drop_focus()
        self.active = self.hovered = None
        self._make_bar()
        self._dirty = True

    def _make_screens(self) -> list[Screen]:
        return [MixingScreen(self), RingingScreen(self), CompareScreen(self), PrintScreen(self)]

    @property
    def session(self) -> Session:
        """The first scenario: what settings change."""
        return self.sessions[0]

    # ---- size and look

    @property
    def effective_scale(self) -> float:
        """The scale asked for, as far as the window has room for the smallest layout at it."""
        room = min(self.size[0] / SMALLEST[0], self.size[1] / SMALLEST[1])
        return max(SCALES[0], min(self.scale * self._factor, room))

    @property
    def look(self) -> Look:
        return look(self.theme_name, round(self.effective_scale, 3))

    @property
    def narrow(self) -> bool:
        """Under 1280 wide (at scale 1) the settings are a drawer."""
        return self.size[0] / self.effective_scale < 1280

    @property
    def low(self) -> bool:
        """Under 760 high (at scale 1) spectrum and print share a panel."""
        return self.size[1] / self.effective_scale < 760

    def set_scale(self, scale: float) -> None:
        """A new scale, within 80 to 250 %."""
        self.scale = min(SCALES[1], max(SCALES[0], scale))
        shown = round(self.effective_scale * 100)
        note = "" if abs(self.effective_scale - self.scale) < 1e-6 else ", as much as this window has room for"
        self.say(f"Scale {shown} %{note}")

    def resize(self, size: tuple[int, int]) -> None:
        """The window has another size."""
        self.size = size
        self._dirty = True

    def toggle_theme(self) -> None:
        self.theme_name = "light" if self.theme_name == "dark" else "dark"
        self._make_bar()

    def say(self, words: str, seconds: float = 3.0) -> None:
        """A short message at the foot of the content."""
        self.message = words
        self._message_until = self.time_s + seconds

    # ---- top bar

    def _make_bar(self) -> None:
        self.tabs = [
            Tab(f"tab {s.name}", s.title, self._shower(s), f"Ctrl+{k + 1}", chosen=s is self.screen)
            for k, s in enumerate(self.screens)
        ]
        other = "Light" if self.theme_name == "dark" else "Dark"
        self.bar_buttons = [
            Button("check", "Check", self.show_check, "What of this design will not work, and what to change (K)."),
            Button("open", "Open", self.show_open, "Another scenario (Ctrl+O)."),
            Button("save", "Save", self.show_save, "Save the changed settings as a new scenario file (Ctrl+S)."),
            Button("export", "Export", self.show_export, "A picture or a film of this screen (E)."),
            Button("theme", other, self.toggle_theme, "Dark or light (T)."),
            Button("keys", "?", self.show_keys, "What every key does, and the cautions."),
        ]
        self.drawer_button = Button("settings drawer", "Settings", self.toggle_drawer, "Show or hide the settings (S).")

    def _shower(self, screen: Screen) -> Callable[[], None]:
        return lambda: self.show(screen)

    def show(self, screen: Screen) -> None:
        """Bring a screen into view."""
        if screen is not self.screen:
            self.screen.left()
            self.screen = screen
            self._dirty = True
            self.clock.set_end(self.session.shown.end_s)
            screen.entered()
            for tab, s in zip(self.tabs, self.screens, strict=True):
                tab.chosen = s is screen

    def toggle_drawer(self) -> None:
        self.drawer_open = not self.drawer_open

    def show_keys(self) -> None:
        self.open_sheet(KeysSheet(self))

    def show_check(self) -> None:
        self.open_sheet(CheckSheet(self))

    def show_open(self) -> None:
        self.open_sheet(OpenSheet(self))

    def show_save(self) -> None:
        self.open_sheet(SaveSheet(self))

    def show_export(self) -> None:
        self.clock.playing = False
        self.open_sheet(ExportSheet(self))

    def open_sheet(self, sheet: Sheet) -> None:
        """Put a sheet above the screen; it takes all events until it is closed."""
        self._drop_focus()
        self.sheet = sheet
        self._dirty = True

    def close_sheet(self) -> None:
        if self.sheet is not None:
            self.sheet.close()
        self.sheet = None
        self._dirty = True
        self._drop_focus()

    # ---- one step

    def step(self, dt: float, events: Sequence[pygame.event.Event], target: pygame.Surface | None = None) -> bool:
        """Handle events, let `dt` seconds pass, draw if anything changed; True if it drew."""
        self.time_s += dt
        self.frame_s = dt * self.clock.speed if self.clock.playing else 0.0
        if events:
            self._layout()
            for event in events:
                self._handle(event)
            self._dirty = True
        moved = self.screen.advance(dt)
        moved |= self.screen.uses_clock and self.clock.advance(dt)
        for session in self.sessions:
            moved |= session.poll()
        moved |= self._tooltip_due(dt)
        if self.message and self.time_s > self._message_until:
            self.message = ""
            moved = True
        if self.sheet is not None:
            moved |= self.sheet.advance(dt)
        running = self.screen.running or any(session.running for session in self.sessions)
        moved |= running != self._was_running  # only the word "running" changes meanwhile: drawing would slow the run
        self._was_running = running
        if not (moved or self._dirty) or target is None:
            return False
        self._layout()
        self.draw(target)
        self._dirty = False
        return True

    def _new_result(self) -> None:
        self.clock.set_end(max(s.shown.end_s for s in self.sessions[:1]))
        for screen in self.screens:
            screen.result_changed()

    def close(self) -> None:
        """Stop the workers; the window may go."""
        for session in self.sessions:
            session.close()
        for screen in self.screens:
            screen.close()
        if self.sheet is not None:
            self.sheet.close()
            self.sheet = None

    def wait_until_ready(self, longest_s: float = 120.0) -> None:
        """Let everything that runs for the present screen finish (films and pictures have nobody to wait for it)."""
        until = time.monotonic() + longest_s
        while time.monotonic() < until:
            self.screen.advance(0.0)
            if not self.screen.running and not any(s.running for s in self.sessions):
                break
            for session in self.sessions:
                session.poll()
            time.sleep(0.005)
        self.screen.advance(0.0)

    def render(self, factor: int = 1) -> tuple[pygame.Surface, Look, dict[str, pygame.Rect]]:
        """The screen as it is, without sheet, focus and tooltips, `factor` times as fine; its look and its panels."""
        size, focus, sheet, message = self.size, self.focus, self.sheet, self.message
        self.focus, self.sheet, self.message = None, None, ""
        self.size, self._factor = (size[0] * factor, size[1] * factor), factor
        hovered, self.hovered = self.hovered, None
        try:
            image = surface(self.size)
            self._layout()
            self.draw(image)
            return image, self.look, self.screen.panels()
        finally:
            self.size, self._factor = size, 1
            self.focus, self.sheet, self.message, self.hovered = focus, sheet, message, hovered
            self._layout()

    def twin(self, size: tuple[int, int]) -> App:
        """A second window without a display that shows the same, for filming."""
        from ..film import film_app

        twin = film_app([s.shown.result for s in self.sessions], self.screen.name, self.theme_name, size)
        twin.screen.like(self.screen)
        twin.wait_until_ready()
        return twin

    def draw_now(self, target: pygame.Surface) -> None:
        """Lay out and draw, whatever has changed."""
        self._layout()
        self.draw(target)

    # ---- layout and drawing

    def content(self) -> pygame.Rect:
        """Between top bar and clock bar, inside the outer margin."""
        style = self.look
        margin, top = style.px(24), style.px(TOP_BAR)
        bottom = style.px(ClockBar.HEIGHT) if self.screen.uses_clock else 0
        upper = style.px(18) if self.low else margin
        return pygame.Rect(margin, top + upper, self.size[0] - 2 * margin, self.size[1] - top - bottom - 2 * upper)

    def _layout(self) -> None:
        style = self.look
        height = style.px(TOP_BAR)
        x = style.px(24)
        controls: list[Control] = []
        for tab in self.tabs:
            tab.rect = pygame.Rect(x, 0, tab.natural_width(style), height)
            x = tab.rect.right + style.px(34)
            controls.append(tab)
        buttons = [] if self.filming else list(self.bar_buttons)
        if self.narrow and self.screen.name == "ringing" and not self.filming:
            self.drawer_button.chosen = self.drawer_open
            buttons.insert(0, self.drawer_button)
        right = self.size[0] - style.px(24)
        for button in reversed(buttons):
            width = max(style.px(36), button.natural_width(style))
            button.rect = pygame.Rect(right - width, (height - style.px(32)) // 2, width, style.px(32))
            right = button.rect.x - style.px(10)
        controls += buttons
        controls += self.screen.layout(self.content(), style)
        if self.screen.uses_clock:
            bar = pygame.Rect(0, self.size[1] - style.px(ClockBar.HEIGHT), self.size[0], style.px(ClockBar.HEIGHT))
            controls += self.clock_bar.layout(bar, style)
        if self.sheet is not None:
            controls = self.sheet.layout(pygame.Rect((0, 0), self.size), style)
        self._controls = controls
        for control in controls:
            if isinstance(control, DropDown):
                control.bounds = pygame.Rect((0, 0), self.size)
        if self.focus is not None and self.focus not in controls:
            self._drop_focus()

    def draw(self, target: pygame.Surface) -> None:
        """The whole window onto `target`."""
        style = self.look
        target.fill(style.theme.page)
        self.screen.draw(target, style)
        self._draw_bar(target, style)
        if self.screen.uses_clock:
            self.clock_bar.draw(target, style)
        draw_alarm(self, target, style)
        if self.sheet is not None:
            self.sheet.draw(target, style)
        if self.focus is not None and self.focus in self._controls:
            focus_ring(target, style, self.focus.ring_rect())
        for control in self._controls:
            control.draw_over(target, style)
        draw_message(self, target, style)
        draw_tooltip(self, target, style)

    def _draw_bar(self, target: pygame.Surface, style: Look) -> None:
        height = style.px(TOP_BAR)
        target.fill(style.theme.panel, (0, 0, self.size[0], height))
        target.fill(style.theme.line, (0, height - 1, self.size[0], style.px(1)))
        bar: list[Control] = [
            c for c in (*self.tabs, self.drawer_button, *self.bar_buttons) if c in self._controls or self.sheet
        ]
        for control in bar:
            if control is self.drawer_button and not self.narrow:
                continue
            control.draw(target, style, focused=self.focus is control, hovered=self.hovered is control)

    # ---- tooltips

    def tip_words(self) -> tuple[str, tuple[int, int]]:
        """What a tooltip says now, and the place it hangs from."""
        if self._tip_asked and self.focus is not None:
            return self.focus.tip, self.focus.ring_rect().midbottom
        if self.hovered is not None and self._still_s >= TOOLTIP_AFTER_S and self.active is None:
            return self.hovered.tip_at(self._pos), (self._pos[0], self._pos[1] + 18)
        return "", (0, 0)

    def _tooltip_due(self, dt: float) -> bool:
        before = self._still_s
        self._still_s += dt
        return self.hovered is not None and before < TOOLTIP_AFTER_S <= self._still_s
