"""The strip of the whole move as a control: a press or the arrow keys choose the corner that is looked at."""

from __future__ import annotations

from collections.abc import Callable

import pygame

from .control import Control, Key, Pointer


class StripControl(Control):
    """nearest(x): number of the corner at a place, px.  choose(number).  step(way): the corner before or after."""

    def __init__(
        self, nearest: Callable[[float], int | None], choose: Callable[[int], None], step: Callable[[int], None]
    ) -> None:
        super().__init__(
            "whole move", "The whole move: press to look at a corner, or left and right for the one before or after."
        )
        self.nearest = nearest
        self.choose = choose
        self.step = step

    def press(self, pointer: Pointer) -> None:
        self.drag(pointer)

    def drag(self, pointer: Pointer) -> None:
        found = self.nearest(pointer.pos[0])
        if found is not None:
            self.choose(found)

    def wheel(self, steps: int, pointer: Pointer) -> bool:
        self.step(-steps)
        return True

    def key(self, key: Key) -> bool:
        if key.ctrl or key.alt or key.shift or key.key not in (pygame.K_LEFT, pygame.K_RIGHT):
            return False
        self.step(1 if key.key == pygame.K_RIGHT else -1)
        return True
