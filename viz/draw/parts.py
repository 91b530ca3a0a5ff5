"""The hard parts of a machine seen from above: frame, bed, rails, gantry, carriage, motors, wheels. Layer pixels."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
import pygame
from beltspring.sim.machine.machine import Outline, Wheel
from numpy.typing import NDArray

from .belts import Place, darken
from .canvas import line_stroke
from .theme import Colour, Theme, mix

Array = NDArray[np.float64]


def rect_of(points: Array) -> pygame.Rect:
    """The upright rectangle round px points."""
    low, high = np.rint(points.min(axis=0)).astype(int), np.rint(points.max(axis=0)).astype(int)
    return pygame.Rect(int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1]))


def upright(points: Array) -> bool:
    """Whether four corners make an upright rectangle."""
    return (
        len(points) == 4 and len(np.unique(np.rint(points[:, 0]))) == 2 and len(np.unique(np.rint(points[:, 1]))) == 2
    )


def draw_shape(target: pygame.Surface, theme: Theme, place: Place, shape: Outline, offset: Array) -> None:
    """One shape at its body's offset (2,), m. Belts, wheels and the tool mark are drawn elsewhere."""
    points = place.at(np.asarray(shape.points, float) + offset[:2])
    painter = _PAINTERS.get(shape.kind)
    if painter is not None:
        painter(target, theme, place, shape, points)


def _frame(target: pygame.Surface, theme: Theme, place: Place, shape: Outline, points: Array) -> None:
    u = place.unit
    outer = rect_of(points)
    width = max(round(4 * u), round(shape.width_m * place.scale))
    radius = round(5 * u)
    pygame.draw.rect(target, theme.frame, outer, border_radius=radius)
    inner = outer.inflate(-2 * width, -2 * width)
    pygame.draw.rect(target, mix(theme.panel, theme.page, 0.35), inner, border_radius=round(2 * u))
    edge = mix(theme.frame, theme.text, 0.10)
    pygame.draw.rect(target, edge, outer, max(1, round(0.6 * u)), border_radius=radius)


def _bed(target: pygame.Surface, theme: Theme, place: Place, shape: Outline, points: Array) -> None:
    u = place.unit
    plate = rect_of(points)
    fill = mix(theme.panel, theme.raised, 0.75)
    pygame.draw.rect(target, fill, plate, border_radius=round(4 * u))
    spacing = _grid_spacing(max(plate.w, plate.h) / place.scale) * place.scale
    line = mix(fill, theme.line, 0.55)
    thick = max(1, round(0.5 * u))
    for axis, (low, size) in enumerate(((plate.x, plate.w), (plate.y, plate.h))):
        middle = low + size / 2
        count = math.floor(size / 2 / spacing)
        for k in range(-count, count + 1):
            at = round(middle + k * spacing)
            if not low + spacing * 0.2 < at < low + size - spacing * 0.2:
                continue
            box = (at, plate.y, thick, plate.h) if axis == 0 else (plate.x, at, plate.w, thick)
            target.fill(line, box)
    pygame.draw.rect(target, mix(fill, theme.line, 0.8), plate, max(1, round(0.7 * u)), border_radius=round(4 * u))


def _grid_spacing(size_m: float) -> float:
    for spacing in (0.02, 0.05, 0.1, 0.2):
        if size_m / spacing <= 8:
            return spacing
    return 0.5


def _rail(target: pygame.Surface, theme: Theme, place: Place, shape: Outline, points: Array) -> None:
    width = max(shape.width_m * place.scale, 3 * place.unit)
    body = mix(theme.metal, theme.panel, 0.25)
    line_stroke(target, points[0], points[1], width, body)
    line_stroke(target, points[0], points[1], width * 0.34, mix(theme.metal, theme.text, 0.18))


def _block(
    target: pygame.Surface, theme: Theme, place: Place, points: Array, fill: Colour, radius: float, lift: float
) -> None:
    u = place.unit
    if not upright(points):
        below = [(round(x + u), round(y + lift * u)) for x, y in points.tolist()]
        darken(target, below, (theme.shadow,) * 3, False)
        pygame.draw.polygon(target, fill, np.rint(points).tolist())
        return
    box = rect_of(points)
    _soft_shadow(target, box.move(round(1.0 * u), round(lift * u)), round(radius * u), theme.shadow)
    pygame.draw.rect(target, fill, box, border_radius=round(radius * u))
    pygame.draw.rect(target, mix(fill, theme.text, 0.28), box, max(1, round(0.8 * u)), border_radius=round(radius * u))


def _soft_shadow(target: pygame.Surface, box: pygame.Rect, radius: int, strength: int) -> None:
    """Darken a rectangle with round corners."""
    patch = pygame.Surface(box.size, 0, 32)
    patch.fill((255, 255, 255))
    pygame.draw.rect(patch, (strength,) * 3, patch.get_rect(), border_radius=radius)
    target.blit(patch, box.topleft, special_flags=pygame.BLEND_RGB_MULT)


def _gantry(target: pygame.Surface, theme: Theme, place: Place, shape: Outline, points: Array) -> None:
    end = shape.name != "gantry" and shape.name != "beam"
    fill = mix(theme.metal, theme.carriage, 0.8) if end else mix(theme.metal, theme.panel, 0.12)
    _block(target, theme, place, points, fill, 4.0 if end else 1.5, 2.0)


def _column(target: pygame.Surface, theme: Theme, place: Place, shape: Outline, points: Array) -> None:
    _block(target, theme, place, points, mix(theme.frame, theme.text, 0.10), 1.5, 2.0)


def _carriage(target: pygame.Surface, theme: Theme, place: Place, shape: Outline, points: Array) -> None:
    _block(target, theme, place, points, theme.carriage, 4.5, 3.2)


def _motor(target: pygame.Surface, theme: Theme, place: Place, shape: Outline, points: Array) -> None:
    u = place.unit
    box = rect_of(points)
    fill = mix(theme.raised, theme.frame, 0.55)
    _block(target, theme, place, points, fill, 4.0, 1.8)
    edge = mix(fill, theme.text, 0.30)
    for dx in (-1, 1):
        for dy in (-1, 1):
            hole = (box.centerx + dx * box.w * 0.366, box.centery + dy * box.h * 0.366)
            pygame.draw.circle(target, edge, hole, max(2.0, 1.5 * u))
            pygame.draw.circle(target, mix(fill, theme.panel, 0.7), hole, max(1.0, 0.8 * u))
    pygame.draw.circle(target, edge, box.center, box.w * 0.40, max(1, round(0.7 * u)))


_PAINTERS = {
    "frame": _frame,
    "bed": _bed,
    "rail": _rail,
    "gantry": _gantry,
    "column": _column,
    "carriage": _carriage,
    "motor": _motor,
}


def draw_wheel(target: pygame.Surface, theme: Theme, place: Place, wheel: Wheel, centre: Array, angle: float) -> None:
    """A pulley or an idler under its belt, turned to `angle`, rad, counter-clockwise seen from above."""
    u = place.unit
    r = wheel.radius_m * place.scale
    at = (float(centre[0]), float(centre[1]))
    dark = mix(theme.pulley, theme.page, 0.72) if theme.name == "dark" else mix(theme.pulley, theme.text, 0.55)
    flange = max(wheel.flange_radius_m * place.scale, r + 0.8 * u)
    pygame.draw.circle(target, mix(dark, theme.pulley, 0.25), at, flange)
    pygame.draw.circle(target, mix(theme.pulley, dark, 0.25), at, flange, max(1, round(0.5 * u)))
    if wheel.teeth is None:
        pygame.draw.circle(target, theme.pulley, at, max(r - 0.6 * u, 1.0))
    else:
        count = wheel.teeth if wheel.teeth * 4 <= 2 * math.pi * r else max(8, wheel.teeth // 2)
        tip = max(r - 0.25e-3 * place.scale, 1.0)
        root = tip - max(0.76e-3 * place.scale, 1.0 * u)
        pygame.draw.polygon(target, theme.pulley, gear_outline(at, root, tip, count, angle))
    pygame.draw.circle(target, dark, at, max(1.5, 0.36 * r))


@lru_cache(maxsize=64)
def _gear(count: int, half: float) -> tuple[Array, Array, Array]:
    """Cosine, sine and whether at the tip, (4 count,) each, of a toothed wheel at angle 0."""
    shares = np.array([-half - 0.08, -half, half, half + 0.08])
    angle = (np.arange(count)[:, None] + shares).ravel() * (2 * math.pi / count)
    return np.cos(angle), np.sin(angle), np.tile([0.0, 1.0, 1.0, 0.0], count)


def gear_outline(
    at: tuple[float, float], root: float, tip: float, count: int, angle: float, half: float = 0.22
) -> list[list[float]]:
    """Corners of a toothed wheel, px. half: half a tooth's width at its tip, in tooth pitches."""
    cos, sin, top = _gear(count, half)
    c, s = math.cos(angle), math.sin(angle)
    r = root + (tip - root) * top
    out = np.empty((len(cos), 2))
    out[:, 0] = at[0] + 0.5 + r * (cos * c - sin * s)
    out[:, 1] = at[1] + 0.5 - r * (sin * c + cos * s)
    return out.tolist()


def draw_index(
    target: pygame.Surface, theme: Theme, place: Place, wheel: Wheel, centre: Array, angle: float, blurred: bool
) -> None:
    """The mark that shows a wheel turning, over its belt; a ring where it turns too far in one frame to be followed."""
    u = place.unit
    r = wheel.radius_m * place.scale
    motor = wheel.drive is not None
    light = (250, 251, 252) if theme.name == "dark" else theme.text
    casing = (12, 14, 16) if theme.name == "dark" else (252, 252, 252)
    d = np.array([math.cos(angle), -math.sin(angle)])
    c = np.asarray(centre, float)
    if blurred:
        pygame.draw.circle(
            target, mix(casing, light, 0.45), c.tolist(), (1.15 if motor else 0.55) * r, max(2, round(1.6 * u))
        )
        return
    if motor:
        a, b = c + d * 0.25 * r, c + d * max(1.75 * r, r + 6.5 * u)
        line_stroke(target, a - d * 0.8 * u, b + d * 0.8 * u, 3.8 * u, casing)
        line_stroke(target, a, b, 2.0 * u, light)
    else:
        line_stroke(target, c + d * 0.1 * r, c + d * 0.95 * r, 1.3 * u, light)
    pygame.draw.circle(target, light, c.tolist(), max(1.5, (1.6 if motor else 1.1) * u))


def draw_clamp(target: pygame.Surface, theme: Theme, place: Place, point: Array, inward: Array, colour: Colour) -> None:
    """A belt clamp: a small block in the belt's colour just inside the edge where the belt ends."""
    u = place.unit
    c = np.asarray(point, float) + inward * 4.4 * u
    half = 3.6 * u
    box = pygame.Rect(round(c[0] - half), round(c[1] - half), round(2 * half), round(2 * half))
    pygame.draw.rect(
        target, mix(colour, theme.page, 0.35), box.inflate(round(1.4 * u), round(1.4 * u)), border_radius=round(1.4 * u)
    )
    pygame.draw.rect(target, colour, box, border_radius=round(u))


def draw_tool(target: pygame.Surface, theme: Theme, place: Place, centre: Array) -> None:
    """The tool mark: a disc with cross hairs, its middle the nozzle."""
    u = place.unit
    c = [round(v) for v in centre]
    light = theme.text
    dark = theme.page if theme.name == "dark" else theme.panel
    pygame.draw.circle(target, dark, c, 7.0 * u)
    pygame.draw.circle(target, light, c, 7.0 * u, max(1, round(0.9 * u)))
    w = max(1, round(0.9 * u))
    for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        a = np.array(c) + np.array([dx, dy]) * 3.4 * u
        line_stroke(target, a, np.array(c) + np.array([dx, dy]) * 6.4 * u, w, light)
    pygame.draw.circle(target, light, c, 2.2 * u)


def draw_dashed_outline(target: pygame.Surface, place: Place, points: Array, colour: Colour) -> None:
    """A dashed closed outline, px points."""
    u = place.unit
    width = max(1.5, 1.0 * u)
    corners = points.tolist()
    for (x0, y0), (x1, y1) in zip(corners, [*corners[1:], corners[0]], strict=True):
        length = math.hypot(x1 - x0, y1 - y0)
        count = max(1, round(length / (7 * u)))
        dx, dy = (x1 - x0) / count, (y1 - y0) / count
        for k in range(count):  # a dash of four sevenths in the middle of each part: corners are alike
            a = (x0 + dx * (k + 0.21), y0 + dy * (k + 0.21))
            line_stroke(target, a, (x0 + dx * (k + 0.79), y0 + dy * (k + 0.79)), width, colour)
