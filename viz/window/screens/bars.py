"""How far each carriage of a machine on arms has been lifted: upright bars on one scale, with a line where rest is."""

from __future__ import annotations

import pygame

from ...draw import text
from ...draw.canvas import Layer, arrow
from ...draw.theme import Look
from .bench_arms import ArmsBench


def draw_bars(bench: ArmsBench, target: pygame.Surface, look: Look, rect: pygame.Rect) -> None:
    """One bar a carriage in its belt's colour, from the line of rest up or down, its way in mm below."""
    theme, slid = look.theme, bench.slid_m
    head, foot = look.px(22), look.px(40)
    if rect.h < head + foot + look.px(40):
        return
    used = text.draw(target, look, "Carriages", rect.x, rect.y + look.px(12), 16, bold=True)
    text.draw(target, look, "height, mm", used.right + look.px(8), rect.y + look.px(12), 14, colour=theme.dim)
    area = pygame.Rect(rect.x, rect.y + head, rect.w, rect.h - head - foot)
    most = bench.most_slide_m
    scale = (area.h / 2 - look.px(2)) / most
    middle = area.centery
    pitch = area.w // len(bench.names)
    layer = Layer(area.size, 2, brief=True)
    layer.surface.fill(theme.panel)
    for k, way in enumerate(slid):
        x = (k + 0.5) * pitch * 2
        wide = look.px(14) * 2
        layer.surface.fill(theme.grid, (round(x - wide / 2), 0, wide, area.h * 2))
        y0, y1 = area.h, area.h - float(way) * scale * 2
        top, tall = min(y0, y1), abs(y1 - y0)
        layer.surface.fill(theme.belts[k % 3], (round(x - wide / 2), round(top), wide, max(2, round(tall))))
        if tall > look.px(16):
            arrow(layer.surface, (x, y0), (x, y1), 3 * look.scale, theme.panel, 14 * look.scale)
    layer.surface.fill(theme.dim, (0, area.h - 1, area.w * 2, max(2, round(2 * look.scale))))
    layer.onto(target, area.topleft)
    text.draw(target, look, "rest", area.x, middle - look.px(4), 14, colour=theme.dim)
    for k, (name, way) in enumerate(zip(bench.names, slid, strict=True)):
        x = area.x + round((k + 0.5) * pitch)
        text.draw(target, look, name.upper(), x, area.bottom + look.px(15), 14, bold=True, colour=theme.belts[k % 3],
                  align="center")  # fmt: skip
        value = text.number(float(way) * 1e3, 1, signed=True)
        text.draw(target, look, value, x, area.bottom + look.px(33), 14, colour=theme.text, align="center")
