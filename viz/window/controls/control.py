"""What every control is: a rectangle that draws itself and gets events. One control at a time has the focus.

Controls never ask the mouse or the keyboard; they are told. `Pointer` carries a mouse event with the modifier keys
that were down by the events seen so far.
"""

from __future__ import annotations

from dataclasses import dataclass

import pygame

from ...draw.theme import Look
from ..keys import Key as Key


@dataclass(frozen=True)
class Pointer:
    """A mouse event. pos: px.  button: 1 left.  shift, ctrl: held down.  clicks: 2 for the second press of a double."""

    pos: tuple[int, int]
    button: int = 1
    shift: bool = False
    ctrl: bool = False
    clicks: int = 1


class Control:
    """A thing that can be pressed, dragged, focused and typed at.

    name: unique on its screen.  tip: one sentence on what it is and what raising it does.  enabled: False draws it
    dim and takes it out of the focus order.
    """

    def __init__(self, name: str, tip: str = "") -> None:
        self.name = name
        self.tip = tip
        self.rect = pygame.Rect(0, 0, 0, 0)
        self.enabled = True
        self.focusable = True

    def hit(self, pos: tuple[int, int]) -> bool:
        """Whether a press at `pos` is for this control."""
        return self.enabled and self.rect.collidepoint(pos)

    def draw(self, target: pygame.Surface, look: Look, *, focused: bool, hovered: bool) -> None:
        """Draw into its rectangle; the focus ring is drawn by the window."""

    def draw_over(self, target: pygame.Surface, look: Look) -> None:
        """Draw what stands above all panels (an open list)."""

    def ring_rect(self) -> pygame.Rect:
        """What the focus ring goes round."""
        return self.rect

    def press(self, pointer: Pointer) -> None:
        """The mouse went down on it; it then gets drag and release wherever the mouse goes."""

    def drag(self, pointer: Pointer) -> None:
        """The mouse moved with the button down."""

    def release(self, pointer: Pointer) -> None:
        """The button came up."""

    def wheel(self, steps: int, pointer: Pointer) -> bool:
        """The wheel turned over it; True if that meant something here."""
        return False

    def key(self, key: Key) -> bool:
        """A key while it has the focus; True if that meant something here."""
        return False

    def typed(self, words: str) -> bool:
        """Text entered while it has the focus; True if it took it."""
        return False

    @property
    def typing(self) -> bool:
        """Whether it is a text field now, so that letters are not commands."""
        return False

    @property
    def opened(self) -> bool:
        """Whether it has something open above the panels that takes the next event first."""
        return False

    def close(self) -> bool:
        """Close what is open or being typed; True if there was something. Also called when the focus leaves."""
        return False

    def tip_at(self, pos: tuple[int, int]) -> str:
        """The tooltip at a place."""
        return self.tip
