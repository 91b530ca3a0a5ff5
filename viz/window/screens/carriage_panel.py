"""What the carriage does while motors turn: how their shares add up, how far it went, and that in a sentence."""

from __future__ import annotations

import pygame

from ...charts.panels import panel
from ...draw import text
from ...draw.theme import Colour, Look
from .bench import Bench
from .bench_arms import ArmsBench
from .vectors import draw_vectors


def draw_carriage(target: pygame.Surface, look: Look, rect: pygame.Rect, bench: Bench) -> None:
    """Shares of the motors, the way of the carriage by axis, and a sentence; of a tool on arms its way and the sentence."""
    theme, on_arms = look.theme, isinstance(bench, ArmsBench)
    box = panel(target, look, rect, "What the tool does" if on_arms else "What the carriage does")
    box = pygame.Rect(box.x, rect.y + look.px(46), box.w, rect.bottom - rect.y - look.px(58))
    if on_arms:
        _draw_tool(target, look, box, bench)
        return
    wide = min(round(box.w * 0.42), look.px(260))
    draw_vectors(bench, target, look, pygame.Rect(box.x, box.y, wide, box.h))
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
    words, colour = _said(bench, look)
    room, foot, pitch = box.right - x, rect.bottom - look.px(16), look.px(18)
    size = 16 if text.width(look, words, 16) <= room else 14
    lines = text.wrap(look, words, room, size)
    if len(lines) > 2:
        words, size = _said(bench, look, short=True)[0], 14
        lines = text.wrap(look, words, room, size)
    if len(lines) > 2 or foot - pitch - baseline < look.px(16):
        lines = [text.fit(look, words, room, size)]
    foot += look.px(5) * (len(lines) - 1)
    for k, line in enumerate(reversed(lines)):
        text.draw(target, look, line, x, foot - k * pitch, size, colour=colour)


def _said(bench: Bench, look: Look, short: bool = False) -> tuple[str, Colour]:
    """The sentence, with its sign where a limit was met, and its colour."""
    if bench.limit_words:
        return f"! {bench.sentence()}", look.theme.alarm
    return bench.sentence(short), look.theme.text


def _draw_tool(target: pygame.Surface, look: Look, box: pygame.Rect, bench: Bench) -> None:
    """X, Y and Z side by side, the sentence below them in as many lines as it needs, and how carriages add up."""
    theme, moved = look.theme, bench.moved_m * 1e3
    pitch = box.w // len(bench.axes)
    size = 26 if pitch >= look.px(120) else 18
    for k, axis in enumerate(bench.axes):
        x, baseline = box.x + k * pitch, box.y + look.px(24)
        text.draw(target, look, axis, x, baseline, 16, colour=theme.dim)
        value = text.number(float(moved[k]), 1, signed=True)
        text.draw_pair(target, look, value, "mm", x + look.px(20), baseline, size, 14)
    words, colour = _said(bench, look)
    baseline = box.y + look.px(52)
    for line in text.wrap(look, words, box.w, 16, True):
        text.draw(target, look, line, box.x, baseline, 16, bold=True, colour=colour)
        baseline += look.px(21)
    for k, axis in enumerate(bench.axes):
        if baseline + look.px(2) > box.bottom:
            return
        share = text.fit(look, f"{axis} is {bench.share_words(k)}", box.w, 14)
        text.draw(target, look, share, box.x, baseline + look.px(2), 14, colour=theme.dim)
        baseline += look.px(18)
