"""Smooth shapes from a library that has none: layers drawn large and scaled down once, and cached small shapes.

pygame's thick lines and filled shapes have hard edges. Everything thick is drawn on a `Layer` at a multiple of
its size and scaled down; corners of panels and buttons are kept as small images.
"""

from __future__ import annotations

import itertools
import math
import threading
from collections import OrderedDict
from collections.abc import Sequence

import numpy as np
import pygame
from numpy.typing import NDArray

from .theme import Colour, Look

Array = NDArray[np.float64]
XY = Sequence[float] | Array  # one point, px

_ROUNDED_LIMIT = 400
MOST_DASHES, MOST_JOINTS = 10_000, 40_000
_rounded: OrderedDict[tuple[int, Colour], pygame.Surface] = OrderedDict()


def surface(size: tuple[int, int]) -> pygame.Surface:
    """An opaque surface that needs no window."""
    return pygame.Surface((max(1, size[0]), max(1, size[1])), 0, 32)


def few_colours(size: tuple[int, int], colours: Sequence[Colour]) -> pygame.Surface:
    """A surface for nothing but these colours, filled with the first: a quarter of the memory of one for all."""
    out = pygame.Surface((max(1, size[0]), max(1, size[1])), 0, 8)
    out.set_palette([*colours, *[colours[0]] * (256 - len(colours))])
    out.fill(colours[0])
    return out


_scratch = threading.local()


def scratch(size: tuple[int, int]) -> pygame.Surface:
    """A surface to draw on and put elsewhere at once: part of the same one each time, with whatever was drawn on it last.

    One a thread, as large as the largest asked for since `forget_scratch`: large surfaces made anew each frame cost more
    than what is drawn on them.
    """
    kept: pygame.Surface | None = getattr(_scratch, "kept", None)
    w, h = max(1, size[0]), max(1, size[1])
    if kept is None or kept.get_width() < w or kept.get_height() < h:
        had = kept.get_size() if kept is not None else (0, 0)
        _scratch.kept = kept = surface((max(w, had[0]), max(h, had[1])))
    return kept.subsurface((0, 0, w, h))


def forget_scratch() -> None:
    """Let go of this thread's surface: pictures have another size now."""
    _scratch.__dict__.clear()


class Layer:
    """An opaque surface `factor` times as large as the area it covers; `onto` scales it down into place.

    Coordinates on it are those of the area times the factor.  brief: it is filled first, and put onto its target before
    another brief one is made: they share one surface.
    """

    def __init__(self, size: tuple[int, int], factor: int = 2, *, brief: bool = False) -> None:
        self.size = (max(1, size[0]), max(1, size[1]))
        self.factor = factor
        whole = (self.size[0] * factor, self.size[1] * factor)
        self.surface = scratch(whole) if brief else surface(whole)

    def onto(self, target: pygame.Surface, topleft: tuple[int, int]) -> None:
        if self.factor == 1:
            target.blit(self.surface, topleft)
            return
        shrink_onto(target, self.surface, pygame.Rect(topleft, self.size))


def shrunk(large: pygame.Surface, size: tuple[int, int]) -> pygame.Surface:
    """A surface scaled down smoothly to `size`. Halving is exact; pygame's other ratios lose a shade of plain areas."""
    while large.get_width() >= 4 * size[0] and large.get_height() >= 4 * size[1]:
        large = pygame.transform.smoothscale(large, (large.get_width() // 2, large.get_height() // 2))
    return pygame.transform.smoothscale(large, size)


def shrink_onto(target: pygame.Surface, large: pygame.Surface, rect: pygame.Rect) -> None:
    """Put a surface, scaled down smoothly, onto `rect` of the target.

    Where all of it is in view no surface is made in between: large ones, made anew each frame, cost more than their pixels.
    """
    near = large.get_width() < 4 * rect.w or large.get_height() < 4 * rect.h
    if near and target.get_clip().contains(rect) and target.get_bytesize() == large.get_bytesize() == 4:
        pygame.transform.smoothscale(large, rect.size, target.subsurface(rect))
    else:
        target.blit(shrunk(large, rect.size), rect.topleft)


def rounded(target: pygame.Surface, rect: pygame.Rect, radius: int, colour: Colour) -> None:
    """A filled rectangle with smooth round corners."""
    radius = min(radius, rect.w // 2, rect.h // 2)
    if radius < 2:
        target.fill(colour, rect)
        return
    key = (radius, colour)
    image = _rounded.get(key)
    if image is None:
        image = _rounded_corner_image(radius, colour)
        _rounded[key] = image
        if len(_rounded) > _ROUNDED_LIMIT:
            _rounded.popitem(last=False)
    else:
        _rounded.move_to_end(key)
    r = radius
    target.fill(colour, (rect.x + r, rect.y, rect.w - 2 * r, rect.h))
    target.fill(colour, (rect.x, rect.y + r, r, rect.h - 2 * r))
    target.fill(colour, (rect.right - r, rect.y + r, r, rect.h - 2 * r))
    target.blit(image, (rect.x, rect.y), (0, 0, r, r))
    target.blit(image, (rect.right - r, rect.y), (r, 0, r, r))
    target.blit(image, (rect.x, rect.bottom - r), (0, r, r, r))
    target.blit(image, (rect.right - r, rect.bottom - r), (r, r, r, r))


def _rounded_corner_image(radius: int, colour: Colour) -> pygame.Surface:
    large = pygame.Surface((radius * 8, radius * 8), pygame.SRCALPHA, 32)
    large.fill((*colour, 0))  # the colour stays the same under every transparency: no dark fringe
    pygame.draw.circle(large, (*colour, 255), (radius * 4, radius * 4), radius * 4)
    return pygame.transform.smoothscale(large, (radius * 2, radius * 2))


def framed(
    target: pygame.Surface, rect: pygame.Rect, radius: int, fill: Colour, border: Colour, width: int = 1
) -> None:
    """A filled rectangle with smooth round corners and a border inside it."""
    rounded(target, rect, radius, border)
    rounded(target, rect.inflate(-2 * width, -2 * width), max(0, radius - width), fill)


def focus_ring(target: pygame.Surface, look: Look, rect: pygame.Rect, behind: Colour | None = None) -> None:
    """A 2 px ring in text colour, 3 px outside the control."""
    gap, thick = look.px(3), look.px(2)
    outer = rect.inflate(2 * (gap + thick), 2 * (gap + thick))
    pygame.draw.rect(target, look.theme.text, outer, thick, border_radius=look.px(9))


def disc(target: pygame.Surface, centre: tuple[float, float], radius: float, colour: Colour) -> None:
    """A filled circle with a smooth edge."""
    pygame.draw.aacircle(target, colour, (round(centre[0]), round(centre[1])), max(1, round(radius)))


def ring(target: pygame.Surface, centre: tuple[float, float], radius: float, colour: Colour, width: int = 1) -> None:
    """A circle with a smooth edge."""
    pygame.draw.aacircle(target, colour, (round(centre[0]), round(centre[1])), max(1, round(radius)), max(1, width))


def arc_points(centre: Sequence[float], radius: float, start: float, sweep: float, step_px: float = 2.0) -> Array:
    """Points along an arc, (n, 2) px with y down; angles counter-clockwise as seen, rad."""
    count = max(3, math.ceil(abs(sweep) * max(radius, 1.0) / step_px) + 1)
    angle = start + np.linspace(0.0, sweep, count)
    return np.column_stack([centre[0] + radius * np.cos(angle), centre[1] - radius * np.sin(angle)])


def arc_stroke(
    target: pygame.Surface,
    centre: Sequence[float],
    radius: float,
    start: float,
    sweep: float,
    width: float,
    colour: Colour,
) -> None:
    """A thick arc as one polygon."""
    outer = arc_points(centre, radius + width / 2, start, sweep)
    inner = arc_points(centre, radius - width / 2, start, sweep)[::-1]
    pygame.draw.polygon(target, colour, np.rint(np.concatenate([outer, inner])).tolist())


def line_stroke(target: pygame.Surface, start: XY, end: XY, width: float, colour: Colour) -> None:
    """A thick straight line with square ends, as one polygon."""
    ax, ay, bx, by = float(start[0]), float(start[1]), float(end[0]), float(end[1])
    dx, dy = bx - ax, by - ay
    length = math.hypot(dx, dy)
    if length < 1e-9:
        return
    nx, ny = -dy / length * width / 2, dx / length * width / 2
    # pygame cuts decimals off; half a pixel more makes that rounding.
    pygame.draw.polygon(
        target,
        colour,
        [
            (ax + nx + 0.5, ay + ny + 0.5),
            (bx + nx + 0.5, by + ny + 0.5),
            (bx - nx + 0.5, by - ny + 0.5),
            (ax - nx + 0.5, ay - ny + 0.5),
        ],
    )


def path_stroke(target: pygame.Surface, points: Array, width: float, colour: Colour) -> None:
    """A thick line through many points with round joints; meant for layers."""
    if len(points) < 2:
        return
    whole = np.rint(points)
    keep = np.concatenate([[True], np.any(np.diff(whole, axis=0) != 0, axis=1)])
    pixels = points[keep]
    if len(pixels) > MOST_JOINTS:
        # So many points lie so close that no joint between them shows.
        pygame.draw.lines(target, colour, False, np.rint(pixels).tolist(), max(1, round(width)))
        return
    for a, b in itertools.pairwise(pixels):
        line_stroke(target, a, b, width, colour)
    if width >= 3:
        for x, y in pixels:
            pygame.draw.circle(target, colour, (round(x), round(y)), width / 2)


def dashes(points: Array, on: float, off: float, phase: float = 0.0) -> list[Array]:
    """A polyline cut into dashes: a list of (k, 2) pieces. phase: how far into the pattern it starts, same unit.

    A path so long that it would take more than MOST_DASHES comes back in one piece: nobody could tell them apart.
    """
    if len(points) < 2:
        return []
    steps = np.hypot(*np.diff(points, axis=0).T)
    s = np.concatenate([[0.0], np.cumsum(steps)])
    if s[-1] <= 0:
        return []
    keep = np.concatenate([[True], steps > 0])
    s, points = s[keep], points[keep]
    period = on + off
    if s[-1] > MOST_DASHES * period:
        return [points]
    starts = np.arange(-(phase % period), s[-1], period)
    begins, ends = np.maximum(starts, 0.0), np.minimum(starts + on, s[-1])
    seen = ends - begins > 1e-9
    begins, ends = begins[seen], ends[seen]
    inner = zip(s.searchsorted(begins, "right").tolist(), s.searchsorted(ends, "left").tolist(), strict=True)
    at = [np.concatenate([begins[k : k + 1], s[i:j], ends[k : k + 1]]) for k, (i, j) in enumerate(inner)]
    if not at:
        return []
    whole = np.concatenate(at)
    whole = np.column_stack([np.interp(whole, s, points[:, 0]), np.interp(whole, s, points[:, 1])])
    last = list(itertools.accumulate(len(piece) for piece in at))
    return [whole[i:j] for i, j in itertools.pairwise([0, *last])]


def arrow(target: pygame.Surface, start: XY, end: XY, width: float, colour: Colour, head: float) -> None:
    """A straight arrow: shaft and filled head; meant for layers."""
    a, b = np.asarray(start, float), np.asarray(end, float)
    length = float(np.hypot(*(b - a)))
    if length < 1e-6:
        return
    d = (b - a) / length
    n = np.array([-d[1], d[0]])
    head = min(head, length)
    base = b - d * head
    line_stroke(target, a, base + d * head * 0.2, width, colour)
    pygame.draw.polygon(target, colour, np.rint([b, base + n * head * 0.5, base - n * head * 0.5]).tolist())


def column_extremes(x: Array, y: Array, left: float, right: float, columns: int) -> tuple[Array, Array]:
    """A dense curve thinned to the lowest and highest point of each pixel column, in time order.

    x: (n,) rising.  y: (n,).  Returns two arrays of at most 2 x columns + 2 points; no peak is lost.
    """
    inside = np.flatnonzero((x >= left) & (x <= right))
    if len(inside) == 0:
        return x[:0], y[:0]
    first, last = max(0, inside[0] - 1), min(len(x) - 1, inside[-1] + 1)
    x, y = x[first : last + 1], y[first : last + 1]
    if len(x) <= 2 * columns:
        return x, y
    column = np.clip(((x - left) / (right - left) * columns).astype(int), -1, columns)
    starts = np.concatenate([[0], np.flatnonzero(np.diff(column)) + 1])
    group = np.repeat(np.arange(len(starts)), np.diff(starts, append=len(x)))
    keep = [np.array([0, len(x) - 1])]
    for extreme in (np.minimum, np.maximum):
        at = np.flatnonzero(y == extreme.reduceat(y, starts)[group])
        keep.append(at[np.diff(group[at], prepend=-1) > 0])  # the first of each column
    chosen = np.unique(np.concatenate(keep))
    return x[chosen], y[chosen]
