"""Moving pictures of a screen: drawn off screen, frame by frame from the clock, encoded as MP4 or GIF.

The encoders are the extra `video`: av for MP4, Pillow for GIF.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import pygame
from beltspring.sim.errors import InputError

from .draw.canvas import surface
from .draw.stamp import HEIGHT, stamped
from .pages.settings_line import settings_line
from .result import RunResult

if TYPE_CHECKING:
    from .window.app import App

SIZES = {".mp4": (1280, 720), ".gif": (800, 450)}
FRAMES_S = {".mp4": 30, ".gif": 15}
LAYOUT_WIDTH = 1280.0  # a smaller film is laid out at this width and scaled down


class Encoder(Protocol):
    """Takes frames in order; `finish` completes the file."""

    def add(self, frame: pygame.Surface) -> None: ...

    def finish(self) -> None: ...


@dataclass(frozen=True)
class FilmPlan:
    """What is filmed. times_s: clock of each frame (for the bench: real time).  speed: simulated per shown second."""

    screen: str
    times_s: tuple[float, ...]
    frames_s: int
    size: tuple[int, int]


def need_encoder(suffix: str) -> None:
    """Raise InputError, naming what to install, where a kind of film cannot be written here."""
    if suffix not in SIZES:
        raise InputError(f"a film is written as .mp4 or .gif, not {suffix or 'without an ending'}")
    module = "av" if suffix == ".mp4" else "PIL"
    try:
        __import__(module)
    except ImportError:
        raise InputError(
            f"writing {suffix} needs the extra `video`, which is not installed: pip install 'beltspring[video]'"
        ) from None


class FilmJob:
    """A film being made: call `step` until it returns False; `cancel` leaves nothing behind."""

    def __init__(self, app: App, plan: FilmPlan, path: Path, words: str) -> None:
        suffix = path.suffix.lower()
        need_encoder(suffix)
        self.app, self.plan, self.path, self.words = app, plan, path, words
        self.done = 0
        self._screen = surface(app.size)
        handle, name = tempfile.mkstemp(dir=path.parent or Path("."), prefix=f".{path.stem}-", suffix=suffix)
        os.close(handle)
        self._part = Path(name)
        self._encoder: Encoder | None = None
        self._make = _Mp4 if suffix == ".mp4" else _Gif

    @property
    def total(self) -> int:
        """Number of frames."""
        return len(self.plan.times_s)

    def step(self) -> bool:
        """Draw and encode one frame; the last call completes the file. False once it is written."""
        try:
            if self.done < self.total:
                frame = self._frame(self.done)
                if self._encoder is None:
                    self._encoder = self._make(self._part, frame.get_size(), self.plan.frames_s, self.words)
                self._encoder.add(frame)
                self.done += 1
                return True
            if self._encoder is not None:
                self._encoder.finish()
                self._encoder = None
            umask = os.umask(0)
            os.umask(umask)
            os.chmod(self._part, 0o666 & ~umask)
            os.replace(self._part, self.path)
            return False
        except BaseException:
            self.cancel()
            raise

    def cancel(self) -> None:
        """Stop and remove what was written."""
        if self._encoder is not None:
            with contextlib.suppress(Exception):
                self._encoder.finish()
            self._encoder = None
        self._part.unlink(missing_ok=True)

    def _frame(self, index: int) -> pygame.Surface:
        app, time_s = self.app, self.plan.times_s[index]
        step = time_s - (self.plan.times_s[index - 1] if index else time_s)
        if app.screen.uses_clock:
            app.clock.go(time_s)
            app.frame_s = max(0.0, step)
        else:
            app.screen.advance(step)
        app.draw_now(self._screen)
        frame = stamped(self._screen, app.look, self.words)
        if frame.get_size() != self.plan.size:
            frame = pygame.transform.smoothscale(frame, self.plan.size)
        return frame


class _Mp4:
    def __init__(self, path: Path, size: tuple[int, int], frames_s: int, words: str) -> None:
        import av

        self._av: Any = av
        self._container = av.open(str(path), "w")
        self._container.metadata["comment"] = words
        self._stream: Any = self._container.add_stream("libx264", rate=frames_s)
        self._stream.width, self._stream.height = size
        self._stream.pix_fmt = "yuv420p"
        self._stream.options = {"crf": "18", "preset": "medium"}

    def add(self, frame: pygame.Surface) -> None:
        import numpy as np

        pixels = np.ascontiguousarray(pygame.surfarray.array3d(frame).transpose(1, 0, 2))
        for packet in self._stream.encode(self._av.VideoFrame.from_ndarray(pixels, format="rgb24")):
            self._container.mux(packet)

    def finish(self) -> None:
        for packet in self._stream.encode():
            self._container.mux(packet)
        self._container.close()


class _Gif:
    def __init__(self, path: Path, size: tuple[int, int], frames_s: int, words: str) -> None:
        self._path, self._frames_s, self._words = path, frames_s, words
        self._frames: list[Any] = []
        self._palette: Any = None

    def add(self, frame: pygame.Surface) -> None:
        from PIL import Image

        image = Image.frombytes("RGB", frame.get_size(), pygame.image.tobytes(frame, "RGB"))
        if self._palette is None:
            # One palette for all frames: colours stay put, and unchanged areas cost nothing.
            self._palette = image.quantize(colors=255, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
        self._frames.append(image.quantize(palette=self._palette, dither=Image.Dither.NONE))

    def finish(self) -> None:
        if self._frames:
            first, rest = self._frames[0], self._frames[1:]
            first.save(
                self._path,
                save_all=True,
                append_images=rest,
                duration=round(1000 / self._frames_s),
                loop=0,
                optimize=False,
                comment=self._words.encode("utf-8")[:250],
            )


def clock_times(end_s: float, speed: float, frames_s: int, begin_s: float = 0.0) -> tuple[float, ...]:
    """Clock of each frame from begin to end at a speed, and a short stand at the end."""
    count = max(1, round((end_s - begin_s) / speed * frames_s))
    moving = [begin_s + (end_s - begin_s) * k / count for k in range(count + 1)]
    return (*moving, *([end_s] * (frames_s // 2)))


def film_app(results: Sequence[RunResult], screen: str, theme: str, size: tuple[int, int]) -> App:
    """A window without a display for filming; the settings line fits below it in `size`."""
    from .window.app import App

    factor = max(1.0, LAYOUT_WIDTH / size[0])
    width, height = round(size[0] * factor), round(size[1] * factor)
    return App(results, theme=theme, size=(width, height - HEIGHT), initial_screen=screen, filming=True)


def film_jobs(
    results: Sequence[RunResult],
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
        times = clock_times(min(end_s or app.clock.end_s, app.clock.end_s), speed, rate, begin_s)
    else:
        times = tuple(k / rate for k in range(round(app.screen.show_s * rate)))
    return FilmJob(app, FilmPlan(screen, times, rate, size), path, settings_line(results[0]))


def write_film(
    results: Sequence[RunResult], path: str | Path, *, progress: Callable[[int, int], None] | None = None, **how: Any
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
