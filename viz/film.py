"""Moving pictures of a screen: drawn off screen, frame by frame from the clock, encoded as MP4 or GIF."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from beltspring.sim import InputError, Report

from .files.movie import FRAMES_S, SIZES, need_encoder
from .pages.settings_line import settings_line
from .window.app import film_app
from .window.filming import FilmJob, FilmPlan, clock_times


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
) -> FilmJob:
    """A film job for a screen. Raises InputError for what cannot be written or shown."""
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
    if app.screen.uses_clock:
        times = clock_times(min(end_s or app.stage.clock.end_s, app.stage.clock.end_s), speed, rate, begin_s)
    else:
        times = tuple(k / rate for k in range(round(app.screen.show_s * rate)))
    return FilmJob(app, FilmPlan(screen, times, rate, size), path, settings_line(results[0]))


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
