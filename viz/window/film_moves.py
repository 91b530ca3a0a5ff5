"""A film of one way to swing: what moves and what would help, the machine from its sides, what gives way, its frequency."""

from __future__ import annotations

import math

import pygame
from beltspring.sim import Way

from ..charts.shares import draw_shares
from ..charts.shown import Shown
from ..charts.tool_strip import ToolStrip
from ..draw import text
from ..draw.canvas import rounded
from ..draw.side_views import PLANES
from ..draw.swing import Swing
from ..draw.swing_panel import draw_near, draw_side, near_of
from .film_parts import LARGER, LEAST_BOTH, FilmLaid, draw_frame, film_look

SWINGS = 4  # shown in a film, one a second: it ends where it begins


class MovesPage(FilmLaid):
    """Draws a way to swing into a picture of `size`, px; time goes on by `advance`. most: amplitude drawn, of the shape's."""

    name, title, uses_clock, show_s = "moves", "What moves", False, float(SWINGS)

    def __init__(
        self, shown: Shown, way: Way, swing: Swing, most: float, theme: str, size: tuple[int, int], settings: str
    ) -> None:
        self.shown, self.way, self.swing, self.most = shown, way, swing, most
        self.size, self.settings = size, settings
        self.look, self.big = film_look(theme, size), film_look(theme, size, LARGER)
        self.slow: list[tuple[float, float]] = []
        self._strip, self._at_s = ToolStrip(), 0.0

    def advance(self, dt: float) -> bool:
        """Let time pass."""
        self._at_s += dt
        return True

    def draw(self, target: pygame.Surface, time_s: float, speed: float) -> None:
        """The page as it stands."""
        look, big, way = self.look, self.big, self.way
        body, foot = draw_frame(target, look, ((way.title,), (way.helps,)), self.settings)
        gap, low = look.px(28), body.h < look.px(LEAST_BOTH)
        views = pygame.Rect(body.x, body.y, round(body.w * (0.62 if low else 0.7)), body.h)
        facts = pygame.Rect(views.right + gap, body.y, body.right - views.right - gap, body.h)
        for rect in (views, facts):
            rounded(target, rect, look.px(12), look.theme.panel)
        self._views(target, views.inflate(-2 * look.px(22), -2 * look.px(18)), low)
        pad = look.px(24)
        text.draw(target, look, "What gives way", facts.x + pad, facts.y + look.px(42), 26, bold=True)
        area = pygame.Rect(facts.x + pad, facts.y + look.px(60), facts.w - 2 * pad, facts.h - look.px(70))
        shares = [(s.name, s.share) for s in way.holds]
        rows = shares if low else shares[: max(1, area.h // 2 // big.px(30))]
        y = draw_shares(target, big, area, rows)
        if not low:
            text.draw(target, look, "What moves", facts.x + pad, y + look.px(44), 26, bold=True)
            area = pygame.Rect(area.x, y + look.px(62), area.w, facts.bottom - y - look.px(72))
            draw_shares(target, big, area, [(s.name, s.share) for s in way.moves], lambda name: self._colour_of(name))
        self._foot(target, foot)

    def _colour_of(self, name: str) -> tuple[int, int, int] | None:
        """Parts that the sentence names have the colour of the tool's motion."""
        named = [s.name for s in self.way.moves[: len(self.way.named)]]
        return self._colour() if name in named else None

    def _colour(self) -> tuple[int, int, int]:
        theme, way = self.look.theme, self.way
        return theme.axis(way.towards) if way.towards else theme.text

    def _views(self, target: pygame.Surface, rect: pygame.Rect, low: bool) -> None:
        """From near, large; the whole machine from that side and another, small."""
        way, gap = self.way, self.look.px(22)
        near = near_of(self.swing, way.named, way.towards)
        now = self.most * math.sin(2 * math.pi * self._at_s)
        how = (self.swing, now, self.most, way.named, self._colour(), ())
        large = pygame.Rect(rect.x, rect.y, round(rect.w * (0.58 if low else 0.62)), rect.h)
        others = [near] if low else [next(name for name in PLANES if name != near), near]
        x, h = large.right + gap, (rect.h - gap * (len(others) - 1)) // len(others)
        draw_near(target, large, self.big, near, way.towards, *how)
        for k, name in enumerate(others):
            cell = pygame.Rect(x, rect.y + k * (h + gap), rect.right - x, h)
            draw_side(target, cell, self.big, name, *how)

    def _foot(self, target: pygame.Surface, rect: pygame.Rect) -> None:
        """Its frequency, how fast it is shown, and where it stands in what the tool shows."""
        look, hz = self.look, f"{text.sensible(self.way.mode.frequency_hz, 3)} Hz"
        text.draw(target, look, hz, rect.x, rect.y + look.px(44), 40, bold=True)
        said = "shown at 1 swing a second"
        text.draw(target, look, said, rect.x, rect.y + look.px(80), 22, colour=look.theme.dim)
        x = rect.x + text.width(look, said, 22) + look.px(40)
        panel = pygame.Rect(x, rect.y - look.px(8), rect.right - x, rect.h + look.px(8))
        rounded(target, panel, look.px(12), look.theme.panel)
        area = panel.inflate(-2 * look.px(22), -2 * look.px(10))
        self._strip.draw(target, area, self.big, self.shown, self.way.seen_hz)
