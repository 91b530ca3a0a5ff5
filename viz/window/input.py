"""The half of the window that events reach: mouse, wheel, focus and keys.

A press goes to what is open above the panels, else to the control below the mouse, which then owns the mouse until the
button comes up. A key goes to the focused control first, then to the sheet, the screen, the clock and the window.
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import pygame

from .controls.buttons import Button
from .controls.control import Control, Key, Pointer
from .controls.dropdown import DropDown

if TYPE_CHECKING:
    from .app import App as Window

DOUBLE_CLICK_S = 0.4
_CTRL = pygame.KMOD_CTRL | (pygame.KMOD_META if sys.platform == "darwin" else 0)


class Input:
    """Mixed into the window; every method needs the window's own state, hence the type of self."""

    # ---- events

    def _handle(self: Window, event: pygame.event.Event) -> None:
        kind = event.type
        if kind == pygame.QUIT:
            self.alive = False
        elif kind in (pygame.VIDEORESIZE, pygame.WINDOWSIZECHANGED) and hasattr(event, "w"):
            self.resize((event.w, event.h))
            self._layout()
        elif kind == pygame.MOUSEMOTION:
            self._mouse_moved(event)
        elif kind == pygame.MOUSEBUTTONDOWN and event.button == 1:
            self._mouse_down(event)
        elif kind == pygame.MOUSEBUTTONUP and event.button == 1:
            self._mouse_up(event)
        elif kind == pygame.MOUSEWHEEL:
            self._wheel(event)
        elif kind == pygame.KEYDOWN:
            self._mods = event.mod
            self._tip_asked = False
            self._key_down(
                Key(
                    event.key,
                    bool(event.mod & pygame.KMOD_SHIFT),
                    bool(event.mod & _CTRL),
                    bool(event.mod & pygame.KMOD_ALT),
                )
            )
            self._layout()
        elif kind == pygame.KEYUP:
            self._mods = event.mod
            self.screen.released(event.key)
        elif kind == pygame.TEXTINPUT and self.focus is not None and self.focus.typing:
            self.focus.typed(event.text)
        elif kind == pygame.WINDOWFOCUSLOST:
            self._mods = 0
            self.screen.released(0)

    def _pointer(self: Window, pos: tuple[int, int], clicks: int = 1) -> Pointer:
        return Pointer(pos, 1, bool(self._mods & pygame.KMOD_SHIFT), bool(self._mods & _CTRL), clicks)

    def _under(self: Window, pos: tuple[int, int]) -> Control | None:
        for control in reversed(self._controls):
            if control.hit(pos):
                return control
        return None

    def _opened(self: Window) -> Control | None:
        return next((c for c in self._controls if c.opened), None)

    def _mouse_moved(self: Window, event: pygame.event.Event) -> None:
        if event.pos != self._pos:
            self._still_s = 0.0
        self._pos = event.pos
        self._tip_asked = False
        if self.active is not None:
            self.active.drag(self._pointer(event.pos))
            return
        opened = self._opened()
        if isinstance(opened, DropDown):
            opened.hover(event.pos)
        self.hovered = self._under(event.pos)

    def _mouse_down(self: Window, event: pygame.event.Event) -> None:
        self._pos = event.pos
        self._still_s = -1e9  # no tooltip while the hand works
        self._tip_asked = False
        opened = self._opened()
        if opened is not None:
            opened.press(self._pointer(event.pos))
            self._layout()
            return
        control = self._under(event.pos)
        if control is None:
            self._drop_focus()
            return
        when, which, where = self._last_press
        near = abs(where[0] - event.pos[0]) + abs(where[1] - event.pos[1]) <= 8
        clicks = 2 if which is control and self.time_s - when < DOUBLE_CLICK_S and near else 1
        self._last_press = (self.time_s, control if clicks == 1 else None, event.pos)
        if control.focusable:
            self._focus_on(control, by_key=False)
        self.active = control
        control.press(self._pointer(event.pos, clicks))

    def _mouse_up(self: Window, event: pygame.event.Event) -> None:
        control, self.active = self.active, None
        if control is not None:
            if event.pos != self._pos:  # the last stretch of a quick drag may come without a motion event
                control.drag(self._pointer(event.pos))
            control.release(self._pointer(event.pos))
            self._layout()
        self._pos = event.pos
        self.hovered = self._under(event.pos)

    def _wheel(self: Window, event: pygame.event.Event) -> None:
        steps = event.y
        target = self._opened() or self._under(self._pos)
        if steps and target is not None:
            target.wheel(steps, self._pointer(self._pos))

    # ---- focus and keys

    def _focus_on(self: Window, control: Control, by_key: bool) -> None:
        if self.focus is not None and self.focus is not control:
            self.focus.close()
        self.focus, self.focus_by_key = control, by_key

    def _drop_focus(self: Window) -> None:
        if self.focus is not None:
            self.focus.close()
        self.focus, self.focus_by_key = None, False

    def focus_order(self: Window) -> list[Control]:
        """What Tab goes through."""
        return [c for c in self._controls if c.focusable and c.enabled]

    def _tab(self: Window, backwards: bool) -> None:
        order = self.focus_order()
        if not order:
            return
        if self.focus in order:
            index = (order.index(self.focus) + (-1 if backwards else 1)) % len(order)
        else:
            index = len(order) - 1 if backwards else 0
        self._focus_on(order[index], by_key=True)

    def _key_down(self: Window, key: Key) -> None:
        focus = self.focus
        if focus is not None and (focus.opened or focus.typing) and focus.key(key):
            return
        if key.key == pygame.K_TAB and not key.ctrl:
            self._tab(key.shift)
            return
        if key.ctrl and self._ctrl_key(key):
            return
        if key.key == pygame.K_ESCAPE:
            self._escape()
            return
        if focus is not None and not focus.typing:
            # After a click the space bar still plays; with the focus moved there by Tab it presses the button.
            clicked_space = (
                key.key == pygame.K_SPACE
                and isinstance(focus, Button)
                and not self.focus_by_key
                and self.screen.uses_clock
            )
            if not clicked_space and focus.key(key):
                return
        if key.key == pygame.K_F1:
            self._tip_asked = self.focus is not None
            return
        if self.sheet is not None:
            self.sheet.key(key)
            return
        if focus is not None and focus.typing:
            return
        if self.screen.key(key):
            return
        if self.screen.uses_clock and self._clock_key(key):
            return
        self._letter(key)

    def _ctrl_key(self: Window, key: Key) -> bool:
        digits = (pygame.K_1, pygame.K_2, pygame.K_3, pygame.K_4)
        if key.key in digits and self.sheet is None:
            index = digits.index(key.key)
            if index < len(self.screens):
                self.show(self.screens[index])
        elif key.key == pygame.K_q:
            self.alive = False
        elif key.key in (pygame.K_PLUS, pygame.K_EQUALS, pygame.K_KP_PLUS):
            self.set_scale(self.scale * 1.1)
        elif key.key in (pygame.K_MINUS, pygame.K_KP_MINUS):
            self.set_scale(self.scale / 1.1)
        elif key.key in (pygame.K_0, pygame.K_KP_0):
            self.set_scale(1.0)
        elif key.key == pygame.K_z and self.sheet is None:
            (self.session.redo if key.shift else self.session.undo)()
        elif key.key == pygame.K_y and self.sheet is None:
            self.session.redo()
        elif key.key == pygame.K_o and self.sheet is None:
            self.show_open()
        elif key.key == pygame.K_s and self.sheet is None:
            self.show_save()
        else:
            return False
        return True

    def _escape(self: Window) -> None:
        if self.sheet is not None:
            self.close_sheet()
        elif self.focus is not None:
            self._drop_focus()
        elif self.drawer_open and self.narrow:
            self.drawer_open = False
        elif self.full_screen:
            self._set_full_screen(False)

    def _set_full_screen(self: Window, on: bool) -> None:
        self.full_screen = on
        self.on_full_screen(on)

    def _clock_key(self: Window, key: Key) -> bool:
        clock, legs = self.clock, [a for _, a, _ in self.session.shown.legs]
        if key.key == pygame.K_SPACE:
            clock.toggle()
        elif key.key in (pygame.K_LEFT, pygame.K_RIGHT):
            way = 1 if key.key == pygame.K_RIGHT else -1
            if key.shift:
                clock.leg(way, legs)
            else:
                clock.step(way)
        elif key.key == pygame.K_HOME:
            clock.go(0.0)
        elif key.key == pygame.K_END:
            clock.go(clock.end_s)
        elif key.key == pygame.K_LEFTBRACKET:
            clock.faster(-1)
        elif key.key == pygame.K_RIGHTBRACKET:
            clock.faster(1)
        else:
            return False
        return True

    def _letter(self: Window, key: Key) -> None:
        if key.ctrl or key.alt:
            return
        if key.key == pygame.K_t:
            self.toggle_theme()
        elif key.key == pygame.K_e:
            self.show_export()
        elif key.key == pygame.K_k:
            self.show_check()
        elif key.key == pygame.K_s and self.narrow:
            self.toggle_drawer()
        elif key.key == pygame.K_F11:
            self._set_full_screen(not self.full_screen)
        elif key.key == pygame.K_QUESTION or (key.key == pygame.K_SLASH and key.shift):
            self.show_keys()
