"""The window itself: opens, runs its loop on the main thread, closes cleanly."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

import pygame
from beltspring.sim import Report

from ..draw.text import forget_fonts
from .app import App
from .session import Runner, default_runner
from .stage import SMALLEST

FRAMES_S = 60


def run_window(
    results: Sequence[Report],
    initial_screen: str = "mixing",
    *,
    simulate: Runner = default_runner,
    theme: str = "dark",
    scale: float = 1.0,
    size: tuple[int, int] = (1280, 800),
) -> None:
    """Show results until the window is closed. Call it on the main thread. The bench moves gently until it is touched.

    initial_screen: "mixing", "ringing", "moves", "compare" or "print".  simulate: carries a scenario with changes through the
    chain; it is called on a worker thread.
    """
    if sys.platform.startswith("linux"):
        # Without a graphics card the accelerated framebuffer takes 8 to 14 ms a flip, the plain one 0.5 ms.
        os.environ.setdefault("SDL_FRAMEBUFFER_ACCELERATION", "0")
    pygame.display.init()
    pygame.font.init()
    try:
        app = App(results, runner=simulate, theme=theme, scale=scale, size=size, initial_screen=initial_screen)
        app.stage.greeting = True
        _Loop(app).run()
    finally:
        forget_fonts()
        pygame.font.quit()
        pygame.display.quit()


class _Loop:
    def __init__(self, app: App) -> None:
        self.app = app
        self.size = (max(app.size[0], SMALLEST[0]), max(app.size[1], SMALLEST[1]))
        self.surface = self._window(self.size, False)
        app.on_full_screen = self._full_screen

    def _window(self, size: tuple[int, int], full: bool) -> pygame.Surface:
        flags = pygame.FULLSCREEN if full else pygame.RESIZABLE
        surface = pygame.display.set_mode((0, 0) if full else size, flags)
        pygame.display.set_caption(f"beltspring: {self.app.session.shown.result.title}")
        self.app.resize(surface.get_size())
        return surface

    def _full_screen(self, on: bool) -> None:
        if on:
            self.size = self.surface.get_size()
        self.surface = self._window(self.size, on)

    def run(self) -> None:
        clock = pygame.time.Clock()
        app = self.app
        pygame.key.set_repeat(350, 40)
        try:
            while app.alive:
                dt = clock.tick(FRAMES_S) / 1000.0
                events = pygame.event.get()
                surface = pygame.display.get_surface()
                if surface is not None and surface.get_size() != app.size:
                    self.surface = surface
                    app.resize(surface.get_size())
                if app.step(min(dt, 0.25), events, self.surface):
                    pygame.display.flip()
        finally:
            app.close()
