"""A printed wall seen square on, lit from its corner: brightness of a dull surface by its slope, layers as flat ellipses.

Heights are true and every layer is alike; what makes ripples show is the light, which grazes the wall.
"""

from __future__ import annotations

import math

import numpy as np
import pygame
from beltspring.sim import Wall
from numpy.typing import NDArray

from ..draw import text
from ..draw.room import Room, Spot
from ..draw.theme import Colour, Look, mix
from .axes import Axis, curve_image, decimals_of, symmetric_ticks

Array = NDArray[np.float64]

LAYER_M, BULGE_M = 0.2e-3, 0.035e-3
HAIR_M = 70e-6  # common practice, no source
PLASTER = (238, 231, 214)


def brightness(slope: Array, light_rad: float) -> Array:
    """Of a dull surface, 1 where the wall is flat: Lambert's cosine with the light `light_rad` above the wall, from s = 0.

    slope: dh/ds. The light comes from the corner, so a face that rises away from it is turned to it no more; I is
    n . l / (n . l of the flat wall), n = (-h', 1) / sqrt(1 + h'^2), l = (-cos a, sin a).
    """
    lit = np.maximum(0.0, slope * math.cos(light_rad) + math.sin(light_rad)) / np.sqrt(1.0 + slope**2)
    return np.asarray(lit / math.sin(light_rad))


def tone(light: Array) -> Array:
    """Brightness as a share of white, never cut off: half as steep from twice as bright on."""
    return np.asarray(0.5 + 0.44 * np.tanh(0.75 * (light - 1.0)))


def layer_shade(z_m: Array) -> Array:
    """How a layer's round face darkens towards its edges, (n,): the outward part of the normal of a flat ellipse."""
    y = np.clip(2.0 * ((z_m / LAYER_M) % 1.0) - 1.0, -0.985, 0.985)
    steep = BULGE_M / (0.5 * LAYER_M) * y / np.sqrt(1.0 - y**2)
    return np.asarray(1.0 / np.sqrt(1.0 + steep**2))


def wall_image(size: tuple[int, int], wall: Wall, length_m: float, light_rad: float) -> pygame.Surface:
    """The wall as a picture; its layers are as high as they are long to the same scale."""
    w, h = max(2, size[0]), max(2, size[1])
    s = (np.arange(w) + 0.5) / w * length_m
    # Four times as fine along the wall, so that steep flanks are averaged and not missed.
    fine = (np.arange(4 * w) + 0.5) / (4 * w) * length_m
    slope = np.gradient(np.interp(fine, wall.along_m, wall.height_m), fine)
    lit = tone(brightness(slope, light_rad)).reshape(w, 4).mean(axis=1)
    lit = np.where(s <= wall.along_m[-1] + 1e-4, lit, 0.0)
    z = (np.arange(4 * h) + 0.5) / (4 * h) * (h / w * length_m)
    layers = layer_shade(z).reshape(h, 4).mean(axis=1)
    grey = lit[:, None] * (0.35 + 0.65 * layers[None, :])
    pixels = np.clip(grey[:, :, None] * np.array(PLASTER) * 1.16, 0, 255).astype(np.uint8)
    image = pygame.Surface((w, h), 0, 32)
    pygame.surfarray.blit_array(image, pixels)
    return image


class WallPicture:
    """One wall with its ruler and its curve of heights; images are kept while nothing changes."""

    def __init__(self) -> None:
        self._key: tuple[object, ...] | None = None
        self._wall: Wall | None = None
        self._image: pygame.Surface | None = None
        self._curve: pygame.Surface | None = None

    def forget(self) -> None:
        """Drop the images."""
        self._key = self._image = self._curve = None

    def draw(
        self, target: pygame.Surface, rect: pygame.Rect, look: Look, wall: Wall, colour: Colour, *,
        length_m: float, most_m: float, light_rad: float, now_s: float | None,
    ) -> None:  # fmt: skip
        """Picture, ruler, curve into `rect`. length_m, most_m: the scales that all walls share."""
        ruler, curve_h = look.px(34), max(look.px(84), round(rect.h * 0.28))
        picture = pygame.Rect(rect.x, rect.y, rect.w, max(look.px(40), rect.h - ruler - curve_h - look.px(8)))
        curve = pygame.Rect(rect.x, picture.bottom + ruler + look.px(8), rect.w, curve_h)
        limit = 1.15 * most_m * 1e6
        key = (picture.size, curve.size, look, length_m, limit, light_rad, colour)
        if key != self._key or wall is not self._wall or self._image is None or self._curve is None:
            self._image = wall_image(picture.size, wall, length_m, light_rad)
            self._curve = self._curve_image(curve.size, look, wall, colour, length_m, limit)
            self._key, self._wall = key, wall
        target.blit(self._image, picture.topleft)
        target.blit(self._curve, curve.topleft)
        across = Axis(0.0, length_m, rect.x, rect.right - 1)
        _ruler(target, look, pygame.Rect(rect.x, picture.bottom, rect.w, ruler), across)
        _heights(target, look, curve, wall, across, limit)
        if now_s is not None and wall.time_s[0] <= now_s <= wall.time_s[-1]:
            x = round(float(across(float(np.interp(now_s, wall.time_s, wall.along_m)))))
            target.fill(look.theme.text, (x, curve.y, look.px(1), curve.h))

    @staticmethod
    def _curve_image(
        size: tuple[int, int], look: Look, wall: Wall, colour: Colour, length_m: float, limit: float
    ) -> pygame.Surface:
        ground = pygame.Surface(size, 0, 32)
        ground.fill(look.theme.panel)
        up = Axis(-limit, limit, size[1], 0.0)
        for tick in symmetric_ticks(limit):
            ground.fill(look.theme.grid if tick else look.theme.line, (0, round(up(tick)), size[0], look.px(1)))
        x = wall.along_m / length_m * (size[0] - 1)
        return curve_image(look, size, ground, [(x, np.asarray(up(wall.height_m * 1e6)), colour)], 2.0)


def calm_words(wall: Wall) -> str:
    """From where on nothing shows any more, in words."""
    calm = wall.calm_from_m
    return f"nothing to see from {text.number(calm * 1e3, 1)} mm on" if calm is not None else "to be seen all along"


def _ruler(target: pygame.Surface, look: Look, rect: pygame.Rect, across: Axis) -> None:
    """Millimetres from the corner."""
    theme, y = look.theme, rect.y + look.px(6)
    target.fill(theme.text, (rect.x, y, rect.w, look.px(1)))
    end = round(across.high * 1e3)
    for mm in range(end + 1):
        long = mm in (0, end) or mm % 5 == 0
        x = min(round(float(across(mm * 1e-3))), rect.right - look.px(1))
        target.fill(theme.text, (x, y, look.px(1), look.px(9 if long else 5)))
        if long:
            words = f"{mm} mm" if mm == end else str(mm)
            align = "left" if mm == 0 else "right" if mm == end else "center"
            text.draw(target, look, words, x, y + look.px(25), 14, colour=theme.dim, align=align)  # type: ignore[arg-type]


def _heights(target: pygame.Surface, look: Look, rect: pygame.Rect, wall: Wall, across: Axis, limit: float) -> None:
    """Words on the curve: its scale, the ripples' spacing, and a hair to the same scale."""
    theme = look.theme
    up = Axis(-limit, limit, rect.bottom, rect.y)
    ticks, taken = symmetric_ticks(limit), []
    room = Room(look, rect.inflate(0, 2 * look.px(4)))
    room.avoid(np.column_stack([across(wall.along_m), up(wall.height_m * 1e6)]))
    for tick in (ticks[0], ticks[-1]):
        words = text.number(tick, decimals_of(tick), signed=True) + (" µm" if tick > 0 else "")
        level = float(up(tick))
        inner, outer = (
            level + (look.px(15) if tick > 0 else -look.px(4)),
            level + (-look.px(4) if tick > 0 else look.px(15)),
        )
        spots = [
            spot
            for y in (min(inner, rect.bottom), min(outer, rect.bottom))
            for spot in (Spot(rect.right, y, "right"), Spot(rect.x, y))
        ]
        used = room.write(target, words, spots, colour=theme.dim, must=True, back=theme.panel)
        taken += [used] if used is not None else []
    hair = HAIR_M * 1e6 / (2 * limit) * rect.h
    if hair <= rect.h:
        x = rect.right - look.px(108)
        top, low, grey = round(rect.bottom - hair), rect.bottom - look.px(1), mix(theme.panel, theme.text, 0.6)
        target.fill(grey, (x, top, look.px(2), low - top))
        for level in (top, low):  # as the measure of the ripples: a size to the curve's scale, no mark on its length
            target.fill(grey, (x - look.px(4), level, look.px(10), look.px(1)))
        taken.append(pygame.Rect(x - look.px(4), top, look.px(10), low - top))
        taken.append(text.draw(target, look, "a hair", x + look.px(8), rect.bottom - look.px(3), 14, colour=theme.dim))
    if wall.spacing_m is not None:
        a, b = (float(across(s)) for s in wall.ridges_m)
        high = max(float(np.interp(s, wall.along_m, wall.height_m)) for s in wall.ridges_m) * 1e6
        y = max(rect.y + look.px(6), round(float(up(high))) - look.px(12))
        target.fill(theme.text, (round(a), y, round(b - a), look.px(1)))
        for end in (a, b):
            target.fill(theme.text, (round(end), y - look.px(4), look.px(1), look.px(9)))
        air = look.px(8)
        for one in taken:
            room.take(one)
        # Beyond the right end; where a word of the scale or the curve stands there before the left one, or on the line.
        spots = [
            Spot(b + air, y + look.px(5)),
            Spot(a - air, y + look.px(5), "right"),
            Spot((a + b) / 2, y + look.px(5), "center"),
        ]
        words = f"{text.number(wall.spacing_m * 1e3, 1)} mm"
        room.write(target, words, spots, 14, bold=True, must=True, back=theme.panel)
