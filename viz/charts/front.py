"""Designs of a search, one answer against another: every one judged as a dot, those that none other beats on a line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pygame
from beltspring.sim import SEARCH_ANSWERS, SEARCH_CALLED, Prices, Searched, SearchedDesign, SearchGoals, answer_words

from ..draw import text
from ..draw.canvas import disc, path_stroke
from ..draw.theme import Look, mix
from .axes import Axis, decimals_of, nice_step

#: The axis goes this far beyond the worst of the front; designs beyond it are not drawn, and counted.
BEYOND = 1.6


@dataclass(frozen=True)
class Front:
    """A search that still goes on: as far as it is, in the words of `Searched`."""

    goals: SearchGoals
    prices: Prices | None
    judged: tuple[SearchedDesign, ...]
    front: tuple[SearchedDesign, ...]


Drawable = Searched | Front


def axes_of(found: Drawable) -> tuple[str, str]:
    """The answers drawn: (across, up). Ringing goes up where it is sought; money across where it is known."""
    least = list(found.goals.least)
    up = least[0] if least[0] != "price" or len(least) == 1 else least[1]
    others = [name for name in (*least, "price", "mass_g", "job_s") if name != up]
    known = [name for name in others if any(one.answer(name) is not None for one in found.front)]
    return (known or others)[0], up


def title_of(found: Drawable) -> str:
    """ "judged ringing, µm, against price, EUR" """
    across, up = (_called(found, name) for name in axes_of(found))
    return f"{up}, against {across}"


def _called(found: Drawable, name: str) -> str:
    currency = "" if found.prices is None else found.prices.currency
    unit = currency if name == "price" else SEARCH_ANSWERS[name][0]
    return f"{SEARCH_CALLED[name]}, {unit}" if unit else SEARCH_CALLED[name]


def draw_front(
    target: pygame.Surface, look: Look, rect: pygame.Rect, found: Drawable, shown: Sequence[SearchedDesign]
) -> None:
    """The chart in `rect`. shown: the front's designs that are numbered, 1 on."""
    across, up = axes_of(found)
    known = [one for one in found.judged if one.answer(across) is not None and one.answer(up) is not None]
    front = [one for one in found.front if one.answer(across) is not None and one.answer(up) is not None]
    if not front:
        text.draw(target, look, "No design keeps what was asked.", rect.x, rect.y + look.px(24), 18)
        return
    area = pygame.Rect(rect.x + look.px(56), rect.y + look.px(30), rect.w - look.px(72), rect.h - look.px(76))
    high = _ends([_value(one, up) for one in front], [_value(one, up) for one in known])
    seen = [one for one in known if _value(one, up) <= high[1]]  # what lies above the picture does not make it wider
    wide = _ends([_value(one, across) for one in front], [_value(one, across) for one in (*front, *seen)])
    x, y = Axis(*wide, area.x, area.right), Axis(*high, area.bottom, area.y)
    _grid(target, look, area, x, y)
    text.draw(target, look, _called(found, up), rect.x, rect.y + look.px(14), 14, colour=look.theme.dim)
    text.draw(
        target,
        look,
        _called(found, across),
        area.right,
        area.bottom + look.px(42),
        14,
        colour=look.theme.dim,
        align="right",
    )
    members = {one.genes for one in found.front}
    out = 0
    for one in known:
        place = (float(x(_value(one, across))), float(y(_value(one, up))))
        if one.genes in members:
            continue
        if not area.collidepoint(place):
            out += 1
            continue
        stopped = bool(one.stops)
        colour = look.theme.alarm if stopped else mix(look.theme.panel, look.theme.dim, 0.7)
        disc(target, place, look.px(3), colour)
        if stopped:
            disc(target, place, look.px(1.6), look.theme.panel)
    line = sorted((float(x(_value(one, across))), float(y(_value(one, up)))) for one in front)
    if len(line) > 1:
        path_stroke(target, np.array(line), look.px(2), look.theme.text)
    numbers = {one.genes: k + 1 for k, one in enumerate(shown)}
    dots = [(float(x(_value(one, across))), float(y(_value(one, up)))) for one in front]
    half = look.px(7)
    taken = [pygame.Rect(round(px) - half, round(py) - half, 2 * half, 2 * half) for px, py in dots]
    for one, place in zip(front, dots, strict=True):
        disc(target, place, look.px(6), look.theme.text)
        number = numbers.get(one.genes)
        if number is not None:
            _number(target, look, place, str(number), taken, area)
    if out:
        words = f"{out} more lie beyond the picture"
        text.draw(target, look, words, area.x, area.bottom + look.px(42), 14, colour=look.theme.dim)


def _value(one: SearchedDesign, name: str) -> float:
    value = one.answer(name)
    assert value is not None
    return value


def _ends(front: Sequence[float], every: Sequence[float]) -> tuple[float, float]:
    """Low and high of an axis: round the front, with what is near it; from zero where the front comes near zero."""
    low, high = min(front), max(front)
    room = max(high - low, 0.15 * abs(high), 1e-9)
    top = max((value for value in every if value <= high + BEYOND * room), default=high)
    bottom = max(min(every), 0.0)
    bottom = 0.0 if bottom < 0.35 * top else bottom - 0.08 * (top - bottom)
    if top - bottom <= 1e-9 * abs(top):  # all the same
        return bottom - 0.1 * abs(bottom) - 1e-9, top + 0.1 * abs(top) + 1e-9
    return bottom, top + 0.05 * (top - bottom)


def _grid(target: pygame.Surface, look: Look, area: pygame.Rect, x: Axis, y: Axis) -> None:
    for axis, upright in ((x, False), (y, True)):
        step = nice_step(axis.high - axis.low, max(2, (area.h if upright else area.w) // look.px(90)))
        for k in range(int(np.ceil(axis.low / step - 1e-9)), int(np.floor(axis.high / step + 1e-9)) + 1):
            at, words = round(float(axis(k * step))), text.number(k * step, decimals_of(step))
            if upright:
                target.fill(look.theme.grid, (area.x, at, area.w, look.px(1)))
                text.draw(
                    target, look, words, area.x - look.px(8), at + look.px(5), 14, colour=look.theme.dim, align="right"
                )
            else:
                target.fill(look.theme.grid, (at, area.y, look.px(1), area.h))
                text.draw(target, look, words, at, area.bottom + look.px(20), 14, colour=look.theme.dim, align="center")


def _number(
    target: pygame.Surface,
    look: Look,
    place: tuple[float, float],
    words: str,
    taken: list[pygame.Rect],
    area: pygame.Rect,
) -> None:
    """A number beside a dot, where no other stands."""
    wide = round(text.width(look, words, 16, True))
    for dx, dy in ((10, -8), (-10 - wide, -8), (10, 20), (-10 - wide, 20), (-wide / 2, -14), (-wide / 2, 26)):
        spot = pygame.Rect(round(place[0] + look.px(dx)), round(place[1] + look.px(dy - 13)), wide, look.px(18))
        if spot.collidelist(taken) < 0 and area.inflate(look.px(40), look.px(40)).contains(spot):
            taken.append(spot)
            text.draw(target, look, words, spot.x, spot.y + look.px(13), 16, bold=True, back=look.theme.panel)
            return


def caption(found: Drawable, one: SearchedDesign) -> str:
    """ "33.4 µm   322.55 EUR" """
    currency = "" if found.prices is None else found.prices.currency
    told = [answer_words(n, v, currency) for n in SEARCH_ANSWERS if (v := one.answer(n)) is not None]
    wanted = [answer_words(n, v, currency) for n in found.goals.least if (v := one.answer(n)) is not None]
    return "   ".join(wanted or told)
