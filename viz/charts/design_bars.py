"""How much a compared design rings, as bars on one scale: what is judged, the machines it may become, the speed asked for."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pygame

from ..draw.canvas import disc, rounded
from ..draw.theme import Colour, Look, mix
from .axes import nice_step

MOST_TICKS = 3


def scale_top_m(told: Sequence[Any]) -> float:
    """Where the scale ends, m: the second largest of what is shown; what exceeds it is cut, and written.

    told: what is known of each design, None of one that runs.
    """
    tops = sorted((_top_m(one) for one in told if one is not None), reverse=True)
    if not tops:
        return 1e-5
    top = tops[0] if len(tops) == 1 or tops[0] < 1.6 * tops[1] else tops[1]
    return max(1.06 * top, 1e-6)


def _top_m(told: Any) -> float:
    judged, spread = told.judged, told.spread_m
    known = [judged.most_m if judged is not None else None, spread[1] if spread else None, told.own_m]
    return max((v for v in known if v is not None), default=0.0)


def ticks_of(top_m: float) -> list[float]:
    """Round values of the scale, µm, three at most besides zero."""
    step = nice_step(top_m * 1e6, MOST_TICKS + 1)
    return [k * step for k in range(int(top_m * 1e6 / step + 1e-9) + 1)]


def whisker(target: pygame.Surface, look: Look, x0: int, x1: int, y: int, colour: Colour) -> None:
    """A thin line with ends, px."""
    target.fill(colour, (x0, y - look.px(1), max(1, x1 - x0), look.px(2)))
    for x in (x0, x1 - look.px(2)):
        target.fill(colour, (x, y - look.px(5), look.px(2), look.px(10)))


def bars(
    target: pygame.Surface, look: Look, at: pygame.Rect, middle: int, told: Any, colour: Colour, top_m: float
) -> None:
    """Thin: 8 of 10 machines; thick: the judged speeds, a tick at what is judged; dot: the speed asked for."""
    theme, judged = look.theme, told.judged
    for tick in ticks_of(top_m):
        x = at.x + round(tick * 1e-6 / top_m * at.w)
        target.fill(theme.grid if tick else theme.line, (x, middle - look.px(14), look.px(1), look.px(28)))

    def px(value_m: float) -> int:
        return at.x + round(min(1.0, value_m / top_m) * at.w)

    if told.spread_m is not None:
        # Below the bar: where most machines do alike it is the shorter of the two.
        whisker(target, look, px(told.spread_m[0]), px(told.spread_m[1]), middle + look.px(9), theme.dim)
        middle -= look.px(3)
    if judged is not None and judged.least_m is not None and judged.most_m is not None and judged.judged_m is not None:
        low, high = px(judged.least_m), px(judged.most_m)
        bar = pygame.Rect(low, middle - look.px(6), max(look.px(4), high - low), look.px(12))
        rounded(target, bar, look.px(3), mix(theme.panel, colour, 0.62))
        tick = px(judged.judged_m)
        target.fill(theme.text, (tick - look.px(1), middle - look.px(9), look.px(2), look.px(18)))
        if judged.most_m > top_m:
            _break(target, look, at, middle, judged.most_m, colour)
    if told.own_m is not None and told.own_m <= top_m:
        disc(target, (px(told.own_m), middle), look.px(6), theme.panel)
        disc(target, (px(told.own_m), middle), look.px(5), theme.text)


def _break(target: pygame.Surface, look: Look, at: pygame.Rect, middle: int, value_m: float, colour: Colour) -> None:
    """A bar that leaves the scale: cut twice near its end, an arrow, and how far it goes."""
    theme, x = look.theme, at.right
    for k in (0, 1):
        left = x - look.px(22) + k * look.px(6)
        pygame.draw.line(
            target, theme.panel, (left, middle + look.px(9)), (left + look.px(5), middle - look.px(9)), look.px(3)
        )
    head = look.px(8)
    pygame.draw.polygon(
        target, mix(theme.panel, colour, 0.62), [(x, middle - head), (x + head, middle), (x, middle + head)]
    )
