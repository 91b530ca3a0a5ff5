"""The window's icon: two pulleys, a belt round them, and a ripple."""

from __future__ import annotations

import numpy as np
import pygame

from .canvas import arc_stroke, line_stroke, path_stroke
from .theme import DARK

FINE = 8


def icon(size: int = 64) -> pygame.Surface:
    """A square picture with a see-through ground."""
    s = size * FINE / 64.0
    large = pygame.Surface((size * FINE, size * FINE), pygame.SRCALPHA, 32)
    large.fill((*DARK.panel, 0))
    pygame.draw.rect(large, DARK.panel, large.get_rect(), border_radius=round(13 * s))
    left, right, y, r = 18.0, 46.0, 24.0, 10.0
    for x, start in ((left, np.pi / 2), (right, -np.pi / 2)):
        arc_stroke(large, (x * s, y * s), r * s, start, np.pi, 5.0 * s, DARK.belts[0])
    for side in (-r, r):
        line_stroke(
            large, ((left - 0.5) * s, (y + side) * s), ((right + 0.5) * s, (y + side) * s), 5.0 * s, DARK.belts[0]
        )
    for x in (left, right):
        pygame.draw.circle(large, DARK.pulley, (x * s, y * s), 5.4 * s)
        pygame.draw.circle(large, DARK.panel, (x * s, y * s), 1.8 * s)
    t = np.linspace(0.0, 1.0, 120)
    ripple = np.column_stack([9.0 + 46.0 * t, 50.0 - 8.5 * np.exp(-2.6 * t) * np.cos(2 * np.pi * 3.4 * t)]) * s
    path_stroke(large, ripple, 4.0 * s, DARK.x)
    return pygame.transform.smoothscale(large, (size, size))
