"""Sheets: what is laid above a screen for a moment and takes all events until it is closed."""

from __future__ import annotations

import pygame

from ...draw import text
from ...draw.canvas import rounded
from ...draw.theme import Look
from ..controls.buttons import Button
from ..controls.control import Control, Key
from ..stage import Stage


class Sheet:
    """A panel in the middle of the window with a title and a Close button."""

    title = ""
    size = (720, 520)

    def __init__(self, stage: Stage) -> None:
        self.stage = stage
        self.closer = Button("close", "Close", stage.close_sheet, "Esc closes too.")
        self.rect = pygame.Rect(0, 0, 0, 0)
        self._back: pygame.Surface | None = None

    def layout(self, window: pygame.Rect, look: Look) -> list[Control]:
        """Place the sheet and its controls."""
        self.rect = pygame.Rect(
            0, 0, min(look.px(self.size[0]), window.w - 16), min(look.px(self.size[1]), window.h - 16)
        )
        self.rect.center = window.center
        width = self.closer.natural_width(look)
        self.closer.rect = pygame.Rect(
            self.rect.right - look.px(20) - width, self.rect.y + look.px(14), width, look.px(32)
        )
        return [*self.controls(look), self.closer]

    def inner(self, look: Look) -> pygame.Rect:
        """The room below the title."""
        pad = look.px(24)
        top = look.px(62)
        return pygame.Rect(self.rect.x + pad, self.rect.y + top, self.rect.w - 2 * pad, self.rect.h - top - pad)

    def controls(self, look: Look) -> list[Control]:
        """Its controls in focus order, placed."""
        return []

    def advance(self, dt: float) -> bool:
        """Time passes; True if something moved."""
        return False

    def close(self) -> None:
        """The sheet goes away."""

    def key(self, key: Key) -> None:
        """A key that no control wanted."""

    def draw(self, target: pygame.Surface, look: Look) -> None:
        shade = pygame.Surface(target.get_size(), 0, 32)
        shade.fill((0, 0, 0))
        shade.set_alpha(130 if look.theme.name == "dark" else 80)
        target.blit(shade, (0, 0))
        rounded(target, self.rect, look.px(10), look.theme.panel)
        before = target.get_clip()
        target.set_clip(self.rect)
        text.draw(target, look, self.title, self.rect.x + look.px(24), self.rect.y + look.px(38), 18, bold=True)
        self.draw_inner(target, look, self.inner(look))
        target.set_clip(before)
        self.stage.draw_controls(target, look, [*self.controls(look), self.closer])

    def draw_inner(self, target: pygame.Surface, look: Look, rect: pygame.Rect) -> None:
        """What it says."""
