"""Export: a picture of the screen or one panel, or a film of the screen, with progress and Cancel."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import pygame
from beltspring.sim import BeltspringError

from ...draw import text
from ...draw.canvas import rounded
from ...draw.png import save_png
from ...draw.stamp import stamped
from ...draw.theme import Look
from ...files.movie import FRAMES_S, SIZES, need_encoder
from ...pages.settings_line import settings_entries, settings_line
from ..controls.buttons import Button, Choice
from ..controls.control import Control
from ..controls.dropdown import DropDown
from ..controls.field import TextField
from ..filming import Filmed, FilmJob, FilmPlan, PageFilmOf, Shot, clock_times, slower_at_corners
from ..stage import Stage
from .sheet import Sheet

KINDS = (("Picture, PNG", ".png"), ("Film, MP4", ".mp4"), ("Film, GIF", ".gif"))
WORK_S = 0.05  # a film in the making may take this much of each frame of the window


class ExportSheet(Sheet):
    """Kind, part, size, file name; a film shows how far it is.

    screen: what is exported.  render: its picture, so many times as fine, with its look and panels.  twin: a window
    without a display that shows the same, of a size in px.  page_film: a film with a layout of its own.
    """

    title = "Export"
    size = (640, 320)

    def __init__(
        self,
        stage: Stage,
        screen: Shot,
        render: Callable[[int], tuple[pygame.Surface, Look, dict[str, pygame.Rect]]],
        twin: Callable[[tuple[int, int]], Filmed],
        page_film: PageFilmOf,
    ) -> None:
        super().__init__(stage)
        self.screen, self._render, self._twin, self._page_film = screen, render, twin, page_film
        self.kind = Choice(
            "kind",
            [k for k, _ in KINDS],
            0,
            self._kind,
            "A still picture, or a film from the clock at the chosen speed.",
        )
        parts = list(screen.panels())
        self.part = DropDown(
            "part", "What", ["whole screen", *parts], 0, lambda _: None, "The whole screen, or one of its panels."
        )
        self.large = Choice("size", ["1×", "2×"], 0, lambda _: None, "Pixels: as on the screen, or twice as fine.")
        self.field = TextField(
            "file",
            f"beltspring-{screen.name}.png",
            lambda _: self._go(),
            "Path of the file to write; Enter starts.",
        )
        self.go = Button("export", "Export", self._go, "Write the file.")
        self.cancel = Button("cancel", "Cancel", self._cancel, "Stop the film; nothing stays behind.")
        self.trouble = ""
        self.job: FilmJob | None = None

    @property
    def suffix(self) -> str:
        return KINDS[self.kind.value][1]

    def _kind(self, index: int) -> None:
        name = Path(self.field.line.words or "beltspring")
        self.field.line.words = str(name.with_suffix(self.suffix))
        self.field.line.at = len(self.field.line.words)
        self.trouble = ""
        if self.suffix != ".png":
            try:
                need_encoder(self.suffix)
            except BeltspringError as error:
                self.trouble = str(error)

    def _go(self) -> None:
        if self.job is not None:
            return
        self.trouble = ""
        path = Path(self.field.line.words.strip() or f"beltspring{self.suffix}").expanduser()
        if path.suffix.lower() != self.suffix:
            path = path.with_name(path.name + self.suffix)
        if path.exists():
            self.trouble = f"{path}: a file of that name is already there; choose another name"
            return
        try:
            if self.suffix == ".png":
                self._picture(path)
            else:
                self._film(path)
        except BeltspringError as error:
            self.trouble = str(error)
        except OSError as error:
            self.trouble = f"{path}: {error.strerror or error}"

    def _picture(self, path: Path) -> None:
        stage = self.stage
        factor = self.large.value + 1
        image, style, panels = self._render(factor)
        what = self.screen.title
        if self.part.value > 0:
            what = self.part.words
            image = image.subsurface(panels[what]).copy()
        result = stage.session.shown.result
        save_png(stamped(image, style, settings_line(result)), path, settings_entries(result, what))
        stage.close_sheet()
        stage.say(f"Saved {path}")

    def _film(self, path: Path) -> None:
        need_encoder(self.suffix)
        stage = self.stage
        size, rate = SIZES[self.suffix], FRAMES_S[self.suffix]
        twin, words = self._twin(size), settings_line(stage.session.shown.result)
        slower = slower_at_corners(self.suffix)
        film = self._page_film(
            twin.screen, stage.session.shown, stage.theme_name, size, words, stage.clock.speed, slower
        )
        if film is not None:
            twin.close()
            self.job = FilmJob(film, film.plan(rate), path, words)
            return
        if self.screen.uses_clock:
            times = clock_times(stage.clock.end_s, stage.clock.speed, rate)
        else:
            times = tuple(k / rate for k in range(round(self.screen.show_s * rate)))
        self.job = FilmJob(twin, FilmPlan(self.screen.name, times, rate, size), path, words)

    def _cancel(self) -> None:
        if self.job is not None:
            self.job.cancel()
            self.job.app.close()
            self.job = None
            self.trouble = "cancelled; nothing was written"

    def advance(self, dt: float) -> bool:
        if self.job is None:
            return False
        until = time.perf_counter() + WORK_S
        try:
            while time.perf_counter() < until:
                if not self.job.step():
                    path = self.job.path
                    self.job.app.close()
                    self.job = None
                    self.stage.close_sheet()
                    self.stage.say(f"Saved {path}")
                    break
        except (BeltspringError, OSError, ValueError) as error:
            self.job = None
            self.trouble = str(error)
        return True

    def close(self) -> None:
        if self.job is not None:
            self._cancel()

    def controls(self, look: Look) -> list[Control]:
        inner = self.inner(look)
        still = self.suffix == ".png"
        self.kind.rect = pygame.Rect(inner.x, inner.y, inner.w, look.px(36))
        self.part.rect = pygame.Rect(inner.x, inner.y + look.px(52), inner.w - look.px(150), look.px(36))
        self.large.rect = pygame.Rect(inner.right - look.px(130), inner.y + look.px(52), look.px(130), look.px(36))
        y = inner.y + look.px(104)
        self.field.rect = pygame.Rect(inner.x, y, inner.w, look.px(36))
        w = max(self.go.natural_width(look), self.cancel.natural_width(look))
        for button in (self.go, self.cancel):
            button.rect = pygame.Rect(inner.right - w, y + look.px(52), w, look.px(38))
        out: list[Control] = [self.kind]
        if still:
            out += [self.part, self.large]
        return [*out, self.field, self.cancel if self.job is not None else self.go]

    def draw_inner(self, target: pygame.Surface, look: Look, rect: pygame.Rect) -> None:
        theme = look.theme
        if self.suffix != ".png":
            speed = self.stage.clock.speed
            slow = f"1/{round(1 / speed)} of real speed" if speed < 1 else "real speed"
            words = (
                f"The {self.screen.title.lower()} from start to end, at {slow}."
                if self.screen.uses_clock
                else "The moves of the bench, one after the other."
            )
            text.draw(target, look, words, rect.x, rect.y + look.px(76), 16, colour=theme.dim)
        y = self.go.rect.y + look.px(24)
        if self.job is not None:
            room = self.cancel.rect.x - rect.x - look.px(20)
            bar = pygame.Rect(rect.x, y - look.px(8), room, look.px(8))
            rounded(target, bar, look.px(4), theme.track)
            share = self.job.done / max(1, self.job.total)
            rounded(
                target, pygame.Rect(bar.x, bar.y, max(bar.h, round(bar.w * share)), bar.h), look.px(4), theme.control
            )
            words = f"frame {self.job.done} of {self.job.total}"
            text.draw(target, look, words, rect.x, y + look.px(22), 14, colour=theme.dim)
            return
        for line in (
            text.wrap(look, f"! {self.trouble}", self.go.rect.x - rect.x - look.px(16), 14)[:4] if self.trouble else []
        ):
            text.draw(target, look, line, rect.x, y, 14, colour=theme.alarm)
            y += look.px(19)
