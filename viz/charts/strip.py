"""The whole move as a strip: one low curve, a frame around what is looked at, its corners by name."""

from __future__ import annotations

import pygame

from ..draw import text
from ..draw.room import Room, Spot
from ..draw.theme import Colour, Look
from .axes import Axis, TimePlot
from .corners import Corner
from .curves import Array
from .shown import Shown


class StripPlot(TimePlot):
    """Curves of one or more runs over the whole move, without axes. Remembers where its corners are named."""

    def draw(
        self,
        target: pygame.Surface,
        rect: pygame.Rect,
        look: Look,
        curves: list[tuple[Array, Array, Colour]],
        shown: Shown,
        span: tuple[float, float],
        chosen: Corner | None,
        now_s: float | None,
        *,
        key: tuple[object, ...],
    ) -> None:
        """Draw into `rect`, the lowest part of it for names. curves: (t, m, colour).  span: what the frame goes round, s."""
        foot = look.px(22)
        area = pygame.Rect(rect.x, rect.y, rect.w, rect.h - foot)
        end_s = max(shown.end_s, 1e-3)
        self.area, self.time = area, Axis(0.0, end_s, area.x, area.right)
        most = max((float(abs(v).max()) for _, v, _ in curves if len(v)), default=0.0) * 1e6
        lines = [(t, v * 1e6, colour) for t, v, colour in curves]
        self.images((*key, rect.size, rect.topleft, look), look, rect, [area], [max(most * 1.08, 0.5)], [lines], [])
        self.put(target, rect, now_s)
        a, b = float(self.time(max(0.0, span[0]))), float(self.time(min(end_s, span[1])))
        wide = max(look.px(10), round(b - a))
        frame = pygame.Rect(round((a + b - wide) / 2), area.y, wide, area.h).clamp(area)
        pygame.draw.rect(target, look.theme.text, frame, look.px(2), border_radius=look.px(4))
        room = Room(look, pygame.Rect(rect.x, area.bottom, rect.w, foot))
        baseline = area.bottom + look.px(16)
        if chosen is not None:
            self._name(target, look, room, chosen, baseline, chosen=True)
        for corner in shown.corners:
            if corner != chosen:
                self._name(target, look, room, corner, baseline, chosen=False)

    def _name(
        self, target: pygame.Surface, look: Look, room: Room, corner: Corner, baseline: int, *, chosen: bool
    ) -> None:
        """The chosen corner is always named, the others where there is room."""
        x = float(self.time(corner.stop_s))
        short = corner.name.removeprefix("corner ")
        half = text.width(look, corner.name, 14, chosen) / 2
        middle = min(max(x, room.area.x + half), room.area.right - half)
        spots = [Spot(middle, baseline, "center"), Spot(x, baseline, "center")]
        colour = look.theme.text if chosen else look.theme.dim
        words = [corner.name] if chosen else [corner.name, short]
        used = room.write(target, words, spots, bold=chosen, colour=colour, must=chosen)
        if used is not None:
            room.take(used.inflate(look.px(16), 0))  # names of a program's many lines would run into one another

    def corner_at(self, corners: list[Corner], x: float) -> int | None:
        """Number of the corner nearest to a place on the strip, px."""
        if not corners:
            return None
        return min(range(len(corners)), key=lambda k: abs(float(self.time(corners[k].stop_s)) - x))
