"""The line with the settings that made a picture, below it."""

from __future__ import annotations

import pygame

from . import text
from .canvas import surface
from .theme import Look

HEIGHT = 30


def stamped(image: pygame.Surface, look: Look, words: str) -> pygame.Surface:
    """A copy of the image with a strip below that holds one line of words."""
    strip = look.px(HEIGHT)
    out = surface((image.get_width(), image.get_height() + strip))
    out.fill(look.theme.page)
    out.blit(image, (0, 0))
    pad = look.px(24)
    line = text.fit(look, words, image.get_width() - 2 * pad, 14)
    text.draw(out, look, line, pad, image.get_height() + look.px(19), 14, colour=look.theme.dim)
    return out
