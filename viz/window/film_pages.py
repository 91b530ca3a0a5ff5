"""Which screens have a film with a layout of their own, and the frames of such a film."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import pygame

from ..charts.corners import Corner
from ..charts.shown import Shown
from ..draw.theme import Look
from .clock import Clock
from .film_bench import BenchPage
from .film_compare import ComparePage
from .film_moves import MovesPage
from .film_page import FilmPage
from .film_parts import BEFORE_S
from .film_print import PrintPage
from .filming import FilmPlan, Shot, stretched_times
from .fleet import MOST_TICKED, Column
from .screens.compare import CompareScreen
from .screens.compare_lower import label_of
from .screens.printed import PrintScreen
from .screens.what_moves import WhatMovesScreen

#: Screens of which one corner alone can be filmed.
OF_CORNERS = ("ringing", "compare", "print")


class Page(Shot, Protocol):
    """What a film draws. slow: when time is stretched, s."""

    look: Look
    size: tuple[int, int]
    slow: list[tuple[float, float]]

    def draw(self, target: pygame.Surface, time_s: float, speed: float) -> None: ...


@dataclass
class PageStage:
    """What a film moves of a page."""

    clock: Clock
    size: tuple[int, int]
    look: Look
    frame_s: float = 0.0


class PageFilm:
    """A film page as a film job wants a window. speed: on straights.  slower: how much slower time goes at corners.

    only: the corner it is about.
    """

    def __init__(self, page: Page, end_s: float, speed: float, slower: float, only: Corner | None) -> None:
        self.screen = page
        self.stage = PageStage(Clock(end_s), page.size, page.look)
        self._speed, self._slower, self._only = speed, slower, only

    def plan(self, rate: int, begin_s: float = 0.0, end_s: float | None = None) -> FilmPlan:
        """Its frames, the last half second of which dissolves into the first; a swing ends where it began.

        begin_s, end_s: of the clock.
        """
        page, last = self.screen, self.stage.clock.end_s
        if not page.uses_clock:
            times = tuple(k / rate for k in range(round(page.show_s * rate)))
        elif self._only is not None:
            low, high = max(0.0, self._only.stop_s - BEFORE_S), self._only.end_s
            times = stretched_times(high, self._speed, rate, [(low, high)], self._slower, low)
        else:
            times = stretched_times(min(end_s or last, last), self._speed, rate, page.slow, self._slower, begin_s)
        return FilmPlan(page.name, times, rate, page.size, 0 if isinstance(page, MovesPage) else rate // 2)

    def draw_now(self, target: pygame.Surface) -> None:
        """The page at the stage's clock."""
        now = self.stage.clock.time_s
        slow = any(a <= now <= b for a, b in self.screen.slow)
        self.screen.draw(target, now, self._speed / (self._slower if slow else 1.0))

    def close(self) -> None:
        """Nothing runs."""


def page_film(
    screen: Shot, shown: Shown, theme: str, size: tuple[int, int], settings: str, speed: float, slower: float,
    corner: int | None = None,
) -> PageFilm | None:  # fmt: skip
    """The film of a screen that is ready; None where it has no layout of its own. shown: the run that settings change.

    corner: the number, from 0, of the only one.
    """
    if screen.name == "ringing":
        only = None if corner is None else shown.corners[corner]
        return PageFilm(FilmPage(shown, theme, size, settings, only), shown.end_s, speed, slower, only)
    if isinstance(screen, PrintScreen) and not screen.as_wall and len(screen.designs()) == 1:
        only = None if corner is None else shown.corners[corner]
        return PageFilm(PrintPage(shown, theme, size, settings, only), shown.end_s, speed, slower, only)
    if screen.name == "mixing":
        return PageFilm(BenchPage(shown.result, theme, size, settings), 0.0, 1.0, 1.0, None)
    if isinstance(screen, CompareScreen):
        study = screen.verdicts.study
        best = study.comparison.best if study is not None else None
        designs = [(label_of(c), run) for c in _filmed(screen, best) if (run := screen.lower.run_of(c)) is not None]
        if not designs:
            return None
        verdict = study.headline.sentence if study is not None else ""
        compared = ComparePage(designs, verdict, theme, size, settings, corner)
        return PageFilm(compared, compared.shown.end_s, speed, slower, compared.only)
    if isinstance(screen, WhatMovesScreen) and screen.swing is not None and not screen.needs_full:
        moving = MovesPage(shown, screen.way, screen.swing, screen.amplitude, theme, size, settings)
        return PageFilm(moving, 0.0, 1.0, 1.0, None)
    return None


def _filmed(screen: CompareScreen, best: int | None) -> list[Column]:
    """The ticked designs; the one that the verdict names takes the place of the last where it is not ticked."""
    shown = screen.fleet.ready()
    named = screen.fleet.rows[best] if best is not None and best < len(screen.fleet.rows) else None
    if named is None or named.shown is None or named in shown:
        return shown
    return [*shown[: MOST_TICKED - 1], named]
