"""What the carriage does while motors turn: how their shares add up, how far it went, and that in a sentence."""

from __future__ import annotations

import pygame

from ...charts.panels import panel
from ...draw import text
from ...draw.theme import Look
from .bars import draw_bars
from .bench import Bench
from .bench_arms import ArmsBench
from .vectors import draw_vectors


def draw_carriage(target: pygame.Surface, look: Look, rect: pygame.Rect, bench: Bench) -> None:
    """Shares of the motors, the way of the carriage by axis, and a sentence."""
    theme = look.theme
    box = panel(target, look, rect, "What the carriage does")
    box = pygame.Rect(box.x, rect.y + look.px(46), box.w, rect.bottom - rect.y - look.px(58))
    wide = min(round(box.w * 0.42), look.px(260))
    left = pygame.Rect(box.x, box.y, wide, box.h)
    if isinstance(bench, ArmsBench):
        draw_bars(bench, target, look, left)
    else:
        draw_vectors(bench, target, look, left)
    x = box.x + wide + look.px(14)
    moved = bench.moved_m * 1e3
    pitch = min(look.px(60), (box.h - look.px(26)) // len(bench.axes))
    for k, axis in enumerate(bench.axes):
        baseline = box.y + look.px(22) + k * pitch
        text.draw(target, look, axis, x, baseline, 18, colour=theme.dim)
        value = text.number(float(moved[k]), 1, signed=True)
        size = 34 if pitch >= look.px(40) else 26 if pitch >= look.px(30) else 18
        used = text.draw_pair(target, look, value, "mm", x + look.px(28), baseline, size, 16)
        words = bench.share_words(k)
        wide_words = text.width(look, words, 14)
        if pitch >= look.px(50) and wide_words <= box.right - x - look.px(28):
            text.draw(target, look, words, x + look.px(28), baseline + look.px(20), 14, colour=theme.dim)
        elif wide_words <= box.right - used.right - look.px(10):
            text.draw(target, look, words, used.right + look.px(10), baseline, 14, colour=theme.dim)
    sentence = bench.sentence()
    colour = theme.alarm if bench.limit_words else theme.text
    sign = "! " if bench.limit_words else ""
    room = box.right - x
    size = 16 if text.width(look, sign + sentence, 16) <= room else 14
    text.draw(
        target, look, text.fit(look, sign + sentence, room, size), x, rect.bottom - look.px(16), size, colour=colour
    )
