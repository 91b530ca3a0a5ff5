"""How motors add up: their shares of the carriage's way as arrows, head to tail."""

from __future__ import annotations

import numpy as np
import pygame
from numpy.typing import NDArray

from ...draw import text
from ...draw.belt_colours import motor_colour
from ...draw.canvas import Layer, arrow, dashes
from ...draw.theme import Look
from .bench import Bench

Array = NDArray[np.float64]


def draw_vectors(bench: Bench, target: pygame.Surface, look: Look, rect: pygame.Rect) -> None:
    """The motors' shares head to tail from rest; dashed the whole way if both have one."""
    theme = look.theme
    shares = [bench.per_belt[:, k] * bench.belt_m[k] for k in range(len(bench.names))]
    points = [np.zeros(2)]
    for share in shares:
        points.append(points[-1] + share)
    every = np.array(points)
    margin = look.px(22)
    reach = max(0.02, float(np.abs(every).max()) * 1.05)
    low, high = np.minimum(every.min(axis=0), 0.0), np.maximum(every.max(axis=0), 0.0)
    size = np.maximum(high - low, reach * 0.6)
    scale = min((rect.w - 2 * margin) / size[0], (rect.h - 2 * margin) / size[1])
    scale = min(scale, (min(rect.w, rect.h) - 2 * margin) / 0.03)
    middle = (low + high) / 2
    origin = np.array([rect.centerx - middle[0] * scale, rect.centery + middle[1] * scale])
    layer = Layer(rect.size, 2, brief=True)
    layer.surface.fill(theme.panel)
    corner = np.array([rect.x, rect.y])

    def px(p: Array) -> Array:
        return np.asarray((origin + np.array([p[0], -p[1]]) * scale - corner) * 2)

    zero = px(np.zeros(2))
    w, h = layer.surface.get_size()
    layer.surface.fill(theme.line, (0, round(zero[1]), w, max(1, round(1.5 * look.scale))))
    layer.surface.fill(theme.line, (round(zero[0]), 0, max(1, round(1.5 * look.scale)), h))
    moving = [k for k, share in enumerate(shares) if np.hypot(*share) > 1e-6]
    if len(moving) > 1:
        for piece in dashes(np.array([zero, px(points[-1])]), 10 * look.scale, 8 * look.scale):
            pygame.draw.line(
                layer.surface, theme.dim, piece[0].tolist(), piece[-1].tolist(), max(2, round(3 * look.scale))
            )
    for k in moving:
        colour = motor_colour(theme, bench.machine, k)
        arrow(layer.surface, px(points[k]), px(points[k + 1]), 8 * look.scale, colour, 26 * look.scale)
    pygame.draw.circle(layer.surface, theme.text, zero.tolist(), 7 * look.scale)
    layer.onto(target, rect.topleft)
    flat = zero / 2 + corner
    text.draw(
        target, look, "X", rect.right - look.px(4), float(flat[1]) - look.px(5), 14, colour=theme.dim, align="right"
    )
    text.draw(target, look, "Y", float(flat[0]) + look.px(6), rect.y + look.px(12), 14, colour=theme.dim)
    for k, name in enumerate(bench.names):
        if k in moving:
            middle_px = (px(points[k]) + px(points[k + 1])) / 4 + corner
            d = px(points[k + 1]) - px(points[k])
            n = np.array([d[1], -d[0]]) / max(1e-9, float(np.hypot(*d)))
            if n[1] > 0:
                n = -n
            at = middle_px + n * look.px(13)
            words = name.upper()
        else:
            at = flat + np.array([-look.px(20), look.px(18 + 18 * k)])
            words = f"{name.upper()} 0"
        x = float(np.clip(at[0], rect.x + look.px(12), rect.right - look.px(12)))
        y = float(np.clip(at[1], rect.y + look.px(10), rect.bottom - look.px(8)))
        colour = motor_colour(theme, bench.machine, k)
        text.draw(target, look, words, x, y + look.px(4), 14, bold=True, colour=colour, align="center")
