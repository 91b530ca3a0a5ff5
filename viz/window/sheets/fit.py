"""A fit, read from its folder: each record measured and modelled, before and after, and what was learned."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pygame

from ...charts.measured import MeasuredPlot
from ...draw import text
from ...draw.theme import Look
from ...files.fit_read import FitSaved
from ..controls.buttons import Button
from ..controls.control import Control
from ..stage import Stage
from .sheet import Sheet


class FitSheet(Sheet):
    """One record at a time, before at the left, after at the right; below what was learned."""

    title = "Measured and modelled"
    size = (1120, 640)

    def __init__(self, stage: Stage, saved: FitSaved, work_on: Callable[[], None]) -> None:
        """work_on: opens the fitted scenario."""
        super().__init__(stage)
        self.taker = Button("work on fitted", "Work on it", work_on, "Open the scenario with what was learned.")
        self.saved = saved
        self.number = 0
        self.following = Button("next record", "Next record", self._next, "The next of the records measured.")

    def _next(self) -> None:
        self.number = (self.number + 1) % max(1, len(self.saved.records))

    def controls(self, look: Look) -> list[Control]:
        there = [self.taker] if self.saved.scenario is not None else []
        there += [self.following] if len(self.saved.records) > 1 else []
        right = self.closer.rect.x - look.px(10)
        for button in there:
            wide = button.natural_width(look)
            button.rect = pygame.Rect(right - wide, self.closer.rect.y, wide, self.closer.rect.h)
            right = button.rect.x - look.px(10)
        return list(there)

    def draw_inner(self, target: pygame.Surface, look: Look, rect: pygame.Rect) -> None:
        saved, y, theme = self.saved, rect.y, look.theme
        if saved.records:
            record = saved.records[self.number]
            gap = look.px(24)
            half, high = (rect.w - gap) // 2, round(rect.h * 0.46)
            for after in (False, True):
                x, share = rect.x + after * (half + gap), record.unexplained if after else record.unexplained_before
                colour = theme.designs[1] if after else theme.designs[2]
                title = f"{record.file}, {'after' if after else 'before'}"
                used = text.draw(
                    target, look, text.fit(look, title, half * 0.6, 16, True), x, y + look.px(14), 16, bold=True
                )
                said = f"{100 * share:.1f} % unexplained"
                text.draw(target, look, said, used.right + look.px(12), y + look.px(14), 14, colour=colour)
                box = pygame.Rect(x, y + look.px(24), half, high - look.px(24))
                MeasuredPlot().draw(target, box, look, record.curves, after)
            y += high + look.px(20)
            words = f"m/s² along {record.curves.axis}: broad what was measured, in colour the model"
            words += f"; record {self.number + 1} of {len(saved.records)}"
            text.draw(target, look, text.fit(look, words, rect.w, 14), rect.x, y, 14, colour=theme.dim)
            y += look.px(14)
        lines = list(saved.learned or ("Nothing was learned: what was measured says no more than was known.",))
        if saved.numbers:
            lines = ["Measured; the model before → after:", *saved.numbers, "Learned, and how sure:", *lines]
        self._lines(target, look, pygame.Rect(rect.x, y, rect.w, rect.bottom - y), lines)

    @staticmethod
    def _lines(target: pygame.Surface, look: Look, rect: pygame.Rect, lines: Sequence[str]) -> None:
        """What was learned, in two columns where it is much; what there is no room for is counted."""
        pitch, gap = look.px(24), look.px(24)
        high = max(1, rect.h // pitch)
        columns = 1 if len(lines) <= high else 2
        wide = (rect.w - gap * (columns - 1)) // columns
        shown = list(lines)
        if len(lines) > columns * high:
            shown = [*lines[: columns * high - 1], f"{len(lines) - columns * high + 1} more: `report.txt` has them all"]
        size = 16 if all(text.width(look, line, 16) <= wide for line in shown) else 14
        for k, line in enumerate(shown):
            column, row = divmod(k, high)
            at = (rect.x + column * (wide + gap), rect.y + pitch * (row + 1))
            text.draw(target, look, text.fit(look, line, wide, size), *at, size, bold=line.endswith(":"))
