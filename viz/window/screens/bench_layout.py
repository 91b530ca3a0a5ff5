"""Where dials and move buttons stand inside their panels, and the foot of the view."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pygame

from ...charts.panels import tension_scale, wording
from ...draw import text
from ...draw.machine import MachineView
from ...draw.theme import Look
from ..controls.dial import Dial
from .bench import Bench
from .hand import MoveButton

LOW_SHARES = {"dials": 0.41, "carriage": 0.31, "moves": 0.28}  # where there is little height: words need it first


def place_dials(dials: Sequence[Dial], panel: pygame.Rect, look: Look) -> None:
    """Side by side below the panel's title."""
    pad = look.px(20)
    room = panel.inflate(-2 * pad, -2 * pad)
    top = room.y + look.px(32)
    for k, dial in enumerate(dials):
        w = room.w // len(dials)
        dial.rect = pygame.Rect(room.x + k * w + look.px(4), top, w - look.px(8), room.bottom - top + look.px(6))
        dial._scale = look.scale
        dial.stacked = len(dials) > 2


def place_moves(moves: Sequence[MoveButton], panel: pygame.Rect, look: Look) -> None:
    """Side by side below the panel's title; those of three motors, whose words are longer, two by two."""
    room = panel.inflate(-2 * look.px(20), -2 * look.px(16))
    top, space = room.y + look.px(30), look.px(10)
    rows = 2 if any(button.beside for button in moves) else 1
    count = max(1, -(-len(moves) // rows))
    w = (room.w - space * (count - 1)) // count
    h = (room.bottom - top + look.px(4) - space * (rows - 1)) // rows
    for k, button in enumerate(moves):
        row, column = divmod(k, count)
        button.rect = pygame.Rect(room.x + column * (w + space), top + row * (h + space), w, h)


def draw_foot(
    target: pygame.Surface,
    look: Look,
    panel: pygame.Rect,
    machine: pygame.Rect,
    view: MachineView,
    bench: Bench,
    words: Sequence[str],
) -> None:
    """The scale of tensions below the machine, and a remark. panel, machine: where they stand.  words: longest first."""
    y = panel.bottom - look.px(68)
    x = max(machine.x, panel.x + look.px(20))
    tension_scale(target, look, x, y, bench.most_n, view.place(machine.size).unit, 150)
    right, baseline = min(machine.right, panel.right - look.px(20)), y + look.px(51)
    said = wording(look, words, right - x - look.px(190))
    text.draw(target, look, said, right, baseline, 14, colour=look.theme.dim, align="right")


def foot_words(bench: Bench, gives: bool) -> list[str]:
    """The remark below the view, longest first. gives: whether the motors hold and belts give."""
    if gives:
        return ["dashed: where the motors hold it"]
    turn = text.number(2 * math.pi * float(bench.radius_m[0]) * 1e3, 1)
    return [f"1 turn of a motor moves its belt {turn} mm", f"1 turn: {turn} mm of belt"]
