"""A fit as a picture: each record measured and modelled, before and after, and the single numbers beside them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pygame
from beltspring.sim import FitRecord, Fitted, fit_headline, learned_words, number_words

from ..charts.measured import MeasuredPlot
from ..charts.panels import panel
from ..draw import text
from ..draw.canvas import surface
from ..draw.png import save_png
from ..draw.theme import Look, look

WIDTH, ROW, MOST_RECORDS, LEARNED = 1600, 300, 6, 12


def fit_picture(found: Fitted, path: str | Path, theme: str = "light", scale: float = 1.0) -> Path:
    """Write the picture."""
    image = draw_fit(found, look(theme, scale), round(WIDTH * scale))
    words = {"Title": f"{found.title}: measured and modelled", "Software": "beltspring"}
    words["Description"] = "\n".join(fit_headline(found))
    return save_png(image, path, words)


def draw_fit(found: Fitted, style: Look, width: int) -> pygame.Surface:
    """Rows: the records, before at the left and after at the right; below what was learned and the single numbers."""
    records = list(found.records[:MOST_RECORDS])
    margin, gap = style.px(24), style.px(16)
    informed = [p for p in found.parameters if p.informed][:LEARNED]
    said = [line for sentence in fit_headline(found) for line in text.wrap(style, sentence, width - 4 * margin, 16)]
    lines = max(len(informed), len(found.numbers), 1)
    foot = style.px(76 + 24 * lines)
    top = style.px(64 + 22 * len(said) + 10)
    height = top + len(records) * (style.px(ROW) + gap) + foot + margin
    target = surface((width, height))
    target.fill(style.theme.page)
    text.draw(target, style, f"{found.title}: measured and modelled", margin, style.px(44), 26, bold=True)
    for k, line in enumerate(said):
        text.draw(target, style, line, margin, style.px(74 + 22 * k), 16, bold=k == 0)
    y = top
    for record in records:
        _record(target, style, pygame.Rect(margin, y, width - 2 * margin, style.px(ROW)), record)
        y += style.px(ROW) + gap
    area = pygame.Rect(margin, y, width - 2 * margin, foot)
    _foot(target, style, area, gap, found, [learned_words(p) for p in informed])
    return target


def _record(target: pygame.Surface, style: Look, rect: pygame.Rect, record: FitRecord) -> None:
    half = (rect.w - style.px(16)) // 2
    held = ", held out" if record.use == "check" else ""
    shares = (record.unexplained_before, record.unexplained)
    for after, share in zip((False, True), shares, strict=True):
        box = pygame.Rect(rect.right - half if after else rect.x, rect.y, half, rect.h)
        title = f"{record.file}{held}, {'after' if after else 'before'}"
        colour = style.theme.designs[1] if after else style.theme.designs[2]
        meaning = [
            f"m/s² along {record.curves.axis} about its largest: grey measured, in colour the model",
            f"m/s² along {record.curves.axis}",
        ]
        inner = panel(target, style, box, title, meaning, f"{100 * share:.1f} % unexplained", colour)
        MeasuredPlot().draw(target, inner, style, record.curves, after)


def _foot(
    target: pygame.Surface, style: Look, area: pygame.Rect, gap: int, found: Fitted, learned: Sequence[str]
) -> None:
    numbers = [number_words(n) for n in found.numbers]
    wide = area.w if not numbers else (area.w - gap) // 2
    _list(target, style, pygame.Rect(area.x, area.y, wide, area.h), "Learned", "± holds for 19 of 20 machines",
          learned or ["Nothing: what was measured says no more than was known."])  # fmt: skip
    if numbers:
        box = pygame.Rect(area.right - wide, area.y, wide, area.h)
        _list(target, style, box, "Measured", "and what the model says, before → after", numbers)


def _list(
    target: pygame.Surface, style: Look, rect: pygame.Rect, title: str, meaning: str, lines: Sequence[str]
) -> None:
    inner = panel(target, style, rect, title, meaning)
    for k, line in enumerate(lines):
        y = inner.y + style.px(16 + 24 * k)
        text.draw(target, style, text.fit(style, line, inner.w, 16), inner.x, y, 16)
