"""A belt seen from above: gap, shadow, teeth, body and back line, along the real way round its wheels.

Everything is drawn on a layer in its pixels. Offsets across the belt are positive to its left, looking along its order.
Plain floats, no arrays: a belt has a dozen pieces, and small arrays cost more than they save.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pygame
from beltspring.sim.machine.routing import Arc, BeltPath, Span
from numpy.typing import NDArray

from .theme import Colour

Array = NDArray[np.float64]
Points = list[tuple[float, float]]

SLACK_BELOW_N = 2.0
THINNEST, THICKER = 2.0, 4.6  # drawing units: 2.0 + 4.6 T / Tmax
GAP = 5.0  # the gap is this much wider than the belt, units
STRIP = 8192  # px of teeth kept ready; longer than any span on a screen
TOOTH = 1.3  # how far teeth stand out, units


@dataclass(frozen=True)
class Place:
    """Where the machine stands on a layer: px = origin + scale * (x, -y).  unit: px of one drawing unit."""

    scale: float
    origin: tuple[float, float]
    unit: float

    def at(self, points: Array) -> Array:
        """Machine points (n, 2) or (2,), m, in px."""
        p = np.asarray(points, float)
        out = np.empty(p.shape)
        out[..., 0] = self.origin[0] + self.scale * p[..., 0]
        out[..., 1] = self.origin[1] - self.scale * p[..., 1]
        return out


@dataclass(frozen=True)
class Straight:
    """A span in px. s: belt coordinate of its start, px.  d: unit vector.  width: of the body, px."""

    s: float
    length: float
    width: float
    run: int
    x: float
    y: float
    dx: float
    dy: float

    @property
    def upright(self) -> bool:
        """Whether it runs along the picture's rows or columns."""
        return min(abs(self.dx), abs(self.dy)) < 1e-6

    def band(self, low: float, high: float) -> Points:
        """Corners of the band between two offsets. Left of the travel is (dy, -dx), as y points down."""
        # Half a pixel more: pygame cuts decimals off, and that makes it rounding.
        x0, y0 = self.x + 0.5, self.y + 0.5
        x1, y1 = x0 + self.dx * self.length, y0 + self.dy * self.length
        nx, ny = self.dy, -self.dx
        return [
            (x0 + nx * low, y0 + ny * low),
            (x1 + nx * low, y1 + ny * low),
            (x1 + nx * high, y1 + ny * high),
            (x0 + nx * high, y0 + ny * high),
        ]


@dataclass(frozen=True)
class Bend:
    """An arc in px. width0, width1: of the body at its ends.  units: (cos, -sin) along it."""

    s: float
    length: float
    width0: float
    width1: float
    run: int
    x: float
    y: float
    radius: float
    start_rad: float
    sign: float
    units: list[tuple[float, float]]

    def band(self, low: tuple[float, float], high: tuple[float, float]) -> Points:
        """Outline between two offsets, each given at both ends. The left of a counter-clockwise belt is its inside."""
        last = len(self.units) - 1
        x, y, sign = self.x + 0.5, self.y + 0.5, self.sign
        r0, r1 = self.radius - sign * low[0], -sign * (low[1] - low[0]) / last
        r2, r3 = self.radius - sign * high[0], -sign * (high[1] - high[0]) / last
        out = []
        for k, (ux, uy) in enumerate(self.units):
            r = max(0.0, r0 + r1 * k)
            out.append((x + r * ux, y + r * uy))
        for k in range(last, -1, -1):
            ux, uy = self.units[k]
            r = max(0.0, r2 + r3 * k)
            out.append((x + r * ux, y + r * uy))
        return out


class DrawnBelt:
    """One belt at one pose, ready to be stroked.

    tension_n: by run name, or None for a belt without load (drawn at a third of the scale).
    """

    def __init__(
        self, path: BeltPath, place: Place, teeth_left: bool, tension_n: dict[str, float] | None, most_n: float
    ):
        self.place = place
        self.side = 1.0 if teeth_left else -1.0
        self.runs = tuple(path.runs)
        self.widths: list[float] = []
        self.slack: list[bool] = []
        for run in path.runs:
            force = tension_n.get(run, 0.0) if tension_n is not None else most_n / 3
            self.slack.append(tension_n is not None and force < SLACK_BELOW_N)
            # A slack run is an outline, and an outline needs room for its middle.
            share = 0.35 if self.slack[-1] else min(1.0, force / most_n) if most_n > 0 else 0.3
            self.widths.append((THINNEST + THICKER * share) * place.unit)
        self.straights: list[Straight] = []
        self.bends: list[Bend] = []
        s = 0.0
        for k, piece in enumerate(path.pieces):
            length = piece.length_m * place.scale
            if isinstance(piece, Span):
                self.straights.append(self._straight(piece, s, length))
            else:
                before, after = path.pieces[k - 1], path.pieces[k + 1]
                self.bends.append(self._bend(piece, s, length, self.widths[before.run], self.widths[after.run]))
            s += length
        self.length = s

    def _straight(self, span: Span, s: float, length: float) -> Straight:
        scale, (ox, oy) = self.place.scale, self.place.origin
        x, y = ox + scale * float(span.start[0]), oy - scale * float(span.start[1])
        dx = scale * float(span.end[0] - span.start[0]) / max(length, 1e-9)
        dy = -scale * float(span.end[1] - span.start[1]) / max(length, 1e-9)
        return Straight(s, length, self.widths[span.run], span.run, x, y, dx, dy)

    def _bend(self, arc: Arc, s: float, length: float, w0: float, w1: float) -> Bend:
        scale, (ox, oy) = self.place.scale, self.place.origin
        radius = arc.radius_m * scale
        count = max(3, math.ceil(abs(arc.sweep_rad) * radius / 6))
        units = []
        for k in range(count + 1):
            angle = arc.start_rad + arc.sweep_rad * k / count
            units.append((math.cos(angle), -math.sin(angle)))
        x, y = ox + scale * float(arc.centre[0]), oy - scale * float(arc.centre[1])
        sign = math.copysign(1.0, arc.sweep_rad)
        return Bend(s, length, w0, w1, arc.run, x, y, radius, arc.start_rad, sign, units)

    def boxes(self) -> list[pygame.Rect]:
        """Rectangles that hold everything this belt draws, px."""
        u = self.place.unit
        out = []
        for p in self.straights:
            room = p.width / 2 + (GAP / 2 + 5) * u
            x1, y1 = p.x + p.dx * p.length, p.y + p.dy * p.length
            out.append(_box(min(p.x, x1) - room, min(p.y, y1) - room, max(p.x, x1) + room, max(p.y, y1) + room))
        for b in self.bends:
            # The wheel with its flange and its mark stands here too.
            room = max(b.radius + max(b.width0, b.width1) / 2 + (GAP / 2 + 5) * u, 1.9 * b.radius + 10 * u)
            out.append(_box(b.x - room, b.y - room, b.x + room, b.y + room))
        return out

    def stroke(self, target: pygame.Surface, colour: Colour, extra: float = 0.0) -> None:
        """The whole belt as a band, wider than its body by `extra` px."""
        for p in self.straights:
            half = (p.width + extra) / 2
            _fill(target, colour, p.band(-half, half), p.upright)
        for b in self.bends:
            h0, h1 = (b.width0 + extra) / 2, (b.width1 + extra) / 2
            pygame.draw.polygon(target, colour, b.band((-h0, -h1), (h0, h1)))

    def line(self, target: pygame.Surface, colour: Colour, offset: float, thick: float) -> None:
        """A thin line along the belt. offset: in half body widths, +1 the left edge, -1 the right one."""
        for p in self.straights:
            middle = offset * p.width / 2
            _fill(target, colour, p.band(middle - thick / 2, middle + thick / 2), p.upright)
        for b in self.bends:
            m0, m1 = offset * b.width0 / 2, offset * b.width1 / 2
            half = thick / 2
            pygame.draw.polygon(target, colour, b.band((m0 - half, m1 - half), (m0 + half, m1 + half)))

    def shadow(self, target: pygame.Surface, strength: int, shift: tuple[float, float]) -> None:
        """Darken what lies below the belt, moved by `shift` px."""
        dx, dy = round(shift[0]), round(shift[1])
        shade = (strength, strength, strength)
        for p in self.straights:
            band = [(x + dx, y + dy) for x, y in p.band(-p.width / 2, p.width / 2)]
            darken(target, band, shade, p.upright)
        for b in self.bends:
            h0, h1 = b.width0 / 2, b.width1 / 2
            darken(target, [(x + dx, y + dy) for x, y in b.band((-h0, -h1), (h0, h1))], shade, False)

    def teeth(self, target: pygame.Surface, colour: Colour, pitch: float) -> None:
        """The toothed side: one short block a pitch, counted from the start clamp, so that teeth run with the belt."""
        half = pitch * 0.26
        u = self.place.unit
        for p in self.straights:
            first, last = math.ceil((p.s + half * 0.4) / pitch), math.floor((p.s + p.length - half * 0.4) / pitch)
            inner, outer = self.side * (p.width / 2 - 0.4 * u), self.side * (p.width / 2 + TOOTH * u)
            if p.upright:
                self._upright_teeth(target, colour, p, range(first, last + 1), pitch, half, (inner, outer))
                continue
            for k in range(first, last + 1):
                s = k * pitch - p.s
                x0, y0, x1, y1 = (
                    p.x + p.dx * (s - half),
                    p.y + p.dy * (s - half),
                    p.x + p.dx * (s + half),
                    p.y + p.dy * (s + half),
                )
                nx, ny = p.dy, -p.dx
                corners = ((x0, y0, inner), (x1, y1, inner), (x1, y1, outer), (x0, y0, outer))
                pygame.draw.polygon(target, colour, [(round(x + nx * o), round(y + ny * o)) for x, y, o in corners])
        for b in self.bends:
            first, last = math.ceil((b.s + half * 0.4) / pitch), math.floor((b.s + b.length - half * 0.4) / pitch)
            r_in = b.radius - b.sign * self.side * (b.width0 / 2 - 0.4 * u)
            r_out = b.radius - b.sign * self.side * (b.width0 / 2 + TOOTH * u)
            for k in range(first, last + 1):
                s = k * pitch - b.s
                a0, a1 = (b.start_rad + b.sign * (s + h) / b.radius for h in (-half, half))
                sides = ((r_in, a0), (r_in, a1), (r_out, a1), (r_out, a0))
                pygame.draw.polygon(
                    target,
                    colour,
                    [(round(b.x + r * math.cos(a)), round(b.y - r * math.sin(a))) for r, a in sides],
                )

    @staticmethod
    def _upright_teeth(
        target: pygame.Surface,
        colour: Colour,
        p: Straight,
        numbers: range,
        pitch: float,
        half: float,
        edges: tuple[float, float],
    ) -> None:
        along_x = abs(p.dx) > 0.5
        if len(numbers) == 0:
            return
        base, across = (p.y, -p.dx) if along_x else (p.x, p.dy)
        a, b = sorted((round(base + across * edges[0]), round(base + across * edges[1])))
        start, step = (p.x, p.dx) if along_x else (p.y, p.dy)
        lowest = numbers[0] if step > 0 else numbers[-1]
        at = round(start + step * (lowest * pitch - p.s) - half)
        width = max(1, round(2 * half))
        strip = _tooth_strip(along_x, b - a, pitch, width, colour)
        length = round((len(numbers) - 1) * pitch) + width
        target.blit(strip, (at, a) if along_x else (a, at), (0, 0, length, b - a) if along_x else (0, 0, b - a, length))

    def hollow(self, target: pygame.Surface, inside: Colour) -> None:
        """Turn slack runs into outlines."""
        line = 1.1 * self.place.unit
        for p in self.straights:
            if self.slack[p.run]:
                half = p.width / 2 - line
                _fill(target, inside, p.band(-half, half), p.upright)
        for b in self.bends:
            if b.run >= 0 and self.slack[b.run]:
                h0, h1 = b.width0 / 2 - line, b.width1 / 2 - line
                pygame.draw.polygon(target, inside, b.band((-h0, -h1), (h0, h1)))


def _box(x0: float, y0: float, x1: float, y1: float) -> pygame.Rect:
    left, top = math.floor(x0), math.floor(y0)
    return pygame.Rect(left, top, math.ceil(x1) - left, math.ceil(y1) - top)


@lru_cache(maxsize=16)
def _tooth_strip(along_x: bool, height: int, pitch: float, width: int, colour: Colour) -> pygame.Surface:
    """A long row of teeth on a see-through ground: one blit of it is much cheaper than filling tooth by tooth."""
    size = (STRIP, max(1, height)) if along_x else (max(1, height), STRIP)
    strip = pygame.Surface(size, 0, 32)
    hole = (1, 2, 3) if colour != (1, 2, 3) else (3, 2, 1)
    strip.fill(hole)
    strip.set_colorkey(hole)
    for k in range(int(STRIP / pitch)):
        at = round(k * pitch)
        strip.fill(colour, (at, 0, width, size[1]) if along_x else (0, at, size[0], width))
    return strip


def forget_teeth() -> None:
    """Let go of the rows of teeth kept: belts have another size now."""
    _tooth_strip.cache_clear()


def _fill(target: pygame.Surface, colour: Colour, band: Points, upright: bool) -> None:
    if not upright:
        pygame.draw.polygon(target, colour, band)
        return
    x0, x1 = sorted((int(band[0][0]), int(band[2][0])))
    y0, y1 = sorted((int(band[0][1]), int(band[2][1])))
    target.fill(colour, (x0, y0, max(1, x1 - x0), max(1, y1 - y0)))


def darken(target: pygame.Surface, points: Points, shade: Colour, upright: bool) -> None:
    """Multiply what lies in a polygon by a shade. upright: its corners are those of an upright rectangle."""
    xs, ys = [int(p[0]) for p in points], [int(p[1]) for p in points]
    box = pygame.Rect(min(xs), min(ys), max(xs) - min(xs) + (not upright), max(ys) - min(ys) + (not upright))
    box = box.clip(target.get_clip())
    if box.w <= 0 or box.h <= 0:
        return
    if upright:
        target.fill(shade, box, special_flags=pygame.BLEND_RGB_MULT)
        return
    patch = pygame.Surface(box.size, 0, 32)
    patch.fill((255, 255, 255))
    pygame.draw.polygon(patch, shade, [(x - box.x, y - box.y) for x, y in points])
    target.blit(patch, box.topleft, special_flags=pygame.BLEND_RGB_MULT)
