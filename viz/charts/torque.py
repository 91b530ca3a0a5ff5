"""Every motor's torque over the move against the most it has at its speed: a low strip each."""

from __future__ import annotations

import pygame

from ..draw import text
from ..draw.belt_colours import motor_colour
from ..draw.theme import Look
from .axes import Axis, TimePlot
from .pull import HEAD, heading
from .shown import Shown

ABOUT = ("torque over the move, between the most it has at its speed", "torque, and the most it has", "torque")
GAP, LOWEST = 6, 30


class TorquePlot(TimePlot):
    """The strips' images; `draw` says what of the torque a motor has it gives now, and at most."""

    def draw(
        self, target: pygame.Surface, rect: pygame.Rect, look: Look, shown: Shown, now_s: float, room: int = 0
    ) -> None:
        """Title and strips in `rect`, as many as there is height for. room: what is taken at the title's right, px."""
        heading(target, look, rect, "Motors", ABOUT, room)
        machine, torque = shown.result.machine, shown.result.torque
        colours = {m.name: motor_colour(look.theme, machine, k) for k, m in enumerate(machine.motors)}
        box = pygame.Rect(rect.x, rect.y + look.px(HEAD), rect.w, rect.h - look.px(HEAD))
        if not torque:
            words = "Ideal motors: they have whatever torque is asked of them."
            text.draw(
                target, look, text.fit(look, words, box.w, 14), box.x, box.y + look.px(20), 14, colour=look.theme.dim
            )
            return
        gap = look.px(GAP)
        count = max(1, min(len(torque), (box.h + gap) // (look.px(LOWEST) + gap)))
        # Where not all fit, those that come nearest to their limit are shown.
        kept = set(sorted(torque, key=lambda name: -torque[name].most)[:count])
        rows = {name: one for name, one in torque.items() if name in kept}
        head = max(text.width(look, name.upper(), 16, True) for name in rows) + look.px(12)
        side = text.width(look, "most 1 000 %", 14) + look.px(12)
        area = pygame.Rect(box.x + head, box.y, max(look.px(60), box.w - head - side), box.h)
        high = (box.h - gap * (count - 1)) // count
        strips = [pygame.Rect(area.x, area.y + k * (high + gap), area.w, high) for k in range(count)]
        self.area, self.time = area, Axis(0.0, max(shown.end_s, 1e-3), area.x, area.right)
        limits, curves = [], []
        for name, one in rows.items():
            # A limit far above what is given would press the curve flat: what it is of it stands beside.
            limits.append(1.08 * max(float(one.limit_nm.max()), float(abs(one.given_nm).max()), 1e-6))
            edge = look.theme.dim
            lines = [(shown.t_s, sign * one.limit_nm, edge) for sign in (1.0, -1.0)]
            curves.append([*lines, (shown.t_s, one.given_nm, colours[name])])
        key = (shown.serial, area.size, area.topleft, look)
        self.images(key, look, area, strips, limits, curves, [], ticks=False)
        self.put(target, area, now_s)
        x = round(float(self.time(min(max(now_s, 0.0), shown.end_s))))
        target.fill(look.theme.text, (min(x, area.right - 1), area.y, look.px(1), strips[-1].bottom - area.y))
        for strip, (name, one) in zip(strips, rows.items(), strict=True):
            middle = strip.centery
            text.draw(target, look, name.upper(), box.x, middle + look.px(6), 16, bold=True, colour=colours[name])
            now = float(shown.at(now_s, one.share))
            said = f"now {text.number(100 * now)} %"
            most = f"most {text.number(100 * one.most)} %"
            text.draw(target, look, said, box.right, middle - look.px(2), 14, bold=True, align="right")
            text.draw(target, look, most, box.right, middle + look.px(14), 14, colour=look.theme.dim, align="right")
