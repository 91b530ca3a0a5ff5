"""Mouse, wheel and keys: who has the focus, what is below the mouse, and which control gets an event.

A press goes to what is open above the panels, else to the control below the mouse, which then owns the mouse until the
button comes up. A key goes to the focused control first; what that does not want goes to the window.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Protocol

import pygame

from ..draw.theme import Look
from .controls.buttons import Button
from .controls.control import Control, Pointer
from .controls.dropdown import DropDown
from .keys import WINDOW, Key, ctrl_command

DOUBLE_CLICK_S = 0.4
TOOLTIP_AFTER_S = 0.5
LARGE = 420  # px: of a control that is higher a tooltip keeps clear of the mouse only
_CTRL = pygame.KMOD_CTRL | (pygame.KMOD_META if sys.platform == "darwin" else 0)


def key_of(event: pygame.event.Event) -> Key:
    """The key press of an event, with its modifiers."""
    held = (bool(event.mod & mask) for mask in (pygame.KMOD_SHIFT, _CTRL, pygame.KMOD_ALT))
    return Key(event.key, *held)


class Listener(Protocol):
    """What the window does with the events that no control takes."""

    @property
    def space_plays(self) -> bool:
        """Whether the space bar plays, so that a button does not keep it after a click."""

    def layout(self) -> None:
        """Place the controls anew: an event may have changed what there is."""

    def command(self, name: str) -> bool:
        """Do a command of the key table that works wherever the focus is; False if it means nothing now."""

    def key(self, key: Key) -> None:
        """A key that neither focus nor key table took at once."""

    def released(self, key: int) -> None:
        """A key came up; 0: all of them, the window lost the keyboard."""


class Input:
    """Focus, hover, press and modifiers. `give` it the controls after every layout and `handle` each event."""

    def __init__(self, listener: Listener) -> None:
        self._listener = listener
        self.controls: Sequence[Control] = ()
        self.time_s = 0.0
        self.focus: Control | None = None
        self.focus_by_key = False
        self.hovered: Control | None = None
        self.active: Control | None = None
        self._pos = (-1, -1)
        self._mods = 0
        self._still_s = 0.0
        self._tip_asked = False
        self._last_press: tuple[float, Control | None, tuple[int, int]] = (-10.0, None, (0, 0))

    def let_go(self) -> None:
        """Other controls altogether: nothing is focused, hovered or pressed, and no tooltip hangs until the mouse moves."""
        self.drop_focus()
        self.active = self.hovered = None
        self._still_s = -1e9

    def give(self, controls: Sequence[Control]) -> None:
        """What can be reached now, in focus order; later ones lie above earlier ones."""
        self.controls = controls
        if self.focus is not None and self.focus not in controls:
            self.drop_focus()
        if self.hovered is not None and self.hovered not in controls:
            self.hovered = None

    def tooltip_due(self, dt: float) -> bool:
        """The mouse has stood still for `dt` more; True if a tooltip is due now."""
        before = self._still_s
        self._still_s += dt
        return self.hovered is not None and before < TOOLTIP_AFTER_S <= self._still_s

    # ---- events

    def handle(self, event: pygame.event.Event) -> None:
        """One event of mouse or keyboard; others are not for it."""
        kind = event.type
        if kind == pygame.MOUSEMOTION:
            self._mouse_moved(event.pos)
        elif kind == pygame.MOUSEBUTTONDOWN and event.button == 1:
            self._mouse_down(event.pos)
        elif kind == pygame.MOUSEBUTTONUP and event.button == 1:
            self._mouse_up(event.pos)
        elif kind == pygame.MOUSEWHEEL:
            target = self._opened() or self._under(self._pos)
            if event.y and target is not None:
                target.wheel(event.y, self._pointer(self._pos))
        elif kind == pygame.KEYDOWN:
            self._mods = event.mod
            self._tip_asked = False
            self._key_down(key_of(event))
            self._listener.layout()
        elif kind == pygame.KEYUP:
            self._mods = event.mod
            self._listener.released(event.key)
        elif kind == pygame.TEXTINPUT and self.focus is not None and self.focus.typing:
            self.focus.typed(event.text)
        elif kind == pygame.WINDOWFOCUSLOST:
            self._mods = 0
            self._listener.released(0)

    def _pointer(self, pos: tuple[int, int], clicks: int = 1) -> Pointer:
        return Pointer(pos, 1, bool(self._mods & pygame.KMOD_SHIFT), bool(self._mods & _CTRL), clicks)

    def _under(self, pos: tuple[int, int]) -> Control | None:
        return next((control for control in reversed(self.controls) if control.hit(pos)), None)

    def _opened(self) -> Control | None:
        return next((c for c in self.controls if c.opened), None)

    def _mouse_moved(self, pos: tuple[int, int]) -> None:
        if pos != self._pos:
            self._still_s = 0.0
        self._pos = pos
        self._tip_asked = False
        if self.active is not None:
            self.active.drag(self._pointer(pos))
            return
        opened = self._opened()
        if isinstance(opened, DropDown):
            opened.hover(pos)
        self.hovered = self._under(pos)

    def _mouse_down(self, pos: tuple[int, int]) -> None:
        self._pos = pos
        self._still_s = -1e9  # no tooltip while the hand works
        self._tip_asked = False
        opened = self._opened()
        if opened is not None:
            opened.press(self._pointer(pos))
            self._listener.layout()
            return
        control = self._under(pos)
        if control is None:
            self.drop_focus()
            return
        when, which, where = self._last_press
        near = abs(where[0] - pos[0]) + abs(where[1] - pos[1]) <= 8
        clicks = 2 if which is control and self.time_s - when < DOUBLE_CLICK_S and near else 1
        self._last_press = (self.time_s, control if clicks == 1 else None, pos)
        if control.focusable:
            self.focus_on(control, by_key=False)
        self.active = control
        control.press(self._pointer(pos, clicks))

    def _mouse_up(self, pos: tuple[int, int]) -> None:
        control, self.active = self.active, None
        if control is not None:
            if pos != self._pos:  # the last stretch of a quick drag may come without a motion event
                control.drag(self._pointer(pos))
            control.release(self._pointer(pos))
            self._listener.layout()
        self._pos = pos
        self.hovered = self._under(pos)

    # ---- focus and keys

    def focus_on(self, control: Control, by_key: bool) -> None:
        """Give a control the focus. by_key: so that the space bar presses it."""
        if self.focus is not None and self.focus is not control:
            self.focus.close()
        self.focus, self.focus_by_key = control, by_key

    def drop_focus(self) -> None:
        """Nothing has the focus."""
        if self.focus is not None:
            self.focus.close()
        self.focus, self.focus_by_key = None, False

    def focus_order(self) -> list[Control]:
        """What Tab goes through."""
        return [c for c in self.controls if c.focusable and c.enabled]

    def _tab(self, backwards: bool) -> None:
        order = self.focus_order()
        if not order:
            return
        if self.focus in order:
            index = (order.index(self.focus) + (-1 if backwards else 1)) % len(order)
        else:
            index = len(order) - 1 if backwards else 0
        self.focus_on(order[index], by_key=True)

    def _key_down(self, key: Key) -> None:
        focus = self.focus
        if focus is not None and (focus.opened or focus.typing) and focus.key(key):
            return
        meant = WINDOW.command(key)
        if meant in ("next control", "previous control"):
            self._tab(meant == "previous control")
            return
        everywhere = ctrl_command(key)
        if everywhere and self._listener.command(everywhere):
            return
        if meant == "back":
            self._listener.command(meant)
            return
        if focus is not None and not focus.typing:
            # After a click the space bar still plays; with the focus moved there by Tab it presses the button.
            clicked_space = (
                key.key == pygame.K_SPACE
                and isinstance(focus, Button)
                and not self.focus_by_key
                and self._listener.space_plays
            )
            if not clicked_space and focus.key(key):
                return
        if meant == "tip":
            self._tip_asked = self.focus is not None
            return
        self._listener.key(key)

    # ---- what it looks like

    def draw(self, control: Control, target: pygame.Surface, look: Look) -> None:
        """Draw a control as focus and mouse make it look."""
        control.draw(target, look, focused=self.focus is control, hovered=self.hovered is control)

    def tip_words(self) -> tuple[str, pygame.Rect]:
        """What a tooltip says now, and what it must not cover: its control, or of a large one the mouse."""
        nothing = pygame.Rect(0, 0, 0, 0)
        if any(c.opened for c in self.controls):
            return "", nothing
        if self._tip_asked and self.focus is not None:
            return self.focus.tip, self.focus.rect
        if self.hovered is not None and self._still_s >= TOOLTIP_AFTER_S and self.active is None:
            rect = self.hovered.rect
            mouse = pygame.Rect(self._pos[0] - 4, self._pos[1] - 4, 8, 20)
            return self.hovered.tip_at(self._pos), rect if rect.h <= LARGE else mouse
        return "", nothing
