"""A screen drawn off screen, frame by frame from the clock, into a film. What takes the frames is files/movie.py."""

from __future__ import annotations

import contextlib
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import pygame

from ..draw.canvas import surface
from ..draw.stamp import stamped
from ..files.movie import Encoder, encoder, need_encoder
from ..files.rights import as_any_new_file
from .stage import Stage


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

    def panels(self) -> dict[str, pygame.Rect]: ...

    def advance(self, dt: float) -> bool: ...


class Filmed(Protocol):
    """A window without a display, for films."""

    @property
    def stage(self) -> Stage: ...

    @property
    def screen(self) -> Shot: ...

    def draw_now(self, target: pygame.Surface) -> None: ...

    def close(self) -> None: ...


@dataclass(frozen=True)
class FilmPlan:
    """What is filmed. times_s: clock of each frame (for the bench: real time).  speed: simulated per shown second."""

    screen: str
    times_s: tuple[float, ...]
    frames_s: int
    size: tuple[int, int]


def clock_times(end_s: float, speed: float, frames_s: int, begin_s: float = 0.0) -> tuple[float, ...]:
    """Clock of each frame from begin to end at a speed, and a short stand at the end."""
    count = max(1, round((end_s - begin_s) / speed * frames_s))
    moving = [begin_s + (end_s - begin_s) * k / count for k in range(count + 1)]
    return (*moving, *([end_s] * (frames_s // 2)))


class FilmJob:
    """A film being made: call `step` until it returns False; `cancel` leaves nothing behind."""

    def __init__(self, app: Filmed, plan: FilmPlan, path: Path, words: str) -> None:
        suffix = path.suffix.lower()
        need_encoder(suffix)
        self.app, self.plan, self.path, self.words = app, plan, path, words
        self.done = 0
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
        frame = stamped(self._screen, app.stage.look, self.words)
        if frame.get_size() != self.plan.size:
            frame = pygame.transform.smoothscale(frame, self.plan.size)
        return frame
