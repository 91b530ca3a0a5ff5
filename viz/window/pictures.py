"""The window without a person before it: waiting for what runs, and its screen as a picture."""

from __future__ import annotations

import time
from collections.abc import Sequence
from typing import Protocol

import pygame

from ..draw.canvas import surface
from ..draw.theme import Look
from .input import Input
from .screens.screen import Screen
from .session import Session
from .stage import Laid, Stage


class Pictured(Protocol):
    """What of the window a picture needs."""

    stage: Stage
    input: Input
    sheet: Laid | None
    message: str

    @property
    def screen(self) -> Screen: ...

    @property
    def sessions(self) -> Sequence[Session]: ...

    def draw_now(self, target: pygame.Surface) -> None: ...

    def layout(self) -> None: ...


def wait_until_ready(app: Pictured, longest_s: float) -> None:
    """Let everything that runs for the present screen finish."""
    until = time.monotonic() + longest_s
    while time.monotonic() < until:
        app.screen.advance(0.0)
        if not app.screen.running and all(s.ready for s in app.sessions):
            break
        for session in app.sessions:
            session.poll()
        time.sleep(0.005)
    app.screen.advance(0.0)


def render(app: Pictured, factor: int) -> tuple[pygame.Surface, Look, dict[str, pygame.Rect]]:
    """The screen as it is, without sheet, focus and tooltips, `factor` times as fine; its look and its panels."""
    stage, hands = app.stage, app.input
    size, sheet, message = stage.size, app.sheet, app.message
    focus, hovered = hands.focus, hands.hovered
    hands.focus, hands.hovered, app.sheet, app.message = None, None, None, ""
    stage.size, stage.factor = (size[0] * factor, size[1] * factor), factor
    try:
        image = surface(stage.size)
        app.draw_now(image)
        return image, stage.look, app.screen.panels()
    finally:
        stage.size, stage.factor = size, 1
        hands.focus, hands.hovered, app.sheet, app.message = focus, hovered, sheet, message
        app.layout()
