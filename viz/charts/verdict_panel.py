"""The verdict of a comparison in three lines: which to take, how sure that is, what speaks against it."""

from __future__ import annotations

from typing import Any

import pygame

from ..draw import text
from ..draw.theme import Look


def draw_verdict(target: pygame.Surface, look: Look, rect: pygame.Rect, wide: int, told: Any, waiting: str) -> None:
    """told: a headline, None while there is none.  wide: room of the first line, px.  waiting: said of what is not known."""
    theme, x = look.theme, rect.x
    high = rect.h >= look.px(104)
    lines = (
        rect.y + look.px(38 if high else 33),
        rect.y + look.px(66 if high else 58),
        rect.y + look.px(90 if high else 80),
    )
    if told is None:
        text.draw(target, look, text.fit(look, waiting, wide, 26), x, lines[0], 26, colour=theme.dim)
        return
    size = next((s for s in (26, 22, 18) if text.width(look, told.sentence, s, True) <= wide), 18)
    text.draw(target, look, text.fit(look, told.sentence, wide, size, True), x, lines[0], size, bold=True)
    head, words = (f"{told.certainty}:", told.why) if told.certainty else ("How sure:", waiting)
    pair(target, look, x, lines[1], rect.w, head, words, dim=not told.certainty)
    if told.buts:
        said = told.buts[0]
        for more in told.buts[1:]:
            longer = f"{said.rstrip('.')}; {more}"
            if text.width(look, f"But:  {longer}", 16) > rect.w:
                break
            said = longer
        pair(target, look, x, lines[2], rect.w, "But:", said, dim=True)


def pair(
    target: pygame.Surface, look: Look, x: int, baseline: int, room: int, head: str, words: str, *, dim: bool
) -> None:
    """A bold word and what it says, in 16 px, or 14 where that is too wide."""
    size = 16 if text.width(look, head, 16, True) + text.width(look, words, 16) + look.px(6) <= room else 14
    used = text.draw(target, look, head, x, baseline, size, bold=True)
    left = used.right + look.px(6)
    said = text.fit(look, words, x + room - left, size)
    text.draw(target, look, said, left, baseline, size, colour=look.theme.dim if dim else look.theme.text)
