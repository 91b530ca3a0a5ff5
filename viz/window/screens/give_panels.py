"""The panels beside a bench with belts that give: what the push does, how the belts pull, how it rings, and in words."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pygame
from beltspring.sim import Report

from ...charts.axes import Axis, curve_image, decimals_of, row_limit, symmetric_ticks, time_labels
from ...charts.panels import panel
from ...charts.pull import about_words, run_rows
from ...charts.signed import draw_signed
from ...draw import text
from ...draw.belt_colours import lettered
from ...draw.belts import SLACK_BELOW_N
from ...draw.canvas import disc, surface
from ...draw.theme import Look
from .give import SLOWER, Give
from .screen import inside

AXES = "XYZ"


def draw_push(target: pygame.Surface, look: Look, rect: pygame.Rect, give: Give) -> None:
    """How hard, how far, how stiff that way; before a push, what to do."""
    box = panel(target, look, rect, "Your push")
    push = give.push
    if push is None:
        words = "Drag the carriage away from where the motors hold it, and let go. Shift: straight along one axis."
        for k, line in enumerate(text.wrap(look, words, box.w, 16)):
            text.draw(target, look, line, box.x, box.y + look.px(18 + 23 * k), 16)
        return
    stiff = push.stiffness_n_m
    values = (
        (text.number(float(np.linalg.norm(push.force_n)), 1), "N", "pushed"),
        (text.micrometres(float(np.linalg.norm(push.gives_m))), "µm", "it gives"),
        (text.sensible(stiff / 1e3, 3) if stiff is not None else "–", "N/mm", "how stiff, this way"),
    )
    column = box.w / len(values)
    for k, (value, unit, words) in enumerate(values):
        x = box.x + round(k * column)
        text.draw_pair(target, look, value, unit, x, box.y + look.px(34), 34, 16)
        text.draw(target, look, text.fit(look, words, column, 14), x, box.y + look.px(56), 14, colour=look.theme.dim)
    baseline = min(rect.bottom - look.px(16), box.y + look.px(88))
    said, colour = "Let go, and it springs back and rings.", look.theme.text
    if give.trouble:
        said, colour = f"! {give.trouble}", look.theme.alarm
    elif push.slack:
        run = push.slack[0]
        said, colour = f"! Belt {lettered(run[0])}, {run[1]} run hangs slack.", look.theme.alarm
    text.draw(target, look, text.fit(look, said, box.w, 16, True), box.x, baseline, 16, bold=True, colour=colour)


def draw_belts(target: pygame.Surface, look: Look, rect: pygame.Rect, give: Give) -> None:
    """How every run pulls more or less than with nobody pushing."""
    rest, now = give.rest_n, give.tension_n
    box = panel(target, look, rect, "Belts", about_words(list(rest.values())))
    rows = run_rows(look.theme, give.machine, rest, now)
    most = max(5.0, *(abs(r.value) for r in rows)) if rows else 5.0
    area = pygame.Rect(box.x, box.y + look.px(8), box.w, box.h - look.px(8))
    y = draw_signed(target, look, area, rows, most)
    least = min(now.values(), default=0.0)
    words = f"Below {text.number(SLACK_BELOW_N)} N a run hangs slack; here the least is {text.number(least)} N."
    for k, line in enumerate(text.wrap(look, words, box.w, 14)):
        baseline = y + look.px(28 + 19 * k)
        if baseline > box.bottom:
            break
        text.draw(target, look, line, box.x, baseline, 14, colour=look.theme.dim)


class RingCurves:
    """The two axes after the hand let go; the curves are kept as an image."""

    def __init__(self) -> None:
        self._key: tuple[object, ...] | None = None
        self._image: pygame.Surface | None = None
        self._rung: object = None
        self.time = Axis(0.0, 1.0, 0.0, 1.0)

    def draw(self, target: pygame.Surface, look: Look, rect: pygame.Rect, give: Give) -> None:
        """Both curves on one scale with the moment played."""
        rung = give.rung
        if rung is None:
            return
        theme = look.theme
        box = panel(
            target, look, rect, "It rings", ["µm from where the motors hold it", "µm"], f"1/{SLOWER:.0f} of real speed"
        )
        gutter, foot, gap = look.px(52), look.px(24), look.px(12)
        area = pygame.Rect(box.x + gutter, box.y, box.w - gutter, box.h - foot)
        height = (area.h - gap) // 2
        rows = [pygame.Rect(area.x, area.y + k * (height + gap), area.w, height) for k in (0, 1)]
        end = give.ends_s
        self.time = Axis(0.0, end, area.x, area.right)
        part = rung.t_s <= end
        values = [rung.off_m[part, axis] * 1e6 for axis in give.plane]
        limit = row_limit(max((float(np.abs(v).max()) for v in values), default=1.0))
        key = (area.size, look, limit, end)
        if rung is not self._rung or key != self._key or self._image is None:
            ground = surface(area.size)
            ground.fill(theme.panel)
            curves = []
            for row, v, axis in zip(rows, values, give.plane, strict=True):
                inside = row.move(-area.x, -area.y)
                up = Axis(-limit, limit, inside.bottom, inside.y)
                for tick in symmetric_ticks(limit):
                    y = round(up(tick))
                    ground.fill(theme.grid if tick else theme.line, (0, y, area.w, look.px(1)))
                across = np.asarray(self.time(rung.t_s[part])) - area.x
                curves.append((across, np.asarray(up(v)), theme.axis("xyz"[axis])))
            self._image, self._key, self._rung = curve_image(look, area.size, ground, curves), key, rung
        target.blit(self._image, area.topleft)
        now = float(self.time(give.time_s))
        target.fill(theme.text, (round(now), area.y, look.px(1), area.h))
        for row, axis in zip(rows, give.plane, strict=True):
            self._row(target, look, box, row, "xyz"[axis], limit, float(give.off_m[axis]) * 1e6, now)
        time_labels(target, look, area, self.time, box.bottom - look.px(2))

    @staticmethod
    def _row(
        target: pygame.Surface, look: Look, box: pygame.Rect, row: pygame.Rect, axis: str, limit: float, now: float, x: float
    ) -> None:  # fmt: skip
        up = Axis(-limit, limit, row.bottom, row.y)
        colour = look.theme.axis(axis)
        ticks = symmetric_ticks(limit)
        if abs(float(up(ticks[0]) - up(ticks[1]))) < look.px(17):
            ticks = [ticks[0], ticks[-1]]  # a low row has no room for the word at zero
        for tick in ticks:
            said = text.number(tick, decimals_of(tick) if tick else 0, signed=True)
            y = float(up(tick)) + look.px(5)
            text.draw(target, look, said, row.x - look.px(8), y, 14, colour=look.theme.dim, align="right")
        text.draw(target, look, axis.upper(), box.x, row.centery + look.px(5), 16, bold=True, colour=colour)
        disc(target, (x, float(up(now))), look.px(5), look.theme.panel)
        disc(target, (x, float(up(now))), look.px(4), colour)
        said = f"{text.number(now, 0, signed=True)} µm"
        wide = text.width(look, said, 16, True)
        left = row.right - wide if x < row.right - wide - look.px(16) else row.x + look.px(8)
        back = look.theme.panel
        text.draw(target, look, said, left, row.y + look.px(14), 16, bold=True, colour=colour, back=back)


def after_words(give: Give, beside: str) -> list[tuple[str, bool]]:
    """What the push showed, in sentences: (words, whether bold)."""
    assert give.rung is not None
    return [(give.rung.sentence, True), *([(beside, False)] if beside else [])]


def draw_after(target: pygame.Surface, look: Look, rect: pygame.Rect, give: Give, beside: str, foot: int) -> None:
    """The sentences after the push. foot: room at the bottom that buttons take, px."""
    box = panel(target, look, rect, "After the push")
    y, bottom, said = box.y + look.px(14), rect.bottom - foot - look.px(14), after_words(give, beside)
    size, pitch = 16, look.px(22)
    if y + pitch * (sum(len(text.wrap(look, words, box.w, size, bold)) for words, bold in said) - 1) > bottom:
        size, pitch = 14, look.px(18)
    for words, bold in said:
        for line in text.wrap(look, words, box.w, size, bold):
            if y > bottom:
                return
            colour = look.theme.text if bold else look.theme.dim
            text.draw(target, look, line, box.x, y, size, bold=bold, colour=colour)
            y += pitch


def draw_give(
    target: pygame.Surface, look: Look, rects: Mapping[str, pygame.Rect], give: Give, curves: RingCurves, report: Report
) -> None:
    """The panels of a push, or of what came after it. report: of the ringing test, told beside it."""
    if "after" in rects:
        with inside(target, rects["rings"]):
            curves.draw(target, look, rects["rings"], give)
        with inside(target, rects["after"]):
            beside = give.rung.beside(report) if give.rung is not None else ""
            draw_after(target, look, rects["after"], give, beside, look.px(46))
        return
    with inside(target, rects["push"]):
        draw_push(target, look, rects["push"], give)
    with inside(target, rects["belts"]):
        draw_belts(target, look, rects["belts"], give)
