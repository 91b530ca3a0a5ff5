"""A line of text being typed, and the field that holds one."""

from __future__ import annotations

from collections.abc import Callable

import pygame

from ...draw import text
from ...draw.canvas import framed
from ...draw.theme import Look, mix
from .control import Control, Key, Pointer


class Line:
    """Text with a caret. The whole text may be selected; typing then replaces it."""

    def __init__(self, words: str = "", longest: int = 400) -> None:
        self.words = words
        self.at = len(words)
        self.all = False
        self.longest = longest

    def select_all(self) -> None:
        self.all = bool(self.words)
        self.at = len(self.words)

    def insert(self, words: str) -> None:
        """Put text at the caret; control characters are dropped."""
        words = "".join(c for c in words if c.isprintable())
        if self.all:
            self.words, self.at, self.all = "", 0, False
        room = self.longest - len(self.words)
        words = words[: max(0, room)]
        self.words = self.words[: self.at] + words + self.words[self.at :]
        self.at += len(words)

    def key(self, key: Key) -> bool:
        """Editing keys. Every other key is swallowed too, so that letters are no commands while typing."""
        if key.key == pygame.K_TAB:
            return False
        if key.ctrl and key.key == pygame.K_a:
            self.select_all()
        elif key.key == pygame.K_BACKSPACE:
            if self.all:
                self.words, self.at = "", 0
            elif self.at:
                self.words = self.words[: self.at - 1] + self.words[self.at :]
                self.at -= 1
            self.all = False
        elif key.key == pygame.K_DELETE:
            if self.all:
                self.words, self.at = "", 0
            else:
                self.words = self.words[: self.at] + self.words[self.at + 1 :]
            self.all = False
        elif key.key == pygame.K_LEFT:
            self.at, self.all = max(0, self.at - 1), False
        elif key.key == pygame.K_RIGHT:
            self.at, self.all = min(len(self.words), self.at + 1), False
        elif key.key == pygame.K_HOME:
            self.at, self.all = 0, False
        elif key.key == pygame.K_END:
            self.at, self.all = len(self.words), False
        return not key.ctrl or key.key == pygame.K_a

    def draw(
        self, target: pygame.Surface, look: Look, rect: pygame.Rect, *, caret: bool = True, hint: str = ""
    ) -> None:
        theme = look.theme
        framed(target, rect, look.px(4), theme.page, theme.track, look.px(1))
        clip = target.get_clip()
        inner = rect.inflate(-look.px(12), -look.px(2))
        target.set_clip(inner.clip(clip))
        before = text.width(look, self.words[: self.at], 16)
        shift = min(0, inner.w - look.px(2) - before)
        baseline = rect.centery + look.px(5)
        if self.all:
            width = text.width(look, self.words, 16)
            target.fill(
                mix(theme.page, theme.control, 0.35), (inner.x + shift, rect.y + look.px(3), width, rect.h - look.px(6))
            )
        log, text.Log.active = text.Log.active, None  # a long path is meant to run out of its field
        if self.words:
            text.draw(target, look, self.words, inner.x + shift, baseline, 16)
        elif hint:
            text.draw(target, look, hint, inner.x, baseline, 16, colour=theme.dim)
        text.Log.active = log
        if caret:
            target.fill(theme.text, (inner.x + shift + before, rect.y + look.px(4), look.px(1), rect.h - look.px(8)))
        target.set_clip(clip)


class TextField(Control):
    """A field for a path or a name; on_enter(words) when Enter is pressed in it."""

    def __init__(self, name: str, words: str, on_enter: Callable[[str], None], tip: str = "", hint: str = "") -> None:
        super().__init__(name, tip)
        self.line = Line(words)
        self.on_enter = on_enter
        self.hint = hint
        self._focused = False

    def draw(self, target: pygame.Surface, look: Look, *, focused: bool, hovered: bool) -> None:
        self._focused = focused
        self.line.draw(target, look, self.rect, caret=focused, hint=self.hint)

    def press(self, pointer: Pointer) -> None:
        if pointer.clicks >= 2:
            self.line.select_all()

    def key(self, key: Key) -> bool:
        if key.key in (pygame.K_RETURN, pygame.K_KP_ENTER):
            self.on_enter(self.line.words)
            return True
        if key.key == pygame.K_ESCAPE:
            return False
        return self.line.key(key)

    def typed(self, words: str) -> bool:
        self.line.insert(words)
        return True

    @property
    def typing(self) -> bool:
        return True
