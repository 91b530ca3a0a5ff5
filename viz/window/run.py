"""The window itself: opens, runs its loop on the main thread, closes cleanly."""

from __future__ import annotations

import contextlib
import math
import os
import sys
import warnings
from collections.abc import Sequence

import pygame
from beltspring.sim import Prices, Report

from ..draw.icon import icon
from ..draw.text import forget_fonts
from .app import App
from .memory import settled
from .session import Runner, default_runner
from .stage import SCALES, SMALLEST
from .watched import Watched

FRAMES_S = 60


def run_window(
    results: Sequence[Report],
    initial_screen: str = "mixing",
    *,
    simulate: Runner = default_runner,
    theme: str = "dark",
    scale: float | None = None,
    size: tuple[int, int] | None = None,
    files: Sequence[Watched | None] = (),
    prices: Prices | None = None,
) -> None:
    """Show results until the window is closed. Call it on the main thread. The bench moves gently until it is touched.

    initial_screen: "mixing", "ringing", "moves", "compare" or "print".  simulate: carries a scenario with changes through the
    chain; it is called on a worker thread.  scale, size: None: as the screen asks for.
    files: where each result came from: saved anew, it is read anew.  prices: what parts cost, None where nobody said.
    """
    if sys.platform.startswith("linux"):
        # Without a graphics card the accelerated framebuffer takes 8 to 14 ms a flip, the plain one 0.5 ms.
        os.environ.setdefault("SDL_FRAMEBUFFER_ACCELERATION", "0")
    pygame.display.init()
    pygame.font.init()
    screen = pygame.display.get_desktop_sizes()[0]
    normal = suits(screen)
    scale = normal if scale is None else scale
    size = fits(screen, scale) if size is None else size
    try:
        pygame.display.set_icon(icon())
        with settled():
            app = App(
                results, runner=simulate, theme=theme, scale=scale, size=size, initial_screen=initial_screen, files=files,
                prices=prices,
            )  # fmt: skip
            app.stage.greeting, app.stage.normal = True, normal
            _Loop(app).run()
    finally:
        forget_fonts()
        pygame.font.quit()
        pygame.display.quit()


def suits(screen: tuple[int, int]) -> float:
    """The scale at which lines and words are as large on a screen, px, as on one of 1600 x 1000; in tenths."""
    wanted = min(screen[0] / 1600, screen[1] / 1000)
    return min(SCALES[1], max(1.0, math.floor(wanted * 10 + 1e-6) / 10))


def fits(screen: tuple[int, int], scale: float) -> tuple[int, int]:
    """The window's size on a screen, px, at a scale: no larger than the screen has room for beside its own bars."""
    wide, high = (round(side * scale) for side in (1280, 800))
    return max(SMALLEST[0], min(wide, screen[0])), max(SMALLEST[1], min(high, screen[1] - round(40 * scale)))


def _display() -> pygame.Window:
    """The window that pygame's display has; the way to it is going to change, which nobody need be told here."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        return pygame.Window.from_display_module()


class _Loop:
    def __init__(self, app: App) -> None:
        self.app = app
        self.size = (max(app.size[0], SMALLEST[0]), max(app.size[1], SMALLEST[1]))
        self.place: tuple[int, int] | None = None
        self.surface = self._window(self.size, False)
        app.on_full_screen = self._full_screen

    def _window(self, size: tuple[int, int], full: bool) -> pygame.Surface:
        flags = pygame.FULLSCREEN if full else pygame.RESIZABLE
        with warnings.catch_warnings():
            # Coming back from the full screen the system may keep that size at first: it is set once more below.
            warnings.simplefilter("ignore", RuntimeWarning)
            surface = pygame.display.set_mode((0, 0) if full else size, flags)
        pygame.display.set_caption(f"beltspring: {self.app.session.shown.result.title}")
        if not full:
            with contextlib.suppress(pygame.error):  # some drivers know no such thing
                _display().minimum_size = SMALLEST
        self.app.resize(surface.get_size())
        return surface

    def _full_screen(self, on: bool) -> None:
        if on:
            self.size, self.place = self.surface.get_size(), _display().position
        self.surface = self._window(self.size, on)
        if not on and self.place is not None:
            # Back where it was: left to itself it stays at the corner that filled the screen, its bar out of reach.
            with contextlib.suppress(pygame.error):
                window = _display()
                window.size, window.position = self.size, self.place
            self.surface = pygame.display.get_surface() or self.surface
            self.app.resize(self.surface.get_size())

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
