"""A screen drawn off screen, frame by frame from the clock, into a film. What takes the frames is files/movie.py."""

from __future__ import annotations

import contextlib
import itertools
import os
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import pygame

from ..charts.shown import Shown
from ..draw.canvas import surface
from ..draw.stamp import stamped
from ..draw.theme import Look
from ..files.movie import Encoder, encoder, need_encoder
from ..files.rights import as_any_new_file
from .clock import Clock

#: At corners time goes so much slower than on straights; in GIFs, whose frames cost more, less so.
SLOWER, SLOWER_GIF = 10.0, 4.0


def slower_at_corners(suffix: str) -> float:
    """How much slower time goes at corners in a film of this kind of file, ".mp4" or ".gif"."""
    return SLOWER if suffix == ".mp4" else SLOWER_GIF


class Shot(Protocol):
    """What of a screen a film or a picture asks."""

    @property
    def name(self) -> str: ...

    @property
    def title(self) -> str: ...

    @property
    def uses_clock(self) -> bool: ...

    @property
    def show_s(self) -> float: ...

    @property
    def stamped(self) -> bool: ...

    def panels(self) -> dict[str, pygame.Rect]: ...

    def advance(self, dt: float) -> bool: ...


class Set(Protocol):
    """What of a stage a film moves."""

    frame_s: float

    @property
    def clock(self) -> Clock: ...

    @property
    def size(self) -> tuple[int, int]: ...

    @property
    def look(self) -> Look: ...


class Filmed(Protocol):
    """A window without a display, for films."""

    @property
    def stage(self) -> Set: ...

    @property
    def screen(self) -> Shot: ...

    def draw_now(self, target: pygame.Surface) -> None: ...

    def close(self) -> None: ...


class Planned(Filmed, Protocol):
    """A film with a layout of its own, which knows its frames: so many a second, from when to when of the clock, s."""

    def plan(self, rate: int, begin_s: float = 0.0, end_s: float | None = None) -> FilmPlan: ...


#: The film of a screen that is ready, None where it has no layout of its own: of (screen, the run that settings change,
#: theme, size in px, a line of settings, speed on straights, how much slower at corners).
PageFilmOf = Callable[[Shot, Shown, str, tuple[int, int], str, float, float], Planned | None]


@dataclass(frozen=True)
class FilmPlan:
    """What is filmed. times_s: clock of each frame (for the bench: real time).  loop: so many frames at the end
    dissolve into the first, so that it plays over and over without a jump."""

    screen: str
    times_s: tuple[float, ...]
    frames_s: int
    size: tuple[int, int]
    loop: int = 0


def clock_times(end_s: float, speed: float, frames_s: int, begin_s: float = 0.0) -> tuple[float, ...]:
    """Clock of each frame from begin to end at a speed, and a short stand at the end."""
    count = max(1, round((end_s - begin_s) / speed * frames_s))
    moving = [begin_s + (end_s - begin_s) * k / count for k in range(count + 1)]
    return (*moving, *([end_s] * (frames_s // 2)))


def stretched_times(
    end_s: float, speed: float, frames_s: int, slow: Sequence[tuple[float, float]], slower: float, begin_s: float = 0.0
) -> tuple[float, ...]:
    """Clock of each frame at a speed, within the stretches `slow` so much slower; and a short stand at the end."""
    edges = sorted({begin_s, end_s, *(e for pair in slow for e in pair if begin_s < e < end_s)})
    times = [begin_s]
    owed = 0.0  # of a frame, carried from one stretch to the next
    for a, b in itertools.pairwise(edges):
        inside = any(low <= 0.5 * (a + b) <= high for low, high in slow)
        step = speed / (slower if inside else 1.0) / frames_s
        at = a + step * (1.0 - owed)
        while at < b - 1e-12:
            times.append(at)
            at += step
        owed = 1.0 - (at - b) / step
    return (*times, *([end_s] * (frames_s // 2)))


class FilmJob:
    """A film being made: call `step` until it returns False; `cancel` leaves nothing behind."""

    def __init__(self, app: Filmed, plan: FilmPlan, path: Path, words: str) -> None:
        suffix = path.suffix.lower()
        need_encoder(suffix)
        self.app, self.plan, self.path, self.words = app, plan, path, words
        self.done = 0
        self._first: pygame.Surface | None = None
        #: whether a line below tells the settings; a film page tells them itself
        self.stamp = app.screen.stamped
        self._screen = surface(app.stage.size)
        handle, name = tempfile.mkstemp(dir=path.parent or Path("."), prefix=f".{path.stem}-", suffix=suffix)
        os.close(handle)
        self._part = Path(name)
        self._encoder: Encoder | None = None

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
                    self._encoder = encoder(self._part, frame.get_size(), self.plan.frames_s, self.words)
                self._encoder.add(frame)
                self.done += 1
                return True
            if self._encoder is not None:
                self._encoder.finish()
                self._encoder = None
            as_any_new_file(self._part)
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
            app.stage.clock.go(time_s)
            app.stage.frame_s = max(0.0, step)
        else:
            app.screen.advance(step)
        app.draw_now(self._screen)
        frame = stamped(self._screen, app.stage.look, self.words) if self.stamp else self._screen.copy()
        if frame.get_size() != self.plan.size:
            frame = pygame.transform.smoothscale(frame, self.plan.size)
        return self._dissolved(frame, index)

    def _dissolved(self, frame: pygame.Surface, index: int) -> pygame.Surface:
        """The frame as it is; the last few ever more the first one."""
        loop = self.plan.loop
        if loop and index == 0:
            self._first = frame.copy()
        left = self.total - index
        if loop and self._first is not None and left <= loop:
            self._first.set_alpha(round(255 * (1.0 - left / (loop + 1))))
            frame.blit(self._first, (0, 0))
        return frame
