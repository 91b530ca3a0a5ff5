"""A search as a picture: every design judged, those that none other beats, and some of these drawn small."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pygame
from beltspring.sim import Searched, SearchedDesign, build_machine, search_sentences, with_changes

from ..charts.front import caption, draw_front, title_of
from ..charts.panels import panel
from ..draw import text
from ..draw.arms import view_of
from ..draw.canvas import surface
from ..draw.png import save_png
from ..draw.state import MachineState
from ..draw.theme import Look, look

SIZE = (1600, 1000)
MOST_DRAWN = 6


def search_picture(found: Searched, path: str | Path, theme: str = "light", scale: float = 1.0) -> Path:
    """Write the picture."""
    size = round(SIZE[0] * scale), round(SIZE[1] * scale)
    assert found.first.ready is not None
    words = {"Title": f"{found.first.ready.design.title}: search", "Software": "beltspring"}
    words["Description"] = "\n".join(search_sentences(found))
    return save_png(draw_search(found, look(theme, scale), size), path, words)


def draw_search(found: Searched, style: Look, size: tuple[int, int]) -> pygame.Surface:
    """Chart to the left, the designs drawn small to the right, the reading below."""
    target = surface(size)
    target.fill(style.theme.page)
    margin, gap = style.px(24), style.px(16)
    assert found.first.ready is not None
    used = text.draw(target, style, found.first.ready.design.title, margin, style.px(44), 26, bold=True)
    words = f"{len(found.judged)} of {found.possible} designs judged under {found.first.ready.plan.description}"
    room = size[0] - used.right - margin - style.px(14)
    text.draw(
        target,
        style,
        text.fit(style, words, room, 16),
        used.right + style.px(14),
        style.px(44),
        16,
        colour=style.theme.dim,
    )
    lines = [
        line for sentence in search_sentences(found) for line in text.wrap(style, sentence, size[0] - 2 * margin, 16)
    ][:7]
    foot = style.px(24) * len(lines) + style.px(16)
    area = pygame.Rect(margin, style.px(64), size[0] - 2 * margin, size[1] - style.px(64) - foot - gap)
    left = round(area.w * 0.56)
    shown = _spread_out(found.front)
    box = panel(target, style, pygame.Rect(area.x, area.y, left, area.h), "What none beats", title_of(found))
    draw_front(target, style, box, found, shown)
    _machines(target, style, pygame.Rect(area.x + left + gap, area.y, area.w - left - gap, area.h), found, shown)
    for k, line in enumerate(lines):
        text.draw(target, style, line, margin, area.bottom + gap + style.px(20 + 24 * k), 16)
    return target


def _spread_out(front: Sequence[SearchedDesign]) -> list[SearchedDesign]:
    """The first, the last and some between, evenly."""
    if len(front) <= MOST_DRAWN:
        return list(front)
    return [front[round(k * (len(front) - 1) / (MOST_DRAWN - 1))] for k in range(MOST_DRAWN)]


def _machines(
    target: pygame.Surface, style: Look, rect: pygame.Rect, found: Searched, shown: Sequence[SearchedDesign]
) -> None:
    """The designs, numbered, on one scale."""
    assert found.first.scenario is not None
    columns, gap = (2, style.px(16)) if len(shown) > 1 else (1, 0)
    rows = max(1, (len(shown) + 1) // 2)
    wide, tall = (rect.w - gap * (columns - 1)) // columns, (rect.h - gap * (rows - 1)) // rows
    machines = [build_machine(with_changes(found.first.scenario, one.settings, "search")) for one in shown]
    views = [view_of(machine) for machine in machines]
    spans = [max(float(v) for v in (view.high - view.low)) for view in views]
    for k, (one, machine, view) in enumerate(zip(shown, machines, views, strict=True)):
        cell = pygame.Rect(rect.x + (k % columns) * (wide + gap), rect.y + (k // columns) * (tall + gap), wide, tall)
        inner = panel(target, style, cell, f"{k + 1}", caption(found, one))
        label = text.wrap(style, found.space.label(one.genes), inner.w, 14)[:3]
        drawn = pygame.Rect(inner.x, inner.y, inner.w, inner.h - style.px(20) * len(label) - style.px(6))
        share = spans[k] / max(spans)
        box = view.fitted(drawn.inflate(round(drawn.w * (share - 1)), round(drawn.h * (share - 1))))
        view.draw(target, box, style, MachineState(tool=machine.middle), labels="none", factor=4)
        for line, words in enumerate(label):
            y = inner.bottom - style.px(20) * (len(label) - 1 - line) - style.px(2)
            text.draw(target, style, words, inner.x, y, 14, colour=style.theme.dim)
