"""One corner, close: how far the tool is off from shortly before its stop until it has calmed down."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pygame

from ..draw import text
from ..draw.canvas import dashes, disc
from ..draw.room import Room, Spot, around
from ..draw.theme import Colour, Look
from .axes import Axis, TimePlot, decimals_of, nice_step, row_limit, symmetric_ticks
from .corners import Corner
from .curves import Array, Fading, colour_of, fading, values_m
from .shown import Shown

SHADED = ("speeding up or slowing down", "speed changes")


class CornerPlot(TimePlot):
    """A curve about one corner, time counted from its stop, with how it fades in words."""

    def __init__(self) -> None:
        super().__init__()
        self._points: tuple[tuple[object, ...], list[Array]] = ((), [])
        self._fading: tuple[tuple[object, ...], Fading | None] = ((), None)
        self._dashed: tuple[tuple[object, ...], Fading | None, list[Any]] = ((), None, [])

    def draw(
        self,
        target: pygame.Surface,
        rect: pygame.Rect,
        look: Look,
        shown: Shown,
        curve: str,
        corner: Corner,
        now_s: float | None,
        *,
        span: tuple[float, float],
    ) -> None:
        """Draw into `rect`. span: the part of the time shown, s."""
        gutter, foot, top = look.px(44), look.px(30), look.px(24)
        area = pygame.Rect(rect.x + gutter, rect.y + top, rect.w - gutter - look.px(4), rect.h - foot - top)
        low, high = span
        self.area, self.time = area, Axis(low, high, area.x, area.right)
        part = (shown.t_s >= low) & (shown.t_s <= high)
        v = values_m(shown, curve)
        limit = row_limit(float(np.abs(v[part]).max()) * 1e6 if part.any() else 0.0)
        colour = colour_of(look, curve)
        curves = before_and_after_loss(shown, v * 1e6, colour, look)
        key = (shown.serial, curve, rect.size, rect.topleft, look, low, high)
        self.images(key, look, rect, [area], [limit], [curves], shown.ramps)
        self.put(target, rect, now_s)
        up = Axis(-limit, limit, area.bottom, area.y)
        room = Room(look, rect)
        for line in self._lines(key, shown.t_s[part], v[part] * 1e6, up):
            room.avoid(line)
        _value_words(target, look, room, rect, area, up, limit)
        _time_words(target, look, room, rect, area, self.time, corner)
        inside = room.within(area.inflate(0, 2 * top))
        if now_s is not None and low <= now_s <= high:
            self._now(target, look, inside, up, shown, v, now_s, colour)
        if shown.lost_from_s is not None and shown.lost_from_s < high:
            words = ["! steps lost: from here on all is in the wrong place", "! steps lost"]
            x = max(float(area.x), float(self.time(shown.lost_from_s)))
            spots = [Spot(x + look.px(6), y) for y in (area.y + look.px(14), area.bottom - look.px(6))]
            inside.write(target, words, spots, colour=look.theme.alarm, must=True)
        self._largest(target, look, inside, up, shown.t_s[part], v[part] * 1e6, colour)
        if shown.lost_from_s is None or shown.lost_from_s >= high:  # a lost step is no swing that fades
            self._fade(target, look, inside, up, self._found(shown, curve, corner), corner)
        for tick in symmetric_ticks(limit):
            inside.avoid(np.array([[area.x, up(tick)], [area.right, up(tick)]], float))
        _shaded_words(target, look, inside, area, self.time, shown)

    def _lines(self, key: tuple[object, ...], t: Array, v: Array, up: Axis) -> list[Array]:
        """The curve in px, for what has to keep off it."""
        if key != self._points[0]:
            self._points = (key, [np.column_stack([self.time(t), up(v)])])
        return self._points[1]

    def _found(self, shown: Shown, curve: str, corner: Corner) -> Fading | None:
        key = (shown.serial, curve, corner)
        if key != self._fading[0]:
            self._fading = (key, fading(shown, curve, corner))
        return self._fading[1]

    def _envelope(
        self, look: Look, up: Axis, found: Fading
    ) -> list[tuple[Array, list[tuple[list[float], list[float]]]]]:
        """Both sides of the envelope, (k, 2) px, and the lines of their dashes; kept, as they stay the same for many frames."""
        key = (id(found), look, up, self.time)
        if key != self._dashed[0]:
            both = []
            for sign in (1.0, -1.0):
                px = np.column_stack([self.time(found.time_s), up((found.about_m + sign * found.size_m) * 1e6)])
                px = px[(px[:, 0] >= self.area.x) & (px[:, 0] <= self.area.right)]
                pieces = (piece.tolist() for piece in dashes(px, 5.0 * look.scale, 4.0 * look.scale))
                both.append((px, [line for piece in pieces for line in itertools.pairwise(piece)]))
            self._dashed = (key, found, both)
        return self._dashed[2]

    def _now(
        self,
        target: pygame.Surface,
        look: Look,
        room: Room,
        up: Axis,
        shown: Shown,
        v: Array,
        now_s: float,
        colour: Colour,
    ) -> None:
        """The clock: a line, a dot on the curve, and the value at the top."""
        area = self.area
        value = float(shown.at(now_s, v))
        x, y = float(self.time(now_s)), float(up(value * 1e6))
        target.fill(look.theme.text, (round(x), area.y, look.px(1), area.h))
        room.take(pygame.Rect(round(x) - 1, area.y, look.px(1) + 2, area.h))
        disc(target, (x, y), look.px(5), look.theme.panel)
        disc(target, (x, y), look.px(4), colour)
        number = text.length(value, signed=True)
        baseline = area.y - look.px(8)
        used = text.draw(target, look, number, area.right, baseline, 16, bold=True, align="right")
        label = text.draw(target, look, "now", used.x - look.px(8), baseline, 14, colour=look.theme.dim, align="right")
        room.take(used.union(label))

    def _largest(
        self, target: pygame.Surface, look: Look, room: Room, up: Axis, t: Array, v: Array, colour: Colour
    ) -> None:
        if not len(v) or not np.any(v):
            return
        k = int(np.argmax(np.abs(v)))
        at = (float(self.time(float(t[k]))), float(up(float(v[k]))))
        disc(target, at, look.px(5), look.theme.panel)
        disc(target, at, look.px(4), colour)
        size = text.length(abs(float(v[k])) * 1e-6)
        words = [f"largest here {size}", f"largest {size}", size]
        above = Spot(at[0], self.area.y - look.px(8))
        room.write(target, words, [*around(at, look.px(9), look.px(14)), above], 14)
        room.take(pygame.Rect(round(at[0]) - 4, round(at[1]) - 4, 8, 8))

    def _fade(
        self, target: pygame.Surface, look: Look, room: Room, up: Axis, found: Fading | None, corner: Corner
    ) -> None:
        """The envelope, dashed, and where it has fallen to a twentieth."""
        if found is None:
            return
        area = self.area
        for px, lines in self._envelope(look, up, found):
            for a, b in lines:
                pygame.draw.aaline(target, look.theme.dim, a, b)
            room.avoid(px)
        end = corner.stop_s + found.fades_s if found.fades_s is not None else None
        if end is None or not self.time.low < end < self.time.high:
            if found.fades_s is None:
                still = f"{found.told}not faded after {text.number(found.watched_s * 1e3)} ms"
                spots = [Spot(area.right, y, "right") for y in (area.y + look.px(14), area.bottom - look.px(6))]
                room.write(target, still, spots, colour=look.theme.dim)
            return
        about = float(np.interp(end, found.time_s, found.about_m))
        x, y = round(float(self.time(end))), round(float(up(about * 1e6)))
        half = look.px(26)
        mark = pygame.Rect(x, y - half, look.px(1), 2 * half).clip(area)
        target.fill(look.theme.dim, mark)
        room.take(mark)
        told = f"{text.number((found.fades_s or 0.0) * 1e3)} ms"
        words = [f"{found.told}faded to 5 % after {told}", f"5 % after {told}", told]
        air = look.px(6)
        spots = [Spot(x + air, mark.y + look.px(4)), Spot(x - air, mark.y + look.px(4), "right"),
                 Spot(x + air, mark.bottom), Spot(x - air, mark.bottom, "right"),
                 Spot(x, mark.y - air, "center"), Spot(x, mark.bottom + look.px(16), "center"),
                 Spot(area.right, mark.y - air, "right"), Spot(area.right, mark.bottom + look.px(16), "right")]  # fmt: skip
        room.write(target, words, spots, colour=look.theme.dim)


def before_and_after_loss(shown: Shown, v: Array, colour: Colour, look: Look) -> list[tuple[Array, Array, Colour]]:
    """A curve, from where a motor has lost steps on in the colour of an alarm."""
    t, lost = shown.t_s, shown.lost_from_s
    if lost is None:
        return [(t, v, colour)]
    k = int(np.searchsorted(t, lost))
    return [(t[: k + 1], v[: k + 1], colour), (t[k:], v[k:], look.theme.alarm)]


def _value_words(
    target: pygame.Surface, look: Look, room: Room, rect: pygame.Rect, area: pygame.Rect, up: Axis, limit: float
) -> None:
    for tick in symmetric_ticks(limit):
        words = text.number(tick, decimals_of(tick) if tick else 0, signed=True)
        y = float(up(tick)) + look.px(5)
        room.take(text.draw(target, look, words, area.x - look.px(9), y, 14, colour=look.theme.dim, align="right"))
    text.draw(target, look, "µm", rect.x, area.y - look.px(8), 14, colour=look.theme.dim)


def _time_words(
    target: pygame.Surface, look: Look, room: Room, rect: pygame.Rect, area: pygame.Rect, time: Axis, corner: Corner
) -> None:
    """Milliseconds since the stop, the last with its unit and what they count from."""
    stop = corner.stop_s
    step = nice_step((time.high - time.low) * 1e3, max(2, area.w // look.px(62)))
    first = int(np.ceil((time.low - stop) * 1e3 / step - 1e-9))
    last = int(np.floor((time.high - stop) * 1e3 / step + 1e-9))
    baseline = rect.bottom - look.px(8)
    after = f"ms after {'the end' if corner.name == 'end' else corner.name}"
    wide = text.width(look, after, 14)
    end = area.right - wide - look.px(8)
    text.draw(target, look, after, area.right, baseline, 14, colour=look.theme.dim, align="right")
    for k in range(first, last + 1):
        words = text.number(k * step, decimals_of(step))
        x = float(time(stop + k * step * 1e-3))
        if x + text.width(look, words, 14) / 2 < end:
            text.draw(target, look, words, x, baseline, 14, colour=look.theme.dim, align="center")


def _shaded_words(target: pygame.Surface, look: Look, room: Room, area: pygame.Rect, time: Axis, shown: Shown) -> None:
    """What the shading means, beside the first of it that is in view, and on no line of the scale."""
    for a, b in shown.ramps:
        if b <= time.low or a >= time.high:
            continue
        x0, x1 = max(float(area.x), float(time(a))), min(float(area.right), float(time(b)))
        low, high = area.bottom - look.px(6), area.y + look.px(14)
        rows = (
            low,
            low - look.px(18),
            high,
            *range(low - look.px(4), low - area.h // 3, -look.px(4)),
            high + look.px(8),
        )
        spots = [spot for y in rows for spot in (Spot(x1 + look.px(6), y), Spot(x0 + look.px(4), y))]
        if room.write(target, list(SHADED), spots, colour=look.theme.dim) is None:
            spots = [Spot(area.right, y, "right") for y in rows]
            room.write(target, [f"shaded: {words}" for words in SHADED], spots, colour=look.theme.dim)
        return
