"""The rows of compared designs as a control: tick, choose, open what check says."""

from __future__ import annotations

from collections.abc import Callable

import pygame

from .control import Control, Key, Pointer


class RowsControl(Control):
    """rows: rectangles, set when they are drawn; tick, check: the columns in which a press means that.

    on_tick(index), on_check(index).  chosen: the row that is open, -1 for none.
    """

    def __init__(self, on_tick: Callable[[int], None], on_check: Callable[[int], None]) -> None:
        super().__init__(
            "designs",
            "A row a design: press the box to show its curves, its name for more of it, its check for what to change. "
            "Judged: the root mean square over the speeds told, as at a single one it may ring little by luck.",
        )
        self.on_tick = on_tick
        self.on_check = on_check
        self.rows: list[pygame.Rect] = []
        self.tick = pygame.Rect(0, 0, 0, 0)
        self.check = pygame.Rect(0, 0, 0, 0)
        self.chosen = 0

    def press(self, pointer: Pointer) -> None:
        index = next((k for k, row in enumerate(self.rows) if row.collidepoint(pointer.pos)), None)
        if index is None:
            return
        if self.tick.left <= pointer.pos[0] < self.tick.right:
            self.on_tick(index)
        elif self.check.left <= pointer.pos[0] < self.check.right:
            self.on_check(index)
        else:
            self.chosen = -1 if self.chosen == index else index

    def key(self, key: Key) -> bool:
        if key.ctrl or key.alt or not self.rows:
            return False
        last = len(self.rows) - 1
        if key.key in (pygame.K_UP, pygame.K_DOWN):
            self.chosen = min(last, max(0, self.chosen + (1 if key.key == pygame.K_DOWN else -1)))
        elif key.key == pygame.K_SPACE and 0 <= self.chosen <= last:
            self.on_tick(self.chosen)
        elif key.key in (pygame.K_RETURN, pygame.K_KP_ENTER) and 0 <= self.chosen <= last:
            self.on_check(self.chosen)
        else:
            return False
        return True
