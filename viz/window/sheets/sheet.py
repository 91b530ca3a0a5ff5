"""Sheets: what is laid above a screen for a moment and takes all events until it is closed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pygame

from ...draw import text
from ...draw.canvas import rounded
from ...draw.theme import Look
from ..controls.buttons import Button
from ..controls.control import Control, Key
from ..keys import CAUTIONS, KEYS

if TYPE_CHECKING:
    from ..app import App


class Sheet:
    """A panel in the middle of the window with a title and a Close button."""

    title = ""
    size = (720, 520)

    def __init__(self, app: App) -> None:
        self.app = app
        self.closer = Button("close", "Close", app.close_sheet, "Esc closes too.")
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
        for control in self.controls(look):
            control.draw(target, look, focused=self.app.focus is control, hovered=self.app.hovered is control)
        self.closer.draw(target, look, focused=self.app.focus is self.closer, hovered=self.app.hovered is self.closer)

    def draw_inner(self, target: pygame.Surface, look: Look, rect: pygame.Rect) -> None:
        """What it says."""


class KeysSheet(Sheet):
    """All keys in two columns, and the cautions."""

    title = "Keys and cautions"
    size = (940, 590)

    def draw_inner(self, target: pygame.Surface, look: Look, rect: pygame.Rect) -> None:
        gap = look.px(32)
        width = (rect.w - gap) // 2
        columns = [pygame.Rect(rect.x, rect.y, width, rect.h), pygame.Rect(rect.x + width + gap, rect.y, width, rect.h)]
        y = [c.y for c in columns]
        for column, group, rows in KEYS:
            c = columns[column]
            text.draw(target, look, group, c.x, y[column] + look.px(14), 14, bold=True, colour=look.theme.dim)
            y[column] += look.px(22)
            for keys, words in rows:
                text.draw(target, look, keys, c.x, y[column] + look.px(14), 14, bold=True)
                text.draw(target, look, words, c.x + look.px(146), y[column] + look.px(14), 14)
                y[column] += look.px(20)
            y[column] += look.px(9)
        top = max(y) + look.px(2)
        target.fill(look.theme.line, (rect.x, top, rect.w, look.px(1)))
        baseline = top + look.px(20)
        for caution in CAUTIONS:
            for line in text.wrap(look, caution, rect.w, 14):
                text.draw(target, look, line, rect.x, baseline, 14)
                baseline += look.px(18)
