"""Moving pictures of a screen: drawn off screen, frame by frame from the clock, encoded as MP4 or GIF."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from beltspring.sim import InputError, Report

from .files.movie import FRAMES_S, SIZES, need_encoder
from .pages.settings_line import settings_line
from .window.app import film_app
from .window.film_pages import OF_CORNERS, page_film
from .window.filming import FilmJob, FilmPlan, clock_times, slower_at_corners


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
    """A film job for a screen. corner: only this one (from 1), played over and over without a jump, where a screen
    shows corners. Raises InputError for what cannot be written or shown."""
    path = Path(path)
    suffix = path.suffix.lower()
    need_encoder(suffix)
    size = size or SIZES[suffix]
    size = (size[0] // 2 * 2, size[1] // 2 * 2)  # yuv420p needs even sides
    rate = frames_s or FRAMES_S[suffix]
    app = film_app(results, screen, theme, size)
    if app.screen.name != screen:
        raise InputError(f"no screen {screen!r}; there are {', '.join(s.name for s in app.screens)}")
    app.wait_until_ready()
    shown = app.session.shown
    if corner is not None and screen not in OF_CORNERS:
        raise InputError(f"a corner is filmed on the screens {', '.join(OF_CORNERS)}, not on {screen}")
    if corner is not None and not 1 <= corner <= len(shown.corners):
        raise InputError(f"there is no corner {corner}; this move has {len(shown.corners)}")
    slower = slower_at_corners(suffix)
    words = settings_line(results[0])
    film = page_film(app.screen, shown, theme, size, words, speed, slower, None if corner is None else corner - 1)
    if film is not None:
        app.close()
        return FilmJob(film, film.plan(rate, begin_s, end_s), path, words)
    if app.screen.uses_clock:
        times = clock_times(min(end_s or app.stage.clock.end_s, app.stage.clock.end_s), speed, rate, begin_s)
    else:
        times = tuple(k / rate for k in range(round(app.screen.show_s * rate)))
    return FilmJob(app, FilmPlan(screen, times, rate, size), path, words)


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
