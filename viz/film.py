"""Moving pictures of a screen: drawn off screen, frame by frame from the clock, encoded as MP4 or GIF."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pygame
from beltspring.sim import InputError, Report

from .charts.shown import Shown
from .draw.theme import Look
from .files.movie import FRAMES_S, SIZES, need_encoder
from .pages.settings_line import settings_line
from .window.app import film_app
from .window.clock import Clock
from .window.film_page import BEFORE_S, FilmPage
from .window.filming import FilmJob, FilmPlan, clock_times, stretched_times

#: At corners time goes so much slower than on straights; in GIFs, whose frames cost more, less so.
SLOWER, SLOWER_GIF = 10.0, 4.0


def film_jobs(
    results: Sequence[Report],
    path: str | Path,
    *,
    screen: str = "ringing",
    speed: float = 0.1,
    begin_s: float = 0.0,
    end_s: float | None = None,
    theme: str = "dark",
    size: tuple[int, int] | None = None,
    frames_s: int | None = None,
    corner: int | None = None,
) -> FilmJob:
    """A film job for a screen. corner: of the ringing test only this one (from 1), played over and over without a jump.
    Raises InputError for what cannot be written or shown."""
    path = Path(path)
    suffix = path.suffix.lower()
    need_encoder(suffix)
    size = size or SIZES[suffix]
    size = (size[0] // 2 * 2, size[1] // 2 * 2)  # yuv420p needs even sides
    rate = frames_s or FRAMES_S[suffix]
    if screen == "ringing":
        return _ringing_job(results[0], path, theme, size, rate, speed, begin_s, end_s, corner)
    if corner is not None:
        raise InputError(f"a corner is filmed on the screen ringing, not on {screen}")
    app = film_app(results, screen, theme, size)
    if app.screen.name != screen:
        raise InputError(f"no screen {screen!r}; there are {', '.join(s.name for s in app.screens)}")
    app.wait_until_ready()
    if app.screen.uses_clock:
        times = clock_times(min(end_s or app.stage.clock.end_s, app.stage.clock.end_s), speed, rate, begin_s)
    else:
        times = tuple(k / rate for k in range(round(app.screen.show_s * rate)))
    return FilmJob(app, FilmPlan(screen, times, rate, size), path, settings_line(results[0]))


def _ringing_job(
    result: Report, path: Path, theme: str, size: tuple[int, int], rate: int, speed: float, begin_s: float,
    end_s: float | None, corner: int | None,
) -> FilmJob:  # fmt: skip
    """The ringing test has a page of its own; time is stretched at its corners."""
    shown = Shown(result)
    if corner is not None and not 1 <= corner <= len(shown.corners):
        raise InputError(f"there is no corner {corner}; this move has {len(shown.corners)}")
    only = None if corner is None else shown.corners[corner - 1]
    page = FilmPage(shown, theme, size, settings_line(result), only)
    slower = SLOWER if path.suffix.lower() == ".mp4" else SLOWER_GIF
    app = PageFilm(page, speed, slower)
    if only is not None:
        low, high = max(0.0, only.stop_s - BEFORE_S), only.end_s
        times = stretched_times(high, speed, rate, [(low, high)], slower, low)
    else:
        last = min(end_s or shown.end_s, shown.end_s)
        times = stretched_times(last, speed, rate, page.slow, slower, begin_s)
    plan = FilmPlan("ringing", times, rate, size, rate // 2 if only is not None else 0)
    return FilmJob(app, plan, path, settings_line(result))


@dataclass
class PageStage:
    """What a film moves of a page."""

    clock: Clock
    size: tuple[int, int]
    look: Look
    frame_s: float = 0.0


class PageFilm:
    """A film page as a film job wants a window. speed: on straights.  slower: how much slower time goes at corners."""

    def __init__(self, page: FilmPage, speed: float, slower: float) -> None:
        self.screen = page
        self.stage = PageStage(Clock(page.shown.end_s), page.size, page.look)
        self._speed, self._slower = speed, slower

    def draw_now(self, target: pygame.Surface) -> None:
        """The page at the stage's clock."""
        now = self.stage.clock.time_s
        slow = any(a <= now <= b for a, b in self.screen.slow)
        self.screen.draw(target, now, self._speed / (self._slower if slow else 1.0))

    def close(self) -> None:
        """Nothing runs."""


def write_film(
    results: Sequence[Report], path: str | Path, *, progress: Callable[[int, int], None] | None = None, **how: Any
) -> Path:
    """Make a whole film; progress(done, total) after each frame. Keywords as `film_jobs`. Interrupting leaves nothing."""
    job = film_jobs(results, path, **how)
    try:
        for done in _steps(job):
            if progress is not None:
                progress(done, job.total)
    finally:
        job.app.close()
    return Path(path)


def _steps(job: FilmJob) -> Iterator[int]:
    try:
        while job.step():
            yield job.done
    except BaseException:
        job.cancel()
        raise
