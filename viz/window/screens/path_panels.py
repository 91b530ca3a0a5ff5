"""The panels beside a path drawn by hand: how far each motor turned over time, and what the path is."""

from __future__ import annotations

import math

import numpy as np
import pygame

from ...charts.axes import Axis, decimals_of, nice_step
from ...charts.panels import panel
from ...draw import text
from ...draw.belt_colours import motor_colour
from ...draw.theme import Look
from .own_path import ROUNDED_MM, OwnPath


def draw_angles(target: pygame.Surface, look: Look, rect: pygame.Rect, path: OwnPath) -> None:
    """Each motor's angle over the time it was drawn in, in its colour, with its letter at the end."""
    theme = look.theme
    box = panel(target, look, rect, "Motor angles", ["turns, over the time you draw", "turns"])
    names, machine = path.bench.names, path.bench.machine
    foot, gutter, side = look.px(22), look.px(44), look.px(22)
    area = pygame.Rect(box.x + gutter, box.y + look.px(4), box.w - gutter - side, box.h - foot - look.px(4))
    turns = np.array(path.angles) / (2 * math.pi) if path.angles else np.zeros((0, len(names)))
    most = max(0.25, float(np.abs(turns).max(initial=0.0)) * 1.1)
    end = max(2.0, path.times_s[-1] if path.times_s else 0.0)
    across, up = Axis(0.0, end, area.x, area.right), Axis(-most, most, area.bottom, area.y)
    step = nice_step(2 * most, max(4, area.h // look.px(24)))
    for k in range(-int(most / step), int(most / step) + 1):
        level = round(float(up(k * step)))
        target.fill(theme.grid if k else theme.line, (area.x, level, area.w, look.px(1)))
        said = text.number(k * step, decimals_of(step), signed=True)
        text.draw(target, look, said, area.x - look.px(8), level + look.px(5), 14, colour=theme.dim, align="right")
    text.draw(target, look, "0", area.x, box.bottom, 14, colour=theme.dim)
    text.draw(target, look, f"{text.number(end, 1)} s", area.right, box.bottom, 14, colour=theme.dim, align="right")
    if len(turns) < 2:
        return
    t = np.asarray(across(np.array(path.times_s)))
    ends = []
    for k, name in enumerate(names):
        colour = motor_colour(theme, machine, k)
        line = np.column_stack([t, np.asarray(up(turns[:, k]))])
        pygame.draw.lines(target, colour, False, line.tolist(), max(2, look.px(2)))
        ends.append((float(line[-1, 1]), name.upper(), colour))
    last = -1e9
    for y, name, colour in sorted(ends):
        last = max(y + look.px(5), last + look.px(16))
        text.draw(target, look, name, float(t[-1]) + look.px(6), last, 14, bold=True, colour=colour)


def draw_path_facts(
    target: pygame.Surface, look: Look, rect: pygame.Rect, path: OwnPath, running: bool, foot: int
) -> None:
    """What to do, or how long the path is and what running it means. foot: room that buttons take, px."""
    box = panel(target, look, rect, "Your path")
    if running:
        words = "The machine runs it; the ringing test opens with what came of it."
    elif not path.points:
        words = "Press on the bed and draw. The motors follow the tool wherever it goes."
    elif not path.ready:
        words = "Draw on; let go, and it can be run."
    else:
        length = text.number(path.length_m * 1e3)
        words = f"{length} mm long. Run it at the set speed; corners are cut by up to {text.plain(ROUNDED_MM)} mm."
    y = box.y + look.px(16)
    for line in text.wrap(look, words, box.w, 16):
        if y > rect.bottom - foot:
            return
        text.draw(target, look, line, box.x, y, 16)
        y += look.px(22)
