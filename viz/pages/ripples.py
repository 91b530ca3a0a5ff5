"""The ripple map: path error drawn on the path of a program, its levels, and its worst places with their causes.

Error is told three times: by colour (from unobtrusive to strong, its lightness changing evenly, so that it reads in
grey and to every eye), by thickness of the line, and at the worst places by numbers.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import pygame
from beltspring.sim import OFF_LINE, Level, Report, RippleMap, WorstPlace

from ..charts.axes import decimals_of, nice_step
from ..charts.panels import panel
from ..charts.ripple_map import PLACE_PX, draw_map, place_number, worst_level
from ..draw import text
from ..draw.canvas import disc, rounded, surface
from ..draw.png import save_png
from ..draw.theme import Look, look
from .settings_line import settings_entries, settings_line

SIZE = (1600, 1000)


def ripple_picture(
    result: Report,
    path: str | Path,
    theme: str = "light",
    size: tuple[int, int] = SIZE,
    scale: float = 1.0,
) -> Path:
    """Write the ripple map of a program's run."""
    image = draw_ripples(result, look(theme, scale), (round(size[0] * scale), round(size[1] * scale)))
    return save_png(image, path, settings_entries(result, "ripple map"))


def draw_ripples(result: Report, style: Look, size: tuple[int, int]) -> pygame.Surface:
    """The ripple map as a surface."""
    found = result.analysis.ripples
    if found is None:
        raise ValueError("only a program has a ripple map")
    target = surface(size)
    target.fill(style.theme.page)
    margin, gap = style.px(24), style.px(16)
    width = size[0] - 2 * margin
    y = style.px(44)
    used = text.draw(target, style, text.fit(style, result.title, width, 26, True), margin, y, 26, bold=True)
    words = f"{result.plan.description}; detail {result.design.detail}"
    room = width - used.w - style.px(14)
    text.draw(target, style, text.fit(style, words, room, 16), used.right + style.px(14), y, 16, colour=style.theme.dim)
    for line in text.wrap(style, _headline(result, found), width, 16)[:2]:
        y += style.px(24)
        text.draw(target, style, line, margin, y, 16)
    top, foot = y + style.px(20), size[1] - style.px(36)
    left = round(0.62 * width)
    level = worst_level(found)
    box = panel(
        target, style, pygame.Rect(margin, top, left, foot - top), "Ripple map",
        _map_words(found, level),
    )  # fmt: skip
    draw_map(target, box, style, found, level)
    x, right = margin + left + gap, width - left - gap
    list_h = min(
        style.px(64) + places_height(style, right - style.px(40), result.place_causes), round(0.8 * (foot - top))
    )
    box = panel(
        target, style, pygame.Rect(x, top, right, list_h), "Worst places", f"µm {OFF_LINE}, program line, place"
    )  # fmt: skip
    draw_places(target, box, style, found.places, result.place_causes)
    rest = pygame.Rect(x, top + list_h + gap, right, foot - top - list_h - gap)
    box = panel(target, style, rest, "By level", f"most {OFF_LINE}, at the notch its rms, µm, over height Z, mm")
    draw_levels(target, box, style, found, level)
    foot_y = size[1] - style.px(13)
    way = text.draw(target, style, WHAT_TO_CHANGE, margin + width, foot_y, 14, colour=style.theme.dim, align="right")
    line = text.fit(style, settings_line(result), way.x - margin - gap, 14)
    text.draw(target, style, line, margin, foot_y, 14, colour=style.theme.dim)
    return target


def _headline(result: Report, found: RippleMap) -> str:
    if result.trace.stopped_at_s is not None:
        return f"Only the part of the job that was simulated: {result.trace.ended}."
    if not found.places:
        return "The tool stays on the asked line all along."
    top = found.places[0]
    line = f"line {top.line} of the program" if top.line else "one place"
    where = f"at X {text.plain(top.point[0] * 1e3)}, Y {text.plain(top.point[1] * 1e3)} mm"
    often = f", and about as much on {top.levels - 1} other levels" if top.levels > 1 else ""
    laid = "where it lays material " if found.lays else ""
    return f"The tool strays most {laid}in {line}, {where}: {text.micrometres(top.error_m)} µm{often}."


def _map_words(found: RippleMap, level: Level | None) -> tuple[str, ...]:
    if level is None:
        return ("",)
    one = f"how far {OFF_LINE}, on the asked line, seen from above"
    if len(found.levels) == 1:
        return (one,)
    z = text.plain(level.z_m * 1e3)
    return (
        f"{one}; level Z {z} mm, the worst of {len(found.levels)}",
        f"level Z {z} mm, the worst of {len(found.levels)}",
    )


#: The map says causes; the command that simulates each change says what helps.
WHAT_TO_CHANGE = "What to change: beltspring improve"
#: Height of a place in the list with one line of cause, and of every further line.
ROW_PX, LINE_PX = 64, 19


def places_height(style: Look, width: int, causes: Sequence[str]) -> int:
    """Room the list of places takes, px."""
    room = width - 2 * style.px(PLACE_PX) - style.px(12)
    lines = [len(text.wrap(style, cause, room, 14)) for cause in causes]
    return sum(style.px(ROW_PX + LINE_PX * (n - 1)) for n in lines) or style.px(ROW_PX)


def draw_places(
    target: pygame.Surface, rect: pygame.Rect, style: Look, places: Sequence[WorstPlace], causes: Sequence[str]
) -> None:
    """The worst places as a list: number, error, program line and place, and why; every word of it."""
    r = style.px(PLACE_PX)
    indent = 2 * r + style.px(12)
    y = rect.y
    for place, cause in zip(places, causes, strict=True):
        lines = text.wrap(style, cause, rect.w - indent, 14)
        row = style.px(ROW_PX + LINE_PX * (len(lines) - 1))
        if y + row - style.px(10) > rect.bottom:
            return
        disc(target, (rect.x + r, y + style.px(16)), r, style.theme.text)
        place_number(target, style, place.number, (rect.x + r, y + style.px(16)), style.theme.panel)
        x = rect.x + indent
        base = y + style.px(21)
        used = text.draw_pair(target, style, text.micrometres(place.error_m), "µm", x, base, 18, 14)
        at = f"line {place.line}" if place.line else "before line 1"
        where = f"{at}, X {text.plain(place.point[0] * 1e3)} Y {text.plain(place.point[1] * 1e3)}"
        if place.levels > 1:
            where += f", {place.levels} levels"
        else:
            where += f" Z {text.plain(place.point[2] * 1e3)}"
        room = rect.right - used.right - style.px(14)
        text.draw(target, style, text.fit(style, where, room, 16), used.right + style.px(14), base, 16)
        for k, line in enumerate(lines):
            text.draw(target, style, line, x, base + style.px(21 + LINE_PX * k), 14, colour=style.theme.dim)
        y += row
    if not places:
        text.draw(target, style, "none", rect.x, y + style.px(21), 16, colour=style.theme.dim)


def draw_levels(target: pygame.Surface, rect: pygame.Rect, style: Look, found: RippleMap, shown: Level | None) -> None:
    """A bar for each level: its largest error, in it the rms; the level that is drawn is marked."""
    if not found.levels or rect.h < style.px(40):
        return
    label = style.px(64)
    foot = style.px(22)
    area = pygame.Rect(rect.x + label, rect.y, rect.w - label - style.px(30), rect.h - foot)
    top_um = max(v.max_m for v in found.levels) * 1e6 or 1.0
    step = nice_step(top_um, 6)
    px_um = area.w / (step * math.ceil(top_um / step - 1e-9))
    for k in range(math.ceil(top_um / step - 1e-9) + 1):
        at = area.x + round(k * step * px_um)
        target.fill(style.theme.grid, (at, area.y, 1, area.h))
        words = text.number(k * step, decimals_of(step))
        text.draw(target, style, words, at, rect.bottom, 14, colour=style.theme.dim, align="center")
    count = len(found.levels)
    pitch = area.h / count
    written = -math.inf
    for i, level in enumerate(found.levels):
        # The highest level stands on top; where bars would touch they share a row and the largest shows.
        y = area.bottom - (i + 1) * pitch
        thick = max(1, round(min(0.7 * pitch, style.px(18))))
        bar = pygame.Rect(area.x, round(y + 0.5 * pitch - 0.5 * thick), round(level.max_m * 1e6 * px_um), thick)
        mine = shown is not None and level.z_m == shown.z_m
        rounded(target, bar, min(style.px(3), thick // 2), style.theme.control if mine else style.theme.track)
        rms = area.x + round(level.rms_m * 1e6 * px_um)
        target.fill(style.theme.panel, (rms, bar.y, style.px(2), thick))
        at = bar.centery + style.px(5)
        named = mine or ((i in (0, count - 1) or pitch > style.px(17)) and abs(at - written) > style.px(15))
        if named:
            words, colour = text.plain(level.z_m * 1e3, 4), style.theme.text if mine else style.theme.dim
            text.draw(target, style, words, area.x - style.px(8), at, 14, bold=mine, align="right", colour=colour)
            written = at
