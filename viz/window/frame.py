"""How the window is divided and in which order it is drawn: bars, screen, sheet, and what stands above them."""

from __future__ import annotations

import pygame

from ..draw.canvas import focus_ring
from .chrome import draw_alarm, draw_message, draw_tooltip
from .clock_bar import ClockBar
from .controls.control import Control
from .controls.dropdown import DropDown
from .lessons import Lessons
from .presenting import Presenting
from .screens.screen import Screen
from .stage import Laid, Stage
from .top_bar import TopBar


class Frame:
    """The bars, and the room between them."""

    def __init__(self, stage: Stage, top_bar: TopBar, lessons: Lessons) -> None:
        self.stage = stage
        self.top_bar = top_bar
        self.clock_bar = ClockBar(stage)
        self.presenting = Presenting(stage)
        self.lessons = lessons

    def content(self, screen: Screen) -> pygame.Rect:
        """Between top bar and clock bar, inside the outer margin."""
        style, size = self.stage.look, self.stage.size
        margin, top = style.px(24), style.px(TopBar.HEIGHT)
        bottom = style.px(ClockBar.HEIGHT) if screen.uses_clock else 0
        upper = style.px(18) if self.stage.low else margin
        return pygame.Rect(margin, top + upper, size[0] - 2 * margin, size[1] - top - bottom - 2 * upper)

    def layout(self, screen: Screen, sheet: Laid | None) -> list[Control]:
        """Place everything; returns the controls that can be reached, in focus order."""
        style, window = self.stage.look, pygame.Rect((0, 0), self.stage.size)
        if self._is_page(screen, sheet):
            screen.layout(self.content(screen), style)
            return []
        self.stage.foot_px = self.lessons.foot(self.content(screen), style)
        controls: list[Control] = self.top_bar.layout(window.w, style)
        controls += screen.layout(self.content(screen), style)
        if screen.uses_clock:
            height = style.px(ClockBar.HEIGHT)
            bar = pygame.Rect(0, window.h - height, window.w, height)
            controls += self.clock_bar.layout(bar, style, screen.clock_shown or self.stage.session.shown)
        controls += self.lessons.layout(self.content(screen), style)
        if sheet is not None:
            controls = sheet.layout(window, style)
        for control in controls:
            if isinstance(control, DropDown):
                control.bounds = window.copy()
        return controls

    def _is_page(self, screen: Screen, sheet: Laid | None) -> bool:
        """Whether the screen is presented as a page of its own."""
        return self.stage.presenting and screen.name == "ringing" and sheet is None

    def draw(self, target: pygame.Surface, screen: Screen, sheet: Laid | None, message: str) -> None:
        """The whole window onto `target`, as last laid out."""
        style, hands = self.stage.look, self.stage.input
        if self._is_page(screen, sheet):
            self.presenting.draw_page(target)
            self.presenting.draw_key(target, style)
            return
        target.fill(style.theme.page)
        screen.draw(target, style)
        self.top_bar.draw(target, style, self.stage.size[0])
        if screen.uses_clock:
            self.clock_bar.draw(target, style)
        area = self.content(screen)
        draw_alarm(
            target, style, screen.beside_settings(area), next((s.failed for s in self.stage.sessions if s.failed), "")
        )
        self.lessons.draw(target, style)
        if sheet is not None:
            sheet.draw(target, style)
        if hands.focus is not None and hands.focus in hands.controls:
            focus_ring(target, style, hands.focus.ring_rect())
        for control in hands.controls:
            control.draw_over(target, style)
        if self.stage.presenting:
            self.presenting.draw_key(target, style)
        draw_message(target, style, area, message)
        draw_tooltip(target, style, *hands.tip_words())
