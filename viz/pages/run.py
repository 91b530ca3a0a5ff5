"""Still pictures of a run and of several compared: drawn by the same code as the window, with no screen needed."""

from __future__ import annotations

from pathlib import Path

import pygame
from beltspring.sim import OFF_LINE, Report

from ..charts.deviation import DeviationPlot
from ..charts.panels import machine_with_tensions, panel, print_key
from ..charts.printed import best_magnification, draw_line, fit_path
from ..charts.shown import Shown
from ..charts.spectrum import SpectrumPlot, title_of
from ..draw import text
from ..draw.canvas import surface
from ..draw.png import save_png
from ..draw.theme import Look, look
from .settings_line import detail_words, settings_entries, settings_line

SIZE = (1600, 1000)
#: A rest longer than this is left out of a still picture, s; so much of it is shown after a stop.
LONG_REST_S, AFTER_S = 3.0, 0.5


def picture(
    result: Report, path: str | Path, theme: str = "light", size: tuple[int, int] = SIZE, scale: float = 1.0
) -> Path:
    """Write a picture of a run: machine, deviation, spectrum, printed line. size: px at scale 1."""
    image = draw_picture(result, look(theme, scale), (round(size[0] * scale), round(size[1] * scale)))
    return save_png(image, path, settings_entries(result, "one run"))


def draw_picture(result: Report, style: Look, size: tuple[int, int]) -> pygame.Surface:
    """The picture of one run as a surface."""
    shown = Shown(result)
    target = surface(size)
    target.fill(style.theme.page)
    margin, gap = style.px(24), style.px(16)
    top = _header(target, style, shown, margin, size[0] - 2 * margin)
    foot = size[1] - style.px(36)
    area = pygame.Rect(margin, top, size[0] - 2 * margin, foot - top)
    left = round(area.w * 0.36)
    upper = round(area.h * 0.56)
    worst_s = float(result.analysis.path.worst_s)
    at = f"at {text.number(worst_s * 1e3)} ms, most {OFF_LINE}"

    box = panel(target, style, pygame.Rect(area.x, area.y, left, upper), "Machine", at)
    machine_with_tensions(target, style, box, shown, worst_s, factor=4)

    box = panel(
        target,
        style,
        pygame.Rect(area.x, area.y + upper + gap, left, area.h - upper - gap),
        "Printed line",
        _path_words(shown),
    )
    _printed(target, style, box, shown)

    x, width = area.x + left + gap, area.w - left - gap
    busy = busy_window(shown)
    box = panel(
        target,
        style,
        pygame.Rect(x, area.y, width, upper),
        "Tool deviation",
        "µm, tool minus commanded position",
        "shaded: speeding up or slowing down"
        if busy is None
        else f"{busy[0]:.1f} to {busy[1]:.1f} s; long rests left out",
    )
    DeviationPlot().draw(target, box, style, shown, None, window=busy)

    box = panel(
        target,
        style,
        pygame.Rect(x, area.y + upper + gap, width, area.h - upper - gap),
        *title_of(result.analysis),
    )
    SpectrumPlot().draw(target, box, style, shown)

    line = text.fit(style, settings_line(result), area.w, 14)
    text.draw(target, style, line, margin, size[1] - style.px(13), 14, colour=style.theme.dim)
    return target


def busy_window(shown: Shown) -> tuple[float, float] | None:
    """What a picture shows of a move with long rests, s: the part between two of them with the largest deviation.

    None where no rest is long: then all of it is shown.
    """
    parts: list[list[float]] = []
    for leg in shown.result.plan.legs:
        if parts and leg.start_s - parts[-1][1] <= LONG_REST_S:
            parts[-1][1] = max(parts[-1][1], float(leg.end_s))
        else:
            parts.append([float(leg.start_s), float(leg.end_s)])
    if not parts or (len(parts) == 1 and shown.end_s - parts[0][1] <= LONG_REST_S and parts[0][0] <= LONG_REST_S):
        return None
    worst = float(shown.result.analysis.path.worst_s)
    ends = [start for start, _ in parts[1:]] + [shown.end_s]
    for (start, end), following in zip(parts, ends, strict=True):
        if worst <= following:
            return max(0.0, start - AFTER_S / 5), min(end + AFTER_S, following)
    return None


def _path_words(shown: Shown) -> str:
    words = str(shown.result.plan.description)
    return words.split(" at ")[0].rstrip(",")


def _header(target: pygame.Surface, style: Look, shown: Shown, x: int, width: int) -> int:
    """Title and the reading in words; returns where the panels may begin."""
    y = style.px(44)
    used = text.draw(target, style, text.fit(style, shown.result.title, width, 26, True), x, y, 26, bold=True)
    words = f"{shown.result.plan.description}; {detail_words(shown.result)}"
    text.draw(
        target,
        style,
        text.fit(style, words, width - used.w - style.px(14), 16),
        used.right + style.px(14),
        y,
        16,
        colour=style.theme.dim,
    )
    for line in text.wrap(style, shown.result.analysis.reading, width, 16):
        y += style.px(24)
        text.draw(target, style, line, x, y, 16)
    return y + style.px(20)


def _printed(target: pygame.Surface, style: Look, box: pygame.Rect, shown: Shown) -> None:
    key = style.px(170)
    paper = pygame.Rect(box.x, box.y, box.w - key, box.h)
    scale = fit_path(paper, shown, best_magnification(shown), style.px(8))
    draw_line(target, paper, style, shown, scale, None, width_px=2.6 * style.scale, factor=4)
    print_key(target, style, box.right - key + style.px(16), box.y + style.px(10), scale, to_come=False, room=key)
