"""The map of a program: one level with how far off the tool was, the worst places, a length bar and the key of colours."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pygame
from beltspring.sim import OFF_LINE, Level, RippleMap, WorstPlace
from numpy.typing import NDArray

from ..draw import text
from ..draw.canvas import Layer, disc, line_stroke
from ..draw.theme import Colour, Look, mix
from .axes import decimals_of, nice_step

Array = NDArray[np.float64]
#: Colours from no error to the largest, evenly spread; lightness rises on dark and falls on light panels.
RAMPS: dict[str, tuple[Colour, ...]] = {
    "dark": ((64, 74, 86), (74, 105, 148), (140, 140, 130), (205, 180, 90), (255, 236, 130)),
    "light": ((203, 211, 217), (142, 170, 196), (92, 118, 160), (62, 64, 122), (44, 10, 62)),
}
CLASSES = 24
THINNEST_PX, THICKEST_PX = 2.0, 8.0
PLACE_PX = 12


def ramp(theme: str, share: float) -> Colour:
    """Colour of an error that is `share` of the top of the scale."""
    stops = RAMPS[theme]
    at = min(max(share, 0.0), 1.0) * (len(stops) - 1)
    k = min(int(at), len(stops) - 2)
    return mix(stops[k], stops[k + 1], at - k)


@dataclass(frozen=True)
class MapScale:
    """Metres to px: px = origin + px_m * (x, -y).  top_m: error at the top of the colour scale."""

    px_m: float
    origin: tuple[float, float]
    top_m: float

    def at(self, points: Array) -> Array:
        """Points (..., 2 or more) m, in px (..., 2)."""
        p = np.asarray(points, float)
        return np.stack([self.origin[0] + self.px_m * p[..., 0], self.origin[1] - self.px_m * p[..., 1]], axis=-1)


def worst_level(found: RippleMap) -> Level | None:
    """The level with the largest error."""
    return max(found.levels, key=lambda level: level.max_m, default=None)


def draw_map(target: pygame.Surface, rect: pygame.Rect, style: Look, found: RippleMap, level: Level | None) -> None:
    """Path error on the path of one level, the worst places numbered, a scale bar and the colour scale."""
    if level is None or not len(level.bins):
        text.draw(
            target, style, "Nothing was laid.", rect.centerx, rect.centery, 16, colour=style.theme.dim, align="center"
        )
        return
    key_h = style.px(64)
    room = pygame.Rect(rect.x, rect.y, rect.w, rect.h - key_h)
    scale = map_scale(room, found, level, style.px(40))
    _draw_path(target, room, style, found, level, scale)
    _draw_numbers(target, room, style, found.places, level, scale)
    base = rect.bottom - style.px(8)
    _length_bar(target, style, rect.x, base, scale.px_m)
    _colour_key(target, style, rect.right, base, scale.top_m)


def map_scale(room: pygame.Rect, found: RippleMap, level: Level, margin_px: float) -> MapScale:
    """The scale at which the level and the numbered places fill the room; the colour scale ends at a round number."""
    points = found.point[level.bins, :2]
    if found.places:
        points = np.concatenate([points, [place.point[:2] for place in found.places]])
    low, high = points.min(axis=0), points.max(axis=0)
    size = np.maximum(high - low, 1e-4)
    px_m = float(min((room.w - 2 * margin_px) / size[0], (room.h - 2 * margin_px) / size[1]))
    middle = 0.5 * (low + high)
    largest = max((v.max_m for v in found.levels), default=0.0)
    step = nice_step(max(largest * 1e6, 1e-3), 6)
    return MapScale(
        px_m, (room.centerx - px_m * float(middle[0]), room.centery + px_m * float(middle[1])),
        1e-6 * step * math.ceil(largest * 1e6 / step - 1e-9) or 1e-6,
    )  # fmt: skip


def _draw_path(
    target: pygame.Surface, room: pygame.Rect, style: Look, found: RippleMap, level: Level, scale: MapScale
) -> None:
    factor = 2
    layer = Layer(room.size, factor)
    layer.surface.fill(style.theme.panel)
    px = (scale.at(found.point[:, :2]) - np.array(room.topleft)) * factor
    on_level = np.zeros(len(found.error_m), np.bool_)
    on_level[level.bins] = True
    # Travels beside the level: where nothing is laid, at its height.
    same = np.abs(found.point[:, 2] - level.z_m) < 1e-4
    second = np.arange(1, len(px))
    travel = second[~found.laid[second] & same[second]]
    for k in travel.tolist():
        pygame.draw.line(layer.surface, style.theme.grid, px[k - 1].tolist(), px[k].tolist(), max(1, style.px(1)))
    drawn = second[on_level[second] & (on_level[second - 1] | ~found.laid[second - 1])]
    share = found.error_m[drawn] / scale.top_m
    classes = np.clip((share * CLASSES).astype(int), 0, CLASSES - 1)
    name = style.theme.name
    for c in range(CLASSES):
        colour = ramp(name, (c + 0.5) / CLASSES)
        width = (THINNEST_PX + (THICKEST_PX - THINNEST_PX) * (c + 0.5) / CLASSES) * factor * style.scale
        for k in drawn[classes == c].tolist():
            line_stroke(layer.surface, tuple(px[k - 1]), tuple(px[k]), width, colour)
            if c > CLASSES // 3:
                disc(layer.surface, (float(px[k][0]), float(px[k][1])), 0.5 * width, colour)
    layer.onto(target, room.topleft)


def _draw_numbers(
    target: pygame.Surface, room: pygame.Rect, style: Look, places: Sequence[WorstPlace], level: Level, scale: MapScale
) -> None:
    """A numbered disc beside each of the worst places; hollow where the place is worst on another level."""
    r = style.px(PLACE_PX)
    spots = [tuple(scale.at(np.array(place.point[:2])).tolist()) for place in places]
    taken: list[tuple[float, float]] = []
    for place, (x, y) in zip(places, spots, strict=True):
        best, chosen = -math.inf, (x, y)
        for turn, far in itertools.product(range(12), (2.2, 3.4)):
            angle = 2 * math.pi * turn / 12
            at = (x + far * r * math.cos(angle), y + far * r * math.sin(angle))
            if not room.inflate(-2 * r, -2 * r).collidepoint(at):
                continue
            clear = min((math.dist(at, other) for other in (*taken, *spots)), default=1e9)
            outward = math.dist(at, room.center) - math.dist((x, y), room.center)
            value = min(clear, 2.4 * r) * 4 + outward - far * r
            if value > best:
                best, chosen = value, at
        taken.append(chosen)
        here = abs(place.point[2] - level.z_m) < 1e-4
        line_stroke(target, (x, y), chosen, style.px(1), style.theme.text)
        disc(target, (x, y), style.px(3), style.theme.text)
        disc(target, chosen, r, style.theme.text)
        if not here:
            disc(target, chosen, r - style.px(2), style.theme.panel)
        colour = style.theme.panel if here else style.theme.text
        place_number(target, style, place.number, chosen, colour)


def _length_bar(target: pygame.Surface, style: Look, x: int, base: int, px_m: float) -> None:
    step_mm = nice_step(1e3 * style.px(150) / px_m, 1)
    if step_mm * 1e-3 * px_m > style.px(170):
        step_mm /= 2.0
    width = round(step_mm * 1e-3 * px_m)
    y = base - style.px(22)
    target.fill(style.theme.text, (x, y, width, style.px(2)))
    for end in (x, x + width - style.px(2)):
        target.fill(style.theme.text, (end, y - style.px(4), style.px(2), style.px(10)))
    text.draw(target, style, f"{text.plain(step_mm)} mm of path", x, base, 14, colour=style.theme.dim)


def _colour_key(target: pygame.Surface, style: Look, right: int, base: int, top_m: float) -> None:
    """The wedge that says which colour and thickness is which error."""
    width = style.px(300)
    unit = text.width(style, " µm", 14)
    x = right - width - unit - style.px(14)
    middle = base - style.px(24)
    factor = 4
    tall = style.px(THICKEST_PX) + 2
    layer = Layer((width, tall), factor)
    layer.surface.fill(style.theme.panel)
    for c in range(CLASSES):
        share = (c + 0.5) / CLASSES
        thick = (THINNEST_PX + (THICKEST_PX - THINNEST_PX) * share) * style.scale * factor
        begin, end = round(c * width * factor / CLASSES), round((c + 1) * width * factor / CLASSES)
        rect = pygame.Rect(begin, round(0.5 * tall * factor - 0.5 * thick), end - begin, max(1, round(thick)))
        layer.surface.fill(ramp(style.theme.name, share), rect)
    layer.onto(target, (x, middle - tall // 2))
    step = nice_step(top_m * 1e6, 6)
    count = round(top_m * 1e6 / step)
    for k in range(count + 1):
        at = x + round(width * k / count)
        target.fill(style.theme.dim, (at, middle + style.px(5), style.px(1), style.px(4)))
        words = text.number(k * step, decimals_of(step))
        drawn = text.draw(target, style, words, at, base, 14, colour=style.theme.dim, align="center")
        if k == count:
            text.draw(target, style, " µm", drawn.right, base, 14, colour=style.theme.dim)
    at = x - style.px(12)
    text.draw(target, style, OFF_LINE, at, middle + style.px(5), 14, colour=style.theme.dim, align="right")


def place_number(target: pygame.Surface, style: Look, number: int, at: tuple[float, float], colour: Colour) -> None:
    text.draw(target, style, str(number), at[0], at[1] + style.px(5), 14, bold=True, colour=colour, align="center")
