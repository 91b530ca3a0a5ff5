"""Two compared machines side by side with their ringing drawn larger, at one magnification."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pygame

from ..draw import text
from ..draw.theme import Look
from .corner_overlay import Entry
from .marks import mark

LEAST = 250  # px: in less height than that a machine says nothing


def machines_fit(look: Look, height: int) -> bool:
    """Whether machines can be drawn large enough to be read."""
    return height >= look.px(LEAST)


def draw_machines(
    target: pygame.Surface, look: Look, rect: pygame.Rect, entries: Sequence[Entry], now_s: float
) -> float:
    """The first and the last of the designs, or one alone; returns how much larger their ringing is drawn.

    now_s: since each one's own stop, s.
    """
    both = [entries[0], entries[-1]] if len(entries) > 1 else list(entries)
    gap, foot = look.px(14), look.px(42)
    wide = (rect.w - gap * (len(both) - 1)) // len(both)
    if wide < look.px(120):
        both, wide = both[-1:], rect.w
    larger = min(e.shown.larger for e in both)
    for k, e in enumerate(both):
        room = pygame.Rect(rect.x + k * (wide + gap), rect.y, wide, rect.h - foot)
        time_s = min(max(0.0, e.corner.stop_s + now_s), e.shown.end_s)
        box = e.shown.view.fitted(room)
        box.midtop = (room.centerx, room.y + (room.h - box.h) // 2)
        state = replace(e.shown.machine_state(time_s, larger=larger), plain=True)
        e.shown.view.draw(target, box, look, state, labels="none")
        y, colour = box.bottom + look.px(18), e.colour(look)
        name = text.fit(look, e.label, wide - look.px(16), 16, True)
        half = text.width(look, name, 16, True) / 2
        mark(target, look, e.number, (room.centerx - half - look.px(4), y - look.px(5)), colour)
        text.draw(target, look, name, room.centerx + look.px(6), y, 16, bold=True, colour=colour, align="center")
        off = text.length(abs(float(e.shown.at(time_s, e.shown.sideways_m))))
        text.draw(
            target, look, f"{off} off now", room.centerx, y + look.px(19), 14, align="center", colour=look.theme.dim
        )
    return larger
