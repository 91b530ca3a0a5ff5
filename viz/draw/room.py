"""Room for words: one list of what is taken in a picture, and the curves on which nothing is written.

Everything that writes into a picture asks here first. A word gets the first of the places offered that lies in its area
and covers neither another word nor a curve; where there is none it is left out, unless it must be there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pygame
from numpy.typing import NDArray

from . import text
from .text import Align
from .theme import Colour, Look

Array = NDArray[np.float64]

#: How much of words stands to the left of their spot.
ALIGNED: dict[Align, float] = {"left": 0.0, "center": 0.5, "right": 1.0}
AIR = 3  # px at scale 1 between words, and from a word to a curve


@dataclass(frozen=True)
class Spot:
    """A place for words: x of their left end, middle or right end, and the base line, px."""

    x: float
    baseline: float
    align: Align = "left"


@dataclass(frozen=True)
class Line:
    """Words of a block, with how they are written."""

    words: str
    colour: Colour
    size: int = 14
    bold: bool = False


class Room:
    """What is taken in one picture. area: where words may stand; `within` gives a part of it with the same list."""

    def __init__(self, look: Look, area: pygame.Rect) -> None:
        self.look = look
        self.area = area
        self.taken: list[pygame.Rect] = []
        self.curves: list[_Curve] = []

    def within(self, area: pygame.Rect) -> Room:
        """The same list, for words that stay inside `area`."""
        part = Room(self.look, area)
        part.taken, part.curves = self.taken, self.curves
        return part

    def take(self, rect: pygame.Rect) -> pygame.Rect:
        """Nothing else may stand there."""
        if rect.w > 0 and rect.h > 0:
            self.taken.append(rect)
        return rect

    def avoid(self, points: Array) -> None:
        """No word may lie on the line through these points, (n, 2) px."""
        if len(points) > 1:
            self.curves.append(_Curve(np.asarray(points, float)))

    def free(self, rect: pygame.Rect) -> bool:
        """Whether a word may stand there: in the area, on no other word, on no curve."""
        if not self.area.contains(rect):
            return False
        wide = self._wide(rect)
        return wide.collidelist(self.taken) < 0 and not any(c.crossings(wide) for c in self.curves)

    def cost(self, rect: pygame.Rect) -> int:
        """How much is covered there: pieces of curves, and a great deal for each word."""
        wide = self._wide(rect)
        return 1000 * len(wide.collidelistall(self.taken)) + sum(c.crossings(wide) for c in self.curves)

    def _wide(self, rect: pygame.Rect) -> pygame.Rect:
        """A word with the air about it."""
        air = 2 * self.look.px(AIR)
        return rect.inflate(air, air)

    def ink(self, words: str, spot: Spot, size: int, bold: bool = False) -> pygame.Rect:
        """What words cover at a spot, px."""
        wide = text.width(self.look, words, size, bold)
        return text.ink_of(self.look, _left(spot, wide), round(spot.baseline), wide, size)

    def write(
        self,
        target: pygame.Surface,
        words: str | Sequence[str],
        spots: Sequence[Spot],
        size: int = 14,
        *,
        bold: bool = False,
        colour: Colour | None = None,
        must: bool = False,
        back: Colour | None = None,
    ) -> pygame.Rect | None:
        """Write the first wording that has a free spot; returns what it covers, None where it was left out.

        must: where no spot is free, the first wording is written where it covers least, moved into the area.
        """
        wordings = [words] if isinstance(words, str) else list(words)
        for wording in wordings:
            for spot in spots:
                rect = self.ink(wording, spot, size, bold)
                if self.free(rect):
                    return self._put(target, wording, rect, spot.baseline, size, bold, colour, back)
        if not must or not spots:
            return None
        shortest = wordings[-1]
        offered = [(self.ink(shortest, spot, size, bold), spot) for spot in spots]
        moved = [(rect.clamp(self.area), rect, spot) for rect, spot in offered]
        rect, was, spot = min(moved, key=lambda m: self.cost(m[0]))
        return self._put(target, shortest, rect, spot.baseline + rect.y - was.y, size, bold, colour, back)

    def lines(
        self,
        target: pygame.Surface,
        lines: Sequence[Line],
        spots: Sequence[Spot],
    ) -> pygame.Rect | None:
        """Write lines below one another where all of them are free; None where they are nowhere. Spots: of the first."""
        pitch = self.look.px(19)
        inks = [self.ink(line.words, Spot(0.0, 0.0), line.size, line.bold) for line in lines]  # moved to each spot
        for number in self._hopeful(inks, spots, pitch):
            spot, rects = spots[number], []
            for k, ink in enumerate(inks):
                rect = ink.move(_left(spot, ink.w), round(spot.baseline + k * pitch))
                if not self.free(rect):
                    break
                rects.append(rect)
            else:
                for k, (line, rect) in enumerate(zip(lines, rects, strict=True)):
                    baseline = spot.baseline + k * pitch
                    self._put(target, line.words, rect, baseline, line.size, line.bold, line.colour, None)
                return rects[0].unionall(rects[1:])
        return None

    def _hopeful(self, inks: Sequence[pygame.Rect], spots: Sequence[Spot], pitch: int) -> list[int]:
        """Numbers of the spots at which lines lie in the area and on no other word; curves are not looked at."""
        x, base = np.array([s.x for s in spots], float), np.array([s.baseline for s in spots], float)
        share = np.array([ALIGNED[s.align] for s in spots], float)
        taken = np.array([(*t.topleft, *t.bottomright) for t in self.taken], float).reshape(-1, 4).T
        air, area = self.look.px(AIR), self.area
        good = np.ones(len(spots), np.bool_)
        for k, ink in enumerate(inks):
            left, top = np.rint(x - share * ink.w), ink.y + np.rint(base + k * pitch)
            right, bottom = left + ink.w, top + ink.h
            good &= (left >= area.left) & (top >= area.top) & (right <= area.right) & (bottom <= area.bottom)
            x0, y0, x1, y1 = (edge[:, None] for edge in (left - air, top - air, right + air, bottom + air))
            good &= ~((x0 < taken[2]) & (x1 > taken[0]) & (y0 < taken[3]) & (y1 > taken[1])).any(axis=1)
        return [int(k) for k in np.flatnonzero(good)]

    def _put(
        self,
        target: pygame.Surface,
        words: str,
        rect: pygame.Rect,
        baseline: float,
        size: int,
        bold: bool,
        colour: Colour | None,
        back: Colour | None,
    ) -> pygame.Rect:
        text.draw(target, self.look, words, rect.x, baseline, size, bold=bold, colour=colour, back=back)
        return self.take(rect)


def _left(spot: Spot, wide: int) -> int:
    """Left end of words so many px wide at a spot, px."""
    return round(spot.x - ALIGNED[spot.align] * wide)


class _Curve:
    """A line through points (n, 2), px, with the box of each of its pieces; asked for hundreds of words."""

    def __init__(self, points: Array) -> None:
        self.points = points
        low, high = np.minimum(points[:-1], points[1:]), np.maximum(points[:-1], points[1:])
        (self.left, self.top), (self.right, self.bottom) = low.T.copy(), high.T.copy()
        self.onward = bool(np.all(np.diff(points[:, 0]) >= 0.0))  # then the pieces at a word stand together

    def crossings(self, rect: pygame.Rect) -> int:
        """How many pieces of the line touch a rectangle."""
        first, last = 0, len(self.left)
        if self.onward:
            first = int(self.right.searchsorted(rect.left, "right"))
            last = int(self.left.searchsorted(rect.right, "left"))
        left, right, top, bottom = (edge[first:last] for edge in (self.left, self.right, self.top, self.bottom))
        near = (top < rect.bottom) & (bottom > rect.top)
        if not self.onward:
            near &= (left < rect.right) & (right > rect.left)
        at = near.nonzero()[0]
        if not len(at):
            return 0
        # A piece that hardly goes aside crosses wherever its box does.
        steep = (right[at] - left[at] <= 2.0) | (bottom[at] - top[at] <= 2.0)
        others = first + at[~steep]
        return int(steep.sum()) + sum(
            bool(rect.clipline(self.points[k].tolist(), self.points[k + 1].tolist())) for k in others
        )


def around(at: tuple[float, float], gap: float, size: float) -> list[Spot]:
    """Places beside a mark at `at`, px: right, left, then above and below it. size: of the words, px."""
    x, y = at
    level, above, below = y + 0.36 * size, y - gap, y + gap + 0.72 * size
    return [
        Spot(x + gap, level), Spot(x - gap, level, "right"), Spot(x + gap, above), Spot(x - gap, above, "right"),
        Spot(x + gap, below), Spot(x - gap, below, "right"), Spot(x, above, "center"), Spot(x, below, "center"),
    ]  # fmt: skip


def nearby(
    area: pygame.Rect, at: tuple[float, float], gap: float, step: tuple[int, int], most: int = 160
) -> list[Spot]:
    """Places all over an area, the nearest to a mark first: to its right from `gap` on, and to its left. step: px."""
    rows = np.arange(area.top + step[1], area.bottom, step[1])
    out: list[tuple[float, Spot]] = []
    for side, align in ((1.0, "left"), (-1.0, "right")):
        reach = (area.right - at[0]) if side > 0 else (at[0] - area.left)
        for far in np.arange(gap, max(reach, gap + 1), step[0]):
            for row in rows:
                # A word's middle lies above its base line.
                away = float(np.hypot(far, 1.5 * (row - 0.3 * step[1] - at[1])))
                out.append((away + (side < 0), Spot(at[0] + side * float(far), float(row), align)))  # type: ignore[arg-type]
    out.sort(key=lambda found: found[0])
    return [spot for _, spot in out[:most]]
