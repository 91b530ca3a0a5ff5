"""A film of compared designs: the verdict, what each leaves at this corner, their machines, curves and lines at one clock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pygame

from ..charts.corner_overlay import CornerLens, CornerOverlay, Entry
from ..charts.corners import Corner
from ..charts.marks import mark
from ..charts.printed import magnification_words
from ..charts.shown import Shown
from ..draw import text
from ..draw.canvas import rounded
from .film_parts import LARGER, LEAST_BOTH, FilmLaid, Told, draw_frame, draw_time_foot, film_look, slowed

Design = tuple[str, Shown]


class ComparePage(FilmLaid):
    """Draws designs at an instant into a picture of `size`, px. designs: (name, run), three at most; verdict: a sentence.

    only: the number of the corner it is about; None: all. Time is that of the slowest; at a corner it counts for each from
    its own stop.
    """

    name, title = "compare", "Compare"

    def __init__(
        self,
        designs: Sequence[Design],
        verdict: str,
        theme: str,
        size: tuple[int, int],
        settings: str,
        only: int | None = None,
    ) -> None:
        self.designs, self.verdict, self.settings, self.size = list(designs), verdict, settings, size
        self.shown = max((shown for _, shown in designs), key=lambda s: s.end_s)
        self.only = self.shown.corners[only] if only is not None else None
        self.look, self.big = film_look(theme, size), film_look(theme, size, LARGER)
        self.slow = slowed(self.shown, self.only)
        self._overlay, self._lens = CornerOverlay(), CornerLens()

    def entries(self, corner: Corner) -> list[Entry]:
        """Every design at its own corner of that number."""
        number = self.shown.corners.index(corner)
        out = []
        for k, (label, shown) in enumerate(self.designs):
            if shown.corners:
                out.append(Entry(label, shown, shown.corners[min(number, len(shown.corners) - 1)], k))
        return out

    def told(self, corner: Corner | None) -> Told:
        """The verdict, and how far off the line each design is at the corner, the least first."""
        verdict = (self.verdict, f"{self.verdict.partition(', judged')[0].removesuffix('.')}.")
        if corner is None:
            return verdict, ("It goes on without a stop.",)
        off = sorted((_most_m(e), e.label) for e in self.entries(corner))
        where = f"{corner.name[0].upper()}{corner.name[1:]}"
        said = [f"{label} {text.length(most)}" for most, label in off]
        return verdict, (f"{where}, most off the line: {', '.join(said)}.", f"{where}, least off the line: {said[0]}.")

    # ---- drawing

    def draw(self, target: pygame.Surface, time_s: float, speed: float) -> None:
        """The page at a time. speed: of the film there, as a share of real time."""
        look, corner = self.look, self.corner(time_s)
        body, foot = draw_frame(target, look, self.told(corner), self.settings)
        gap, low = look.px(28), body.h < look.px(LEAST_BOTH)
        above = pygame.Rect(body.x, body.y, body.w, 0 if low else round(body.h * 0.54))
        y = body.y if low else above.bottom + gap
        curves = pygame.Rect(body.x, y, round(body.w * 0.68), body.bottom - y)
        lens = pygame.Rect(curves.right + gap, y, body.right - curves.right - gap, body.bottom - y)
        now_s = time_s - corner.stop_s if corner is not None else time_s
        entries = self.entries(corner) if corner is not None else []
        if not low:
            self._machines(target, above, entries, now_s, time_s)
        if corner is not None:
            self._curves(target, curves, entries, corner, now_s)
            self._corner(target, lens, entries)
        draw_time_foot(target, look, foot, self.shown, time_s, speed, self.slow, corner)

    def _machines(
        self, target: pygame.Surface, rect: pygame.Rect, entries: Sequence[Entry], now_s: float, time_s: float
    ) -> None:
        """A panel a design: its name, its machine with the ringing drawn larger, and how far it is off."""
        look, theme, gap = self.look, self.look.theme, self.look.px(28)
        shown = entries or [
            Entry(label, s, Corner("", "", 0.0, 0.0, 0.0, (0.0, 0.0)), k) for k, (label, s) in enumerate(self.designs)
        ]
        wide = (rect.w - gap * (len(shown) - 1)) // len(shown)
        larger = min(e.shown.larger for e in shown)
        for k, e in enumerate(shown):
            room = pygame.Rect(rect.x + k * (wide + gap), rect.y, wide, rect.h)
            at = min(max(0.0, e.corner.stop_s + now_s if entries else time_s), e.shown.end_s)
            rounded(target, room, look.px(12), theme.panel)
            pad, base = look.px(22), room.y + look.px(42)
            mark(target, self.big, e.number, (room.x + pad + look.px(8), base - look.px(9)), e.colour(look))
            name = text.fit(look, e.label, round(room.w * 0.52), 26, True)
            text.draw(target, look, name, room.x + pad + look.px(28), base, 26, bold=True, colour=e.colour(look))
            off = f"{text.length(abs(float(e.shown.at(at, e.shown.sideways_m))))} off now"
            text.draw(target, look, off, room.right - pad, base, 26, bold=True, align="right")
            area = pygame.Rect(room.x + pad, base + look.px(16), room.w - 2 * pad, room.bottom - base - look.px(64))
            box = e.shown.view.fitted(area)
            state = replace(e.shown.machine_state(at, larger=larger), plain=True)
            e.shown.view.draw(target, box, look, state, labels="none")
            words = f"ringing drawn {magnification_words(larger)} larger"
            y = room.bottom - look.px(16)
            text.draw(target, look, words, room.centerx, y, 22, colour=theme.dim, align="center")

    def _panel(self, target: pygame.Surface, rect: pygame.Rect, title: str, about: str) -> pygame.Rect:
        """A panel with its title and, where there is room, what it means; returns the room below."""
        look = self.look
        rounded(target, rect, look.px(12), look.theme.panel)
        base, pad = rect.y + look.px(40), look.px(24)
        used = text.draw(target, look, title, rect.x + pad, base, 26, bold=True)
        if text.width(look, about, 22) <= rect.right - pad - used.right - look.px(16):
            text.draw(target, look, about, rect.right - pad, base, 22, colour=look.theme.dim, align="right")
        return pygame.Rect(rect.x + pad, base + look.px(14), rect.w - 2 * pad, rect.bottom - base - look.px(26))

    def _curves(
        self, target: pygame.Surface, rect: pygame.Rect, entries: Sequence[Entry], corner: Corner, now_s: float
    ) -> None:
        box = self._panel(target, rect, "Off the line, µm", "")
        later = [c.begin_s for c in self.shown.corners if c.stop_s > corner.stop_s]
        span = (corner.begin_s - corner.stop_s, min([corner.end_s, *later]) - corner.stop_s)
        self._overlay.draw(target, box, self.big, entries, span, now_s, still=False)

    def _corner(self, target: pygame.Surface, rect: pygame.Rect, entries: Sequence[Entry]) -> None:
        box = self._panel(target, rect, "The corner", "")
        larger = self._lens.draw(target, box, self.big, entries)
        about, look = f"{magnification_words(larger)} larger", self.look
        text.draw(
            target,
            look,
            about,
            rect.right - look.px(24),
            rect.y + look.px(40),
            22,
            colour=look.theme.dim,
            align="right",
        )


def _most_m(entry: Entry) -> float:
    """How far a design is off the line at most about its corner, m."""
    part = (entry.shown.t_s >= entry.corner.begin_s) & (entry.shown.t_s <= entry.corner.end_s)
    return float(np.abs(entry.shown.sideways_m[part]).max()) if part.any() else 0.0
