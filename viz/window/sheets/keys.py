"""Keys and cautions: the key table as a person reads it."""

from __future__ import annotations

import pygame

from ...draw import text
from ...draw.theme import Look
from ..keys import CAUTIONS, KEYS
from .sheet import Sheet


class KeysSheet(Sheet):
    """All keys in three columns, and the cautions."""

    title = "Keys and cautions"
    size = (1000, 620)

    def draw_inner(self, target: pygame.Surface, look: Look, rect: pygame.Rect) -> None:
        gap = look.px(24)
        width = (rect.w - 2 * gap) // 3
        columns = [pygame.Rect(rect.x + k * (width + gap), rect.y, width, rect.h) for k in range(3)]
        y = [c.y for c in columns]
        for group in KEYS:
            column, c = group.column, columns[group.column]
            text.draw(target, look, group.title, c.x, y[column] + look.px(14), 14, bold=True, colour=look.theme.dim)
            y[column] += look.px(22)
            for row in group.rows:
                text.draw(target, look, row.keys, c.x, y[column] + look.px(14), 14, bold=True)
                words = text.fit(look, row.words, c.w - look.px(112), 14)
                text.draw(target, look, words, c.x + look.px(112), y[column] + look.px(14), 14)
                y[column] += look.px(20)
            y[column] += look.px(9)
        top = max(y) + look.px(2)
        target.fill(look.theme.line, (rect.x, top, rect.w, look.px(1)))
        baseline = top + look.px(20)
        for caution in CAUTIONS:
            for line in text.wrap(look, caution, rect.w, 14):
                text.draw(target, look, line, rect.x, baseline, 14)
                baseline += look.px(18)
