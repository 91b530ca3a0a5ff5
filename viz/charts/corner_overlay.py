"""The same corner of compared designs: curves over one time that counts from each one's own stop, and their lines overlaid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pygame

from ..draw import text
from ..draw.canvas import dashes, disc
from ..draw.larger import one_figure
from ..draw.theme import Colour, Look
from .axes import Axis, TimePlot, curve_image, decimals_of, nice_step, row_limit, symmetric_ticks
from .corners import Corner
from .curves import Array
from .loop import SHARE, bars, loop_scale, loop_span_m
from .marks import mark
from .shown import Shown


@dataclass(frozen=True)
class Entry:
    """A design at one corner. number: of its colour and mark.  note: said below its name, such as its speed."""

    label: str
    shown: Shown
    corner: Corner
    number: int
    note: str = ""

    def colour(self, look: Look) -> Colour:
        """Of its curve and name."""
        return look.theme.designs[self.number % 3]


class CornerOverlay(TimePlot):
    """How far each design is off the line about one corner."""

    def draw(
        self,
        target: pygame.Surface,
        rect: pygame.Rect,
        look: Look,
        entries: Sequence[Entry],
        span: tuple[float, float],
        now_s: float,
        *,
        still: bool,
    ) -> None:
        """span, now_s: counted from the stop, s.  still: the clock has not moved, all is at full strength."""
        widest = max(max(text.width(look, e.label, 16, True), text.width(look, e.note, 14)) for e in entries)
        gutter, foot, end = look.px(44), look.px(28), min(widest + look.px(34), round(rect.w * 0.34))
        area = pygame.Rect(rect.x + gutter, rect.y + look.px(6), rect.w - gutter - end, rect.h - foot - look.px(6))
        low, high = span
        self.area, self.time = area, Axis(low, high, area.x, area.right)
        curves: list[tuple[Array, Array, Colour]] = []
        most = 0.0
        for e in entries:
            t = e.shown.t_s - e.corner.stop_s
            part = (t >= low) & (t <= high)
            v = e.shown.sideways_m[part] * 1e6
            most = max(most, float(np.abs(v).max()) if len(v) else 0.0)
            curves.append((t[part], v, e.colour(look)))
        limit = row_limit(most)
        key = (tuple((e.shown.serial, e.corner, e.number) for e in entries), rect.size, rect.topleft, look, low, high)
        first = entries[0]
        shaded = [(a - first.corner.stop_s, b - first.corner.stop_s) for a, b in first.shown.ramps]
        self.images(key, look, rect, [area], [limit], [curves], shaded)
        self.put(target, rect, None if still else max(now_s, low))
        up = Axis(-limit, limit, area.bottom, area.y)
        for tick in symmetric_ticks(limit):
            words = text.number(tick, decimals_of(tick) if tick else 0, signed=True)
            y = float(up(tick)) + look.px(5)
            text.draw(target, look, words, area.x - look.px(9), y, 14, colour=look.theme.dim, align="right")
        self._time(target, look, rect, first.corner)
        self._names(target, look, rect, entries)
        self._marks(target, look, entries, up, now_s)

    def _time(self, target: pygame.Surface, look: Look, rect: pygame.Rect, corner: Corner) -> None:
        low, high = self.time.low * 1e3, self.time.high * 1e3
        step = nice_step(high - low, max(2, self.area.w // look.px(62)))
        baseline = rect.bottom - look.px(6)
        for k in range(int(np.ceil(low / step - 1e-9)), int(np.floor(high / step + 1e-9)) + 1):
            x = float(self.time(k * step * 1e-3))
            words = text.number(k * step, decimals_of(step))
            text.draw(target, look, words, x, baseline, 14, colour=look.theme.dim, align="center")
        after = f"ms after {'the end' if corner.name == 'end' else corner.name}"
        room = rect.right - self.area.right - look.px(22)
        words = after if text.width(look, after, 14) <= room else "ms"
        text.draw(target, look, words, self.area.right + look.px(20), baseline, 14, colour=look.theme.dim)

    def _names(self, target: pygame.Surface, look: Look, rect: pygame.Rect, entries: Sequence[Entry]) -> None:
        x, y = self.area.right + look.px(20), self.area.y + look.px(12)
        pitch = max(look.px(17), min(look.px(44), (self.area.h - look.px(8)) // max(1, len(entries))))
        for e in entries:
            mark(target, look, e.number, (x, y - look.px(5)), e.colour(look))
            room = rect.right - x - look.px(12)
            name = text.fit(look, e.label, room, 16, True)
            text.draw(target, look, name, x + look.px(12), y, 16, bold=True, colour=e.colour(look))
            if e.note and pitch >= look.px(38):
                note = text.fit(look, e.note, room, 14)
                text.draw(target, look, note, x + look.px(12), y + look.px(18), 14, colour=look.theme.dim)
            y += pitch

    def _marks(self, target: pygame.Surface, look: Look, entries: Sequence[Entry], up: Axis, now_s: float) -> None:
        """The clock, each design's place at it, and a mark on each curve at its largest."""
        inside = self.time.low <= now_s <= self.time.high
        if inside:
            x = round(float(self.time(now_s)))
            target.fill(look.theme.text, (x, self.area.y, look.px(1), self.area.h))
        for e in entries:
            t = e.shown.t_s - e.corner.stop_s
            part = (t >= self.time.low) & (t <= self.time.high)
            v = np.abs(e.shown.sideways_m[part])
            if len(v):
                k = int(np.argmax(v))
                at = (float(self.time(float(t[part][k]))), float(up(float(e.shown.sideways_m[part][k]) * 1e6)))
                mark(target, look, e.number, at, e.colour(look))
            if inside:
                value = float(e.shown.at(e.corner.stop_s + now_s, e.shown.sideways_m)) * 1e6
                disc(target, (x, float(up(value))), look.px(5), look.theme.panel)
                disc(target, (x, float(up(value))), look.px(4), e.colour(look))


def lens_magnification(rect: pygame.Rect, entries: Sequence[Entry], span_m: float) -> float:
    """How much larger what the tools are off is drawn, the same for all: one figure and zeros."""
    most = 0.0
    for e in entries:
        part = (e.shown.t_s >= e.corner.begin_s) & (e.shown.t_s <= e.corner.end_s)
        most = max(most, float(np.abs(e.shown.sideways_m[part]).max()) if part.any() else 0.0)
    px_m = loop_scale(rect, entries[0].shown, entries[0].corner, span_m, 1.0).px_m
    return one_figure(SHARE * min(rect.w, rect.h) / (most * px_m)) if most > 1e-9 else 1.0


class CornerLens:
    """The corner of every design on one piece of paper, at one magnification. Keeps its two images between frames."""

    def __init__(self) -> None:
        self._key: tuple[object, ...] = ()
        self._images: tuple[pygame.Surface, pygame.Surface] | None = None

    def forget(self) -> None:
        """Let go of the images."""
        self._key, self._images = (), None

    def draw(self, target: pygame.Surface, rect: pygame.Rect, look: Look, entries: Sequence[Entry]) -> float:
        """Draw into `rect`, its foot for the bars; returns the magnification."""
        foot = look.px(26)
        paper = pygame.Rect(rect.x, rect.y, rect.w, rect.h - foot)
        span = max(loop_span_m(e.shown) for e in entries)
        larger = lens_magnification(paper, entries, span)
        key = (tuple((e.shown.serial, e.corner, e.number) for e in entries), paper.size, paper.topleft, look, larger)
        scale = loop_scale(paper, entries[0].shown, entries[0].corner, span, larger)
        if key != self._key or self._images is None:
            ground = pygame.Surface(paper.size, 0, 32)
            ground.fill(look.theme.panel)
            corner = np.array([paper.x, paper.y])
            for piece in dashes(scale.path(entries[0].shown.asked_m) - corner, 5 * look.scale, 4 * look.scale):
                pygame.draw.lines(ground, look.theme.asked, False, piece.tolist(), look.px(1))
            lines = []
            for e in entries:
                part = (e.shown.t_s >= e.corner.begin_s - 0.03) & (e.shown.t_s <= e.corner.end_s)
                place = slice(int(np.argmax(part)), int(len(part) - np.argmax(part[::-1])))
                points = scale.line(e.shown, place) - corner
                lines.append((points[:, 0], points[:, 1], e.colour(look)))
            self._images = (curve_image(look, paper.size, ground, lines, 2.0), ground)
            self._key = key
        target.blit(self._images[0], paper.topleft)
        bars(target, look, rect.x, rect.bottom - look.px(4), scale, rect.w)
        return larger
