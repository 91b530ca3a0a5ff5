"""What the tool shows, by frequency: both axes' spectra on one low strip, with a mark at one frequency."""

from __future__ import annotations

import math

import numpy as np
import pygame

from ..draw import text
from ..draw.canvas import column_extremes, surface
from ..draw.theme import Look
from .axes import Axis, curve_image, nice_step
from .shown import Shown
from .spectrum import curves_of

LEAST_HZ = 160.0


class ToolStrip:
    """Keeps the curves as an image; `axis` maps Hz to px of the target, as last drawn."""

    def __init__(self) -> None:
        self._key: tuple[object, ...] | None = None
        self._image: pygame.Surface | None = None
        self.axis = Axis(0.0, LEAST_HZ, 0.0, 1.0)

    def draw(self, target: pygame.Surface, rect: pygame.Rect, look: Look, shown: Shown, mark_hz: float) -> None:
        """The strip in `rect`. mark_hz: where the mark stands; beyond the end it says so."""
        curves = curves_of(shown.result.analysis)
        side = max(text.width(look, w, 14) for w in ("what the tool", "shows in X and Y")) + look.px(20)
        foot = look.px(20)
        area = pygame.Rect(rect.x + side, rect.y, rect.w - side, rect.h - foot)
        end = self._end(shown)
        self.axis = Axis(0.0, end, area.x, area.right)
        base, dim = area.centery - look.px(4), look.theme.dim
        text.draw(target, look, "what the tool", rect.x, base, 14, colour=dim)
        x = float(rect.x)
        for word, colour in (
            ("shows in ", dim),
            ("X", look.theme.axis("x")),
            (" and ", dim),
            ("Y", look.theme.axis("y")),
        ):
            text.draw(target, look, word, x, base + look.px(18), 14, bold=colour != dim, colour=colour)
            x += text.width(look, word, 14, colour != dim)
        key = (shown.serial, area.size, look)
        if key != self._key or self._image is None:
            ground = surface(area.size)
            ground.fill(look.theme.panel)
            ground.fill(look.theme.line, (0, area.h - look.px(1), area.w, look.px(1)))
            top = max(
                (float(c.amplitude_m[c.frequency_hz <= end].max(initial=0.0)) for c in curves.values()), default=0.0
            )
            lines = []
            low = area.h - look.px(2)
            for axis, curve in curves.items():
                if top > 0 and axis in "xy":
                    across = np.asarray(self.axis(curve.frequency_hz)) - area.x
                    up = low - curve.amplitude_m / top * (area.h - look.px(14))
                    lines.append((*column_extremes(across, up, 0.0, float(area.w), area.w), look.theme.axis(axis)))
            self._image, self._key = curve_image(look, area.size, ground, lines), key
        target.blit(self._image, area.topleft)
        step = nice_step(end, max(2, area.w // look.px(110)))
        for k in range(int(end / step + 1e-9) + 1):
            said = text.number(k * step) + (" Hz" if (k + 1) * step > end + 1e-9 else "")
            half = text.width(look, said, 14) / 2
            mid = min(max(float(self.axis(k * step)), area.x + half), area.right - half)
            text.draw(target, look, said, mid, rect.bottom - look.px(2), 14, colour=look.theme.dim, align="center")
        at = round(min(float(self.axis(mark_hz)), area.right - 1))
        target.fill(look.theme.text, (at, area.y + look.px(4), look.px(2), area.h - look.px(4)))
        s = look.px(5)
        pygame.draw.polygon(target, look.theme.text, [(at - s, area.y), (at + s + 1, area.y), (at, area.y + s + 2)])

    @staticmethod
    def _end(shown: Shown) -> float:
        """The highest frequency shown, Hz: a quarter above the highest way that swings the tool a twentieth of the most."""
        ways = shown.result.ways
        most = max((max(w.swing_m) for w in ways), default=0.0)
        felt = [w.mode.frequency_hz for w in ways if max(w.swing_m) >= 0.02 * most]
        return max(LEAST_HZ, math.ceil(1.25 * max(felt, default=LEAST_HZ) / 20.0) * 20.0)
