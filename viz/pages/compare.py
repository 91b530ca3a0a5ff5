"""Two or three designs side by side under the same move: columns, equal scales, one overlaid plot."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pygame
from beltspring.sim import OFF_LINE, Report

from ..charts.overlay import OverlayPlot, leg_window
from ..charts.panels import panel, result_rows
from ..charts.printed import PrintCanvas, corner_scale, draw_line, magnification_words, nice_magnification, scale_bar
from ..charts.shown import Shown
from ..draw import text
from ..draw.canvas import surface
from ..draw.png import save_png
from ..draw.theme import Look, look
from .run import SIZE
from .settings_line import detail_words, settings_entries, settings_line

MOST_DESIGNS = 3
STRIP_SPAN_M = 0.030


class Scales:
    """What all columns share: instant of the worst error, tension scale, magnification of the printed corner."""

    def __init__(self, designs: Sequence[Shown], strip: pygame.Rect) -> None:
        worst = max(designs, key=lambda s: float(s.result.analysis.path.across_max_m))
        self.worst_s = float(worst.result.analysis.path.worst_s)
        legs = worst.result.plan.legs
        self._leg = min(range(len(legs)), key=lambda k: abs(legs[k].start_s - self.worst_s), default=-1)
        self._legs = len(legs)
        self.most_n = max(s.tension_most_n for s in designs)
        size = max(float((s.asked_m.max(axis=0) - s.asked_m.min(axis=0)).max()) for s in designs)
        self.span_m = min(STRIP_SPAN_M, max(size, 1e-3))
        largest_px = float(worst.result.analysis.path.across_max_m) * strip.w / self.span_m
        self.magnification = nice_magnification(0.36 * strip.h / largest_px) if largest_px > 1e-9 else 1.0

    def corner_s(self, shown: Shown) -> float:
        """When a design comes to the corner that is shown: all strips show the same place, each in its own time."""
        legs = shown.result.plan.legs
        if self._leg < 0 or len(legs) != self._legs:
            return min(self.worst_s, shown.end_s)
        return float(legs[self._leg].start_s)


def draw_column(
    target: pygame.Surface,
    look: Look,
    rect: pygame.Rect,
    shown: Shown,
    label: str,
    remark: str,
    index: int,
    scales: Scales,
    now_s: float | None,
    *,
    frame_s: float = 0.0,
    factor: int = 2,
    canvas: PrintCanvas | None = None,
) -> None:
    """One design: rule and name in its colour, the machine, four numbers, the printed corner. All inside `rect`.

    canvas: keeps the printed corner between the frames of a moving clock.
    """
    colour = look.theme.designs[index % MOST_DESIGNS]
    inner = panel(target, look, rect, "")
    target.fill(colour, (inner.x, rect.y, inner.w, look.px(4)))
    value, _, unit = label.partition("\t")
    largest = 26 if rect.h < look.px(330) else 34
    size = largest if text.width(look, value, largest, True) < inner.w * 0.7 else 18
    name = text.fit(look, value, inner.w * (0.98 if not remark else 0.7), size, True)
    used = text.draw_pair(target, look, name, unit, inner.x, inner.y + look.px(22), size, 16, colour=colour)
    if remark:
        words = text.fit(look, remark, inner.right - used.right - look.px(16), 14)
        text.draw(target, look, words, inner.right, inner.y + look.px(10), 14, colour=look.theme.dim, align="right")
    top = inner.y + look.px(40 if largest == 34 else 32)
    strip_room = strip_height(look, rect)
    numbers = look.px(112 if largest == 34 else 190)
    room = pygame.Rect(inner.x, top, inner.w - numbers, inner.bottom - strip_room - look.px(14) - top)
    box = shown.view.fitted(room)
    box.topleft = (inner.x + (room.w - box.w) // 3, room.y + (room.h - box.h) // 2)
    instant = scales.worst_s if now_s is None else min(now_s, shown.end_s)
    shown.view.draw(
        target, box, look, shown.machine_state(instant, frame_s=frame_s, most_n=scales.most_n), factor=factor
    )
    _numbers(
        target,
        look,
        pygame.Rect(box.right + look.px(20), room.y, inner.right - box.right - look.px(20), room.h),
        shown,
    )
    strip = pygame.Rect(inner.x, inner.bottom - strip_room, inner.w, strip_room)
    target.fill(look.theme.line, (strip.x, strip.y, strip.w, look.px(1)))
    _strip(target, look, strip, shown, scales, now_s, factor, canvas)


def strip_height(look: Look, rect: pygame.Rect) -> int:
    """Room for the printed corner at the foot of a column."""
    return look.px(74) if rect.h < look.px(330) else max(look.px(84), min(look.px(130), round(rect.h * 0.25)))


def strip_rect(look: Look, rect: pygame.Rect) -> pygame.Rect:
    """Where the printed corner itself is drawn in a column `rect`."""
    inner = rect.inflate(-2 * look.px(20), -2 * look.px(20))
    height = strip_height(look, rect)
    return pygame.Rect(inner.x, inner.bottom - height + look.px(30), inner.w, height - look.px(30))


def _numbers(target: pygame.Surface, look: Look, rect: pygame.Rect, shown: Shown) -> None:
    """What the design is judged by, as the verdict has it, and what its own move says."""
    judged = shown.result.judged
    value_m = None if judged is None else judged.judged_m
    first = ("judged ringing", "–", "") if value_m is None else ("judged ringing", text.micrometres(value_m), "µm")
    rows = [(a if a[1:2] == " " else a.lower(), b, c) for a, b, c in result_rows(shown)]  # "X rings at" keeps its X
    rows.insert(0, first)
    step = min(look.px(72), rect.h // len(rows))
    y = rect.y + max(0, (rect.h - step * len(rows)) // 2)
    for what, value, unit in rows:
        if step < look.px(44):  # one line each
            right = min(rect.right, rect.x + look.px(190))
            baseline = y + step // 2 + look.px(5)
            text.draw(target, look, what, rect.x, baseline, 14, colour=look.theme.dim)
            text.draw_pair(target, look, value, unit, right, baseline, 16, 14, align="right")
        else:
            size, drop = (26, 42) if step >= look.px(58) else (18, 36)
            text.draw(target, look, what, rect.x, y + look.px(14), 14, colour=look.theme.dim)
            small = 16 if size == 26 else 14
            text.draw_pair(target, look, value, unit, rect.x, y + look.px(drop), size, small)
        y += step


def _strip(
    target: pygame.Surface,
    look: Look,
    rect: pygame.Rect,
    shown: Shown,
    scales: Scales,
    now_s: float | None,
    factor: int,
    canvas: PrintCanvas | None,
) -> None:
    baseline = rect.y + look.px(20)
    used = text.draw(target, look, "Printed corner", rect.x, baseline, 14, colour=look.theme.dim)
    paper = pygame.Rect(rect.x, rect.y + look.px(30), rect.w, rect.h - look.px(30))
    scale = corner_scale(paper, shown, scales.corner_s(shown), scales.span_m, scales.magnification)
    bar = scale_bar(target, look, used.right + look.px(18), baseline, scale.px_m * scale.magnification, room=60)
    words = f"error drawn {magnification_words(scale.magnification)} larger"
    if rect.right - bar.right > text.width(look, words, 14) + look.px(14):
        text.draw(target, look, words, rect.right, baseline, 14, colour=look.theme.dim, align="right")
    if canvas is not None and now_s is not None:
        canvas.draw(target, paper, look, shown, scale, min(now_s, shown.end_s), width_px=3.0 * look.scale)
    else:
        draw_line(target, paper, look, shown, scale, now_s, width_px=3.0 * look.scale, factor=factor)


def draw_compare(designs: Sequence[Shown], labels: Sequence[str], look: Look, size: tuple[int, int]) -> pygame.Surface:
    """A still picture of up to three designs; more are named in the head and left to the table."""
    target = surface(size)
    target.fill(look.theme.page)
    margin, gap = look.px(24), look.px(16)
    shown, names = list(designs[:MOST_DESIGNS]), list(labels[:MOST_DESIGNS])
    head = f"{len(designs)} designs, the same move"
    used = text.draw(target, look, head, margin, look.px(44), 26, bold=True)
    more = f"; the first {MOST_DESIGNS} are drawn" if len(designs) > MOST_DESIGNS else ""
    words = f"{shown[0].result.plan.description}; {detail_words(shown[0].result)}{more}"
    room = size[0] - used.right - margin - look.px(14)
    text.draw(
        target, look, text.fit(look, words, room, 16), used.right + look.px(14), look.px(44), 16, colour=look.theme.dim
    )
    area = pygame.Rect(margin, look.px(64), size[0] - 2 * margin, size[1] - look.px(64) - look.px(36))
    upper = round(area.h * 0.64)
    columns = column_rects(area, upper, len(shown), gap)
    scales = Scales(shown, strip_rect(look, columns[0]))
    for k, (rect, s, name) in enumerate(zip(columns, shown, names, strict=True)):
        draw_column(target, look, rect, s, name, "", k, scales, None, factor=4)
    lower = pygame.Rect(area.x, area.y + upper + gap, area.w, area.h - upper - gap)
    box = panel(
        target,
        look,
        lower,
        OFF_LINE.capitalize(),
        "µm from the asked line, left of it positive",
        "shaded: speeding up or slowing down",
    )
    named = [(n.replace("\t", " "), s) for n, s in zip(names, shown, strict=True)]
    slowest = max(shown, key=lambda s: s.end_s)
    OverlayPlot().draw(target, box, look, named, None, window=leg_window(slowest, scales.worst_s))
    when = text.number(scales.worst_s * 1e3)
    at = f"machines and printed corners at {when} ms, when one of them is farthest off the line"
    text.draw(target, look, text.fit(look, at, area.w, 14), margin, size[1] - look.px(13), 14, colour=look.theme.dim)
    return target


def column_rects(area: pygame.Rect, height: int, count: int, gap: int) -> list[pygame.Rect]:
    """Equal columns across the top of `area`."""
    width = (area.w - gap * (count - 1)) / count
    return [pygame.Rect(round(area.x + k * (width + gap)), area.y, round(width), height) for k in range(count)]


def compare_picture(
    results: Sequence[Report],
    path: str | Path,
    theme: str = "light",
    size: tuple[int, int] = SIZE,
    scale: float = 1.0,
    labels: Sequence[str] | None = None,
) -> Path:
    """Write a picture of two or more runs of the same move. labels: what to call each; else its title."""
    shown = [Shown(r) for r in results]
    names = list(labels) if labels is not None else [r.title for r in results]
    image = draw_compare(shown, names, look(theme, scale), (round(size[0] * scale), round(size[1] * scale)))
    words = settings_entries(results[0], f"{len(results)} designs compared")
    words["Description"] = "\n".join(f"{name}: {settings_line(r)}" for name, r in zip(names, results, strict=True))
    return save_png(image, path, words)
