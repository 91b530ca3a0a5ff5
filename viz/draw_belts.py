"""A belt seen from above: gap, shadow, teeth, body and back line, along the real way round its wheels.

Everything is drawn on a layer in its pixels. Offsets across the belt are positive to its left, looking along its order.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pygame
from beltspring.sim.machine.routing import Arc, BeltPath, Span
from numpy.typing import NDArray

from .theme import Colour

Array = NDArray[np.float64]

SLACK_BELOW_N = 2.0
THINNEST, THICKER = 2.0, 4.6  # drawing units: 2.0 + 4.6 T / Tmax
GAP = 5.0  # the gap is this much wider than the belt, units
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
        return np.stack([self.origin[0] + self.scale * p[..., 0], self.origin[1] - self.scale * p[..., 1]], axis=-1)


@dataclass(frozen=True)
class _Piece:
    """A span or an arc in px. s: belt coordinate of its start, px.  width0, width1: of the body, px."""

    s: float
    length: float
    width0: float
    width1: float
    run: int
    start: Array | None = None
    direction: Array | None = None
    left: Array | None = None
    centre: Array | None = None
    radius: float = 0.0
    start_rad: float = 0.0
    sweep_rad: float = 0.0


class DrawnBelt:
    """One belt at one pose, ready to be stroked.

    tension_n: by run name, or None for a belt without load (drawn at a third of the scale).
    """

    def __init__(
        self, path: BeltPath, place: Place, teeth_left: bool, tension_n: dict[str, float] | None, most_n: float
    ):
        self.place = place
        self.side = 1.0 if teeth_left else -1.0
        widths = []
        self.slack: list[bool] = []
        for run in path.runs:
            force = tension_n.get(run, 0.0) if tension_n is not None else most_n / 3
            self.slack.append(tension_n is not None and force < SLACK_BELOW_N)
            # A slack run is an outline, and an outline needs room for its middle.
            share = 0.35 if self.slack[-1] else min(1.0, force / most_n) if most_n > 0 else 0.3
            widths.append((THINNEST + THICKER * share) * place.unit)
        self.widths = widths
        self.pieces: list[_Piece] = []
        s = 0.0
        for k, piece in enumerate(path.pieces):
            length = piece.length_m * place.scale
            if isinstance(piece, Span):
                a, b = place.at(piece.start), place.at(piece.end)
                d = (b - a) / max(length, 1e-9)
                w = widths[piece.run]
                # Left of the travel in px, where y points down.
                self.pieces.append(_Piece(s, length, w, w, piece.run, a, d, np.array([d[1], -d[0]])))
            else:
                before, after = path.pieces[k - 1], path.pieces[k + 1]
                self.pieces.append(self._arc(piece, s, length, widths[before.run], widths[after.run]))
            s += length
        self.length = s

    def _arc(self, arc: Arc, s: float, length: float, w0: float, w1: float) -> _Piece:
        return _Piece(
            s,
            length,
            w0,
            w1,
            arc.run,
            centre=self.place.at(arc.centre),
            radius=arc.radius_m * self.place.scale,
            start_rad=arc.start_rad,
            sweep_rad=arc.sweep_rad,
        )

    def stroke(
        self, target: pygame.Surface, colour: Colour, offset: float = 0.0, extra: float = 0.0, thick: float = 0.0
    ) -> None:
        """A band along the whole belt.

        extra: wider than the body by this, px.  thick: a fixed width instead, then `offset` counts half body widths
        (-1 the right edge, +1 the left edge).
        """
        for p in self.pieces:
            for quad in self._bands(p, offset, extra, thick):
                pygame.draw.polygon(target, colour, quad)

    def _bands(self, p: _Piece, offset: float, extra: float, thick: float) -> list[list[list[float]]]:
        def edges(width: float) -> tuple[float, float]:
            if thick:
                middle = offset * width / 2
                return middle - thick / 2, middle + thick / 2
            return -(width + extra) / 2, (width + extra) / 2

        (low0, high0), (low1, high1) = edges(p.width0), edges(p.width1)
        if p.centre is None:
            assert p.start is not None
            assert p.direction is not None
            assert p.left is not None
            end = p.start + p.direction * p.length
            return [_quad(p.start + p.left * low0, end + p.left * low1, end + p.left * high1, p.start + p.left * high0)]
        sign = math.copysign(1.0, p.sweep_rad)
        count = max(4, math.ceil(abs(p.sweep_rad) * p.radius / 5) + 1)
        t = np.linspace(0.0, 1.0, count)
        angle = p.start_rad + p.sweep_rad * t
        # The left of a counter-clockwise belt is the inside of its arc.
        r_low = np.maximum(p.radius - sign * (low0 + (low1 - low0) * t), 0.0)
        r_high = np.maximum(p.radius - sign * (high0 + (high1 - high0) * t), 0.0)
        a = _round_points(p.centre, r_low, angle)
        b = _round_points(p.centre, r_high, angle)[::-1]
        return [np.concatenate([a, b]).tolist()]

    def shadow(self, target: pygame.Surface, strength: int, shift: tuple[float, float]) -> None:
        """Darken what lies below the belt, moved by `shift` px."""
        move = np.array(shift)
        shade = (strength, strength, strength)
        for p in self.pieces:
            for quad in self._bands(p, 0.0, 0.0, 0.0):
                points = np.array(quad) + move
                _darken(target, np.rint(points), shade)

    def teeth(self, target: pygame.Surface, colour: Colour, pitch: float) -> None:
        """The toothed side: one short block a pitch, counted from the start clamp, so that teeth run with the belt."""
        half = pitch * 0.26
        for p in self.pieces:
            first = math.ceil((p.s + half * 0.4) / pitch)
            last = math.floor((p.s + p.length - half * 0.4) / pitch)
            if last < first:
                continue
            along = np.arange(first, last + 1) * pitch - p.s
            inner = self.side * (p.width0 / 2 - 0.4 * self.place.unit)
            outer = self.side * (p.width0 / 2 + TOOTH * self.place.unit)
            if p.centre is None:
                self._span_teeth(target, colour, p, along, half, inner, outer)
            else:
                self._arc_teeth(target, colour, p, along, half, inner, outer)

    def _span_teeth(
        self, target: pygame.Surface, colour: Colour, p: _Piece, along: Array, half: float, inner: float, outer: float
    ) -> None:
        assert p.start is not None
        assert p.direction is not None
        assert p.left is not None
        if min(abs(p.direction[0]), abs(p.direction[1])) < 1e-6:
            across = np.sort([inner, outer])
            level = int(abs(p.direction[1]) > 0.5)  # 0: the span runs across the picture, 1: up or down
            middle = p.start[level] + p.direction[level] * along
            base = p.start[1 - level] + p.left[1 - level] * across
            low, high = sorted((round(base[0]), round(base[1])))
            width = max(1, round(2 * half))
            starts = np.rint(middle - half).astype(int).tolist()
            if level == 0:
                for x in starts:
                    target.fill(colour, (x, low, width, high - low))
            else:
                for y in starts:
                    target.fill(colour, (low, y, high - low, width))
            return
        for s in along:
            a, b = p.start + p.direction * (s - half), p.start + p.direction * (s + half)
            pygame.draw.polygon(
                target, colour, _quad(a + p.left * inner, b + p.left * inner, b + p.left * outer, a + p.left * outer)
            )

    def _arc_teeth(
        self, target: pygame.Surface, colour: Colour, p: _Piece, along: Array, half: float, inner: float, outer: float
    ) -> None:
        assert p.centre is not None
        sign = math.copysign(1.0, p.sweep_rad)
        r_in, r_out = p.radius - sign * inner, p.radius - sign * outer
        for s in along:
            angle = p.start_rad + sign * np.array([s - half, s + half]) / p.radius
            c, n = np.cos(angle), -np.sin(angle)
            pygame.draw.polygon(
                target,
                colour,
                [
                    (round(p.centre[0] + r * c[k]), round(p.centre[1] + r * n[k]))
                    for r, k in ((r_in, 0), (r_in, 1), (r_out, 1), (r_out, 0))
                ],
            )

    def hollow(self, target: pygame.Surface, inside: Colour) -> list[tuple[int, Array]]:
        """Turn slack runs into outlines; returns (run, middle of its longest span in px) for the word beside it."""
        words = []
        line = 1.1 * self.place.unit
        for run, slack in enumerate(self.slack):
            if not slack:
                continue
            spans = [p for p in self.pieces if p.run == run and p.centre is None]
            for p in (p for p in self.pieces if p.run == run):
                for quad in self._bands(p, 0.0, -2 * line, 0.0):
                    pygame.draw.polygon(target, inside, quad)
            longest = max(spans, key=lambda p: p.length)
            assert longest.start is not None
            assert longest.direction is not None
            words.append((run, longest.start + longest.direction * longest.length / 2))
        return words

    def longest_span(self) -> tuple[Array, Array]:
        """Start and end of the longest straight piece, px."""
        p = max((p for p in self.pieces if p.centre is None), key=lambda p: p.length)
        assert p.start is not None
        assert p.direction is not None
        return p.start, p.start + p.direction * p.length


def _quad(*corners: Array) -> list[list[float]]:
    """Corners of a polygon on whole pixels. pygame counts the last row and column in, hence one less there."""
    points = np.rint(np.array(corners))
    for axis in (0, 1):
        values = points[:, axis]
        top = values.max()
        if top - values.min() > 1:
            values[values == top] -= 1
    return points.tolist()  # type: ignore[no-any-return]


def _round_points(centre: Array, radius: Array, angle: Array) -> Array:
    return np.rint(np.column_stack([centre[0] + radius * np.cos(angle), centre[1] - radius * np.sin(angle)]))


def _darken(target: pygame.Surface, points: Array, shade: Colour) -> None:
    low, high = points.min(axis=0), points.max(axis=0)
    box = pygame.Rect(int(low[0]), int(low[1]), int(high[0] - low[0]) + 1, int(high[1] - low[1]) + 1)
    box = box.clip(target.get_rect())
    if box.w <= 0 or box.h <= 0:
        return
    if len(points) == 4 and len(np.unique(points[:, 0])) == 2 and len(np.unique(points[:, 1])) == 2:
        target.fill(shade, box, special_flags=pygame.BLEND_RGB_MULT)
        return
    patch = pygame.Surface(box.size, 0, 32)
    patch.fill((255, 255, 255))
    pygame.draw.polygon(patch, shade, (points - [box.x, box.y]).tolist())
    target.blit(patch, box.topleft, special_flags=pygame.BLEND_RGB_MULT)
