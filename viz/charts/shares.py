"""Bars of shares: a name, its per cent, and a bar on one scale from nothing to all."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pygame

from ..draw import text
from ..draw.canvas import rounded
from ..draw.theme import Colour, Look

PITCH = 38


def rest_words(what: str, shown: Sequence[float]) -> list[str]:
    """What shares are shares of, and how much those leave that are not shown: "of the springs' energy; all else 14 %"."""
    rest = round(100 * (1.0 - sum(shown)))
    return [f"{what}; all else {rest} %", f"all else {rest} %"] if rest > 0 else [what]


def draw_shares(
    target: pygame.Surface,
    look: Look,
    rect: pygame.Rect,
    shares: Sequence[tuple[str, float]],
    colour_of: Callable[[str], Colour | None] = lambda _: None,
) -> int:
    """As many rows as fit, largest first; returns where the next thing may stand, px. colour_of: of a name, None: neutral."""
    theme, y = look.theme, rect.y
    pitch = look.px(PITCH)
    for name, share in shares:
        if y + pitch > rect.bottom:
            break
        own = colour_of(name)
        said = f"{text.number(100 * share)} %"
        used = text.draw(target, look, said, rect.right, y + look.px(15), 16, bold=True, align="right")
        words = text.fit(look, name, used.x - rect.x - look.px(10), 16, own is not None)
        text.draw(target, look, words, rect.x, y + look.px(15), 16, bold=own is not None, colour=own)
        bar = pygame.Rect(rect.x, y + look.px(22), rect.w, look.px(6))
        rounded(target, bar, bar.h // 2, theme.line)
        length = max(bar.h, round(rect.w * min(1.0, share)))
        rounded(target, pygame.Rect(bar.x, bar.y, length, bar.h), bar.h // 2, own or theme.control)
        y += pitch
    return y
