"""Whether there is a screen to open a window on."""

from __future__ import annotations

import os
import sys

_NONE = ("offscreen", "dummy")


def has_screen() -> bool:
    """True if pygame would open its window on a real screen, or the person chose a driver by SDL_VIDEODRIVER.

    Where there is no display, pygame silently takes its drivers "offscreen" or "dummy": that is no screen.
    """
    if os.environ.get("SDL_VIDEODRIVER") or os.environ.get("SDL_VIDEO_DRIVER"):
        return True
    if sys.platform.startswith("linux") and not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")):
        return False  # what pygame would find out too, but only after a complaint on standard error
    import pygame

    already = pygame.display.get_init()
    try:
        if not already:
            pygame.display.init()
        return pygame.display.get_driver() not in _NONE
    except pygame.error:
        return False
    finally:
        if not already:
            pygame.display.quit()
