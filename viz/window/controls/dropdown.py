"""A drop-down: one of many, in a list that opens above the panels."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pygame

from ...draw import text
from ...draw.canvas import framed, rounded
from ...draw.theme import Look, mix
from .control import Control, Key, Pointer


class DropDown(Control):
    """labels: as written; `value` is the index, -1 shows `other` instead; on_change(index) when one is picked."""

    def __init__(
        self,
        name: str,
        label: str,
        labels: Sequence[str],
        value: int,
        on_change: Callable[[int], None],
        tip: str = "",
        other: str = "",
    ) -> None:
        super().__init__(name, tip)
        self.label = label
        self.labels = list(labels)
        self.value = value
        self.on_change = on_change
        self.other = other
        self.bounds = pygame.Rect(0, 0, 100000, 100000)
        self._open = False
        self._marked = 0
        self._first = 0
        self._row = 30

    @property
    def words(self) -> str:
        """What it shows."""
        return self.labels[self.value] if 0 <= self.value < len(self.labels) else self.other

    def field(self, look: Look) -> pygame.Rect:
        """The box with the present choice: the whole width without a label, else what the label leaves."""
        if not self.label:
            return self.rect
        used = text.width(look, self.label, 16) + look.px(14)
        return pygame.Rect(self.rect.x + used, self.rect.y, self.rect.w - used, self.rect.h)

    def draw(self, target: pygame.Surface, look: Look, *, focused: bool, hovered: bool) -> None:
        theme = look.theme
        self._row = look.px(30)
        if self.label:
            text.draw(target, look, self.label, self.rect.x, self.rect.centery + look.px(5), 16)
        box = self.field(look)
        fill = mix(theme.raised, theme.text, 0.05) if hovered else theme.raised
        framed(target, box, look.px(6), fill, mix(theme.line, theme.raised, 0.2), look.px(1))
        words = text.fit(look, self.words, box.w - look.px(42), 16)
        text.draw(target, look, words, box.x + look.px(13), box.centery + look.px(5), 16)
        x, y, s = box.right - look.px(17), box.centery, look.px(6)
        pygame.draw.polygon(target, theme.dim, [(x - s, y - s // 2), (x + s, y - s // 2), (x, y + s // 2 + 1)])

    def list_rect(self) -> pygame.Rect:
        """Where the open list stands: below if there is room, else above; at most as many rows as fit."""
        rows = min(len(self.labels), max(3, self.bounds.h // max(1, self._row) - 2))
        height = rows * self._row + 8
        rect = pygame.Rect(self.rect.x, self.rect.bottom + 4, max(self.rect.w, 140), height)
        if rect.bottom > self.bounds.bottom:
            rect.bottom = self.rect.y - 4
        rect.y = max(rect.y, self.bounds.y)
        rect.x = min(rect.x, self.bounds.right - rect.w)
        return rect

    def _rows(self) -> int:
        return max(1, (self.list_rect().h - 8) // self._row)

    def draw_over(self, target: pygame.Surface, look: Look) -> None:
        if not self._open:
            return
        theme = look.theme
        rect = self.list_rect()
        framed(target, rect, look.px(6), theme.raised, theme.track, look.px(1))
        rows = self._rows()
        for k in range(self._first, min(len(self.labels), self._first + rows)):
            row = pygame.Rect(rect.x + 4, rect.y + 4 + (k - self._first) * self._row, rect.w - 8, self._row)
            if k == self._marked:
                rounded(target, row, look.px(4), mix(theme.raised, theme.text, 0.14))
            chosen = k == self.value
            words = text.fit(look, self.labels[k], row.w - look.px(20), 16, chosen)
            text.draw(target, look, words, row.x + look.px(10), row.centery + look.px(5), 16, bold=chosen)
        if len(self.labels) > rows:
            height = max(12, (rect.h - 8) * rows // len(self.labels))
            y = rect.y + 4 + (rect.h - 8 - height) * self._first // max(1, len(self.labels) - rows)
            rounded(target, pygame.Rect(rect.right - 7, y, 4, height), 2, theme.track)

    @property
    def opened(self) -> bool:
        return self._open

    def open(self) -> None:
        """Show the list with the present choice marked."""
        self._open = True
        self._mark(max(0, self.value))

    def close(self) -> bool:
        was, self._open = self._open, False
        return was

    def _mark(self, index: int) -> None:
        self._marked = max(0, min(len(self.labels) - 1, index))
        rows = self._rows()
        self._first = max(min(self._first, self._marked), self._marked - rows + 1, 0)

    def _pick(self, index: int) -> None:
        self._open = False
        if 0 <= index < len(self.labels) and index != self.value:
            self.value = index
            self.on_change(index)

    def _at(self, pos: tuple[int, int]) -> int | None:
        rect = self.list_rect()
        if not rect.collidepoint(pos):
            return None
        index = self._first + (pos[1] - rect.y - 4) // self._row
        return index if 0 <= index < len(self.labels) else None

    def press(self, pointer: Pointer) -> None:
        if not self._open:
            self.open()
            return
        index = self._at(pointer.pos)
        if index is None:
            self._open = False
        else:
            self._pick(index)

    def hover(self, pos: tuple[int, int]) -> None:
        """The mouse moved over the open list."""
        index = self._at(pos)
        if index is not None:
            self._marked = index

    def wheel(self, steps: int, pointer: Pointer) -> bool:
        if self._open:
            self._first = max(0, min(len(self.labels) - self._rows(), self._first - steps))
            return True
        return False

    def key(self, key: Key) -> bool:
        if key.ctrl or key.alt:
            return False
        enter = key.key in (pygame.K_RETURN, pygame.K_KP_ENTER, pygame.K_SPACE)
        if not self._open:
            if enter:
                self.open()
            elif key.key == pygame.K_DOWN and self.value < len(self.labels) - 1:
                self._pick(self.value + 1)
            elif key.key == pygame.K_UP and self.value > 0:
                self._pick(self.value - 1)
            else:
                return key.key in (pygame.K_DOWN, pygame.K_UP)
            return True
        if enter:
            self._pick(self._marked)
        elif key.key == pygame.K_ESCAPE:
            self._open = False
        elif key.key == pygame.K_DOWN:
            self._mark(self._marked + 1)
        elif key.key == pygame.K_UP:
            self._mark(self._marked - 1)
        elif key.key == pygame.K_HOME:
            self._mark(0)
        elif key.key == pygame.K_END:
            self._mark(len(self.labels) - 1)
        elif key.key == pygame.K_TAB:
            self._open = False
            return False
        return True
