"""How far the tool is from where it was told to be, X and Y, over time."""

from __future__ import annotations

import pygame
from beltspring.sim import DEVIATION

from ..draw import text
from ..draw.canvas import disc
from ..draw.theme import Look
from .axes import Axis, TimePlot, decimals_of, row_limit, symmetric_ticks, time_labels
from .shown import Shown


class DeviationPlot(TimePlot):
    """Tool deviation in X and Y on one shared µm scale."""

    def __init__(self) -> None:
        super().__init__()
        #: where the words at each axis' largest stand in the picture being drawn, px
        self.words: dict[str, pygame.Rect] = {}

    def draw(
        self,
        target: pygame.Surface,
        rect: pygame.Rect,
        look: Look,
        shown: Shown,
        now_s: float | None,
        *,
        window: tuple[float, float] | None = None,
        cursor: bool = True,
    ) -> None:
        """Draw into `rect`. now_s: the clock; None for a still picture. window: part of the time shown, s."""
        gutter, foot, top = look.px(64), look.px(30), look.px(4)
        area = pygame.Rect(rect.x + gutter, rect.y + top, rect.w - gutter, rect.h - foot - top)
        between = look.px(14)
        height = (area.h - between) // 2
        rows = [pygame.Rect(area.x, area.y, area.w, height), pygame.Rect(area.x, area.bottom - height, area.w, height)]
        low, high = window or (0.0, max(shown.end_s, 1e-3))
        self.area, self.time = area, Axis(low, high, area.x, area.right)
        limit = row_limit(max(abs(v.value_m) for v in shown.largest.values()) * 1e6)
        t = shown.t_s
        curves = [[(t, shown.deviation_m[a] * 1e6, look.theme.axis(a))] for a in ("x", "y")]
        self.images(
            (shown.serial, rect.size, rect.topleft, look, low, high), look, rect, rows, [limit] * 2, curves, shown.ramps
        )
        self.put(target, rect, now_s)
        for row, axis in zip(rows, ("x", "y"), strict=True):
            self._row(target, look, rect, row, shown, axis, limit, now_s)
        time_labels(target, look, area, self.time, rect.bottom - look.px(8))
        if now_s is not None and cursor and low <= now_s <= high:
            x = round(float(self.time(now_s)))
            target.fill(look.theme.text, (x, area.y, look.px(1), area.h))
            for row, axis in zip(rows, ("x", "y"), strict=True):
                self._reading(target, look, area, row, shown, axis, limit, now_s)

    def _row(
        self,
        target: pygame.Surface,
        look: Look,
        rect: pygame.Rect,
        row: pygame.Rect,
        shown: Shown,
        axis: str,
        limit: float,
        now_s: float | None,
    ) -> None:
        value = Axis(-limit, limit, row.bottom, row.y)
        for tick in symmetric_ticks(limit):
            words = text.number(tick, decimals_of(tick) if tick else 0, signed=True)
            y = float(value(tick)) + look.px(5)
            text.draw(target, look, words, row.x - look.px(9), y, 14, colour=look.theme.dim, align="right")
        colour = look.theme.axis(axis)
        text.draw(target, look, axis.upper(), rect.x, row.centery + look.px(5), 16, bold=True, colour=colour)
        self.words.pop(axis, None)
        largest = shown.largest[axis]
        if not self.time.low <= largest.time_s <= self.time.high or largest.value_m == 0:
            return
        at = (float(self.time(largest.time_s)), float(value(largest.value_m * 1e6)))
        disc(target, at, look.px(4), colour)
        words = f"{DEVIATION} {text.micrometres(abs(largest.value_m))} µm"
        room = text.width(look, words, 14)
        left = at[0] - look.px(10) - room
        # The word stands on the side of its mark where neither the edge nor the clock's reading is.
        cursor = float(self.time(now_s)) if now_s is not None else -1e9
        blocked = left < row.x or (left - look.px(8) < cursor + look.px(90) and cursor < at[0])
        fits_right = at[0] + look.px(10) + room < row.right
        x = at[0] + look.px(10) if blocked and fits_right else max(left, row.x)
        self.words[axis] = _box(look, x, at[1] + look.px(5), room, 14)
        text.draw(target, look, words, x, at[1] + look.px(5), 14, colour=colour, back=look.theme.panel)

    def _reading(
        self,
        target: pygame.Surface,
        look: Look,
        area: pygame.Rect,
        row: pygame.Rect,
        shown: Shown,
        axis: str,
        limit: float,
        now_s: float,
    ) -> None:
        value_m = float(shown.at(now_s, shown.deviation_m[axis]))
        x = float(self.time(now_s))
        y = float(Axis(-limit, limit, row.bottom, row.y)(value_m * 1e6))
        colour = look.theme.axis(axis)
        disc(target, (x, y), look.px(5), look.theme.panel)
        disc(target, (x, y), look.px(4), colour)
        words = f"{text.number(value_m * 1e6, 1, signed=True)} µm"
        left, base = self._free_place(look, area, row, axis, x, text.width(look, words, 16, True))
        text.draw(target, look, words, left, base, 16, bold=True, colour=colour, back=look.theme.panel)

    def _free_place(
        self, look: Look, area: pygame.Rect, row: pygame.Rect, axis: str, x: float, width: float
    ) -> tuple[float, float]:
        """Left end and base line of the clock's reading, px: beside the clock, clear of the words at the largest."""
        sides = (x + look.px(12), x - look.px(12) - width)
        places = [(left, base) for base in (row.y + look.px(15), row.bottom - look.px(6)) for left in sides]
        inside = [p for p in places if area.x <= p[0] and p[0] + width <= area.right] or places
        taken = self.words.get(axis)
        free = [p for p in inside if taken is None or not _box(look, *p, width, 16).colliderect(taken)]
        return (free or inside)[0]


def _box(look: Look, left: float, base: float, width: float, size: int) -> pygame.Rect:
    """What a line of words on this base line covers, with a little air around it, px."""
    air = look.px(4)
    return pygame.Rect(round(left) - air, round(base) - look.px(size), round(width) + 2 * air, look.px(size + 5))
