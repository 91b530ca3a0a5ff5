"""The bar at the top: a tab for each screen, and the buttons that open sheets."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pygame

from ..draw.theme import Look
from .controls.buttons import Button, Tab
from .controls.control import Control
from .screens.screen import Screen
from .stage import Stage


class TopBar:
    """Height 56. do: does a command of the key table, as every button here is also a key."""

    HEIGHT = 56

    def __init__(
        self, stage: Stage, screens: Sequence[Screen], show: Callable[[Screen], None], do: Callable[[str], object]
    ) -> None:
        self.stage, self.screens = stage, screens

        def doer(command: str) -> Callable[[], None]:
            def act() -> None:
                do(command)

            return act

        def shower(screen: Screen) -> Callable[[], None]:
            return lambda: show(screen)

        self.tabs = [
            Tab(f"tab {s.name}", s.title, shower(s), f"Ctrl+{k + 1}", chosen=s.in_view) for k, s in enumerate(screens)
        ]
        self.theme = Button("theme", "", doer("theme"), "Dark or light (T).")
        self.buttons = [
            Button("check", "Check", doer("check"), "What of this design will not work, and what to change (K)."),
            Button("open", "Open", doer("open"), "Another scenario (Ctrl+O)."),
            Button("save", "Save", doer("save"), "Save the changed settings as a new scenario file (Ctrl+S)."),
            Button("export", "Export", doer("export"), "A picture or a film of this screen (E)."),
            self.theme,
            Button("keys", "?", doer("keys"), "What every key does, and the cautions."),
        ]
        self.drawer = Button("settings drawer", "Settings", doer("drawer"), "Show or hide the settings (S).")
        self._placed: list[Button | Tab] = []

    def layout(self, width: int, look: Look) -> list[Control]:
        """Place everything along the top; returns the controls in focus order."""
        height = look.px(self.HEIGHT)
        x = look.px(24)
        for tab, screen in zip(self.tabs, self.screens, strict=True):
            tab.chosen = screen.in_view
        self.theme.label = "Light" if self.stage.theme_name == "dark" else "Dark"
        bare = self.stage.filming or self.stage.presenting
        buttons = [] if bare else list(self.buttons)
        ringing = any(s.in_view and s.name == "ringing" for s in self.screens)
        if self.stage.narrow and ringing and not bare:
            self.drawer.chosen = self.stage.drawer_open
            buttons.insert(0, self.drawer)
        right = width - look.px(24)
        space = look.px(10 if len(buttons) < 7 else 7)
        for button in reversed(buttons):
            room = max(look.px(36), button.natural_width(look))
            button.rect = pygame.Rect(right - room, (height - look.px(32)) // 2, room, look.px(32))
            right = button.rect.x - space
        wide = [tab.natural_width(look) for tab in self.tabs]
        gap = min(look.px(34), (right - x - sum(wide)) // len(wide))
        for tab, room in zip(self.tabs, wide, strict=True):
            tab.rect = pygame.Rect(x, 0, room, height)
            x += room + gap
        self._placed = [*self.tabs, *buttons]
        return list(self._placed)

    def draw(self, target: pygame.Surface, look: Look, width: int) -> None:
        """The bar with its tabs and buttons."""
        height = look.px(self.HEIGHT)
        target.fill(look.theme.panel, (0, 0, width, height))
        target.fill(look.theme.line, (0, height - 1, width, look.px(1)))
        self.stage.draw_controls(target, look, self._placed)
