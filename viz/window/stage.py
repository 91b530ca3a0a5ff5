"""What screens, sheets and bars are given of the window: what is worked on, the clock, how large, and a few wishes."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Protocol

import pygame
from beltspring.sim import Prices

from ..draw.theme import Look, look
from .clock import Clock
from .controls.control import Control
from .input import Input
from .keys import Key
from .session import Runner, Session

SMALLEST = (1024, 680)
SCALES = (0.8, 2.5)


class Laid(Protocol):
    """What is laid above a screen for a moment and takes all events: a sheet."""

    def layout(self, window: pygame.Rect, look: Look) -> list[Control]: ...

    def draw(self, target: pygame.Surface, look: Look) -> None: ...

    def advance(self, dt: float) -> bool: ...

    def key(self, key: Key) -> None: ...

    def close(self) -> None: ...


@dataclass
class Stage:
    """The state that everything in the window stands on.

    runner: simulates a scenario with changes.  sessions: the scenarios open, the first is what settings change.
    size: of the window, px.  scale: as asked for.  factor: pixels of a picture for one of the window.
    filming: no focus, tooltips or buttons that only a hand needs.  frame_s: simulated time since the last frame, s.
    normal: the scale that suits the screen.
    foot_px: how high the lowest panel of a screen has to be at least, because a card stands in its place.
    prices: what parts cost, None where nobody said.
    presenting: as large as fits, without settings.  greeting: nobody has touched anything yet, and the bench moves by itself.
    """

    runner: Runner
    input: Input
    say: Callable[[str], None]
    theme_name: str
    scale: float
    size: tuple[int, int]
    filming: bool = False
    prices: Prices | None = None
    reduce_motion: bool = False
    greeting: bool = False
    presenting: bool = False
    normal: float = 1.0
    drawer_open: bool = False
    foot_px: int = 0
    frame_s: float = 0.0
    factor: int = 1
    sessions: list[Session] = field(default_factory=list)
    clock: Clock = field(default_factory=lambda: Clock(0.0))

    @property
    def session(self) -> Session:
        """The first scenario: what settings change."""
        return self.sessions[0]

    @property
    def effective_scale(self) -> float:
        """The scale asked for, as far as the window has room for the smallest layout at it."""
        room = min(self.size[0] / SMALLEST[0], self.size[1] / SMALLEST[1])
        if self.presenting:
            return max(SCALES[0], room)
        return max(SCALES[0], min(self.scale * self.factor, room))

    @property
    def look(self) -> Look:
        """Theme and scale that everything is drawn with."""
        return look(self.theme_name, round(self.effective_scale, 3))

    @property
    def narrow(self) -> bool:
        """Under 1280 wide (at scale 1) the settings are a drawer."""
        return self.size[0] / self.effective_scale < 1280

    @property
    def low(self) -> bool:
        """Under 760 high (at scale 1) spectrum and print share a panel."""
        return self.size[1] / self.effective_scale < 760

    #: Go to what swings at a frequency, Hz; the window says how.
    show_way: Callable[[float], None] = lambda _: None
    #: Play a corner over and over, by its name; "" ends it.
    repeat: Callable[[str], None] = lambda _: None
    #: Bring the screen of a name into view.
    show: Callable[[str], None] = lambda _: None
    #: Put a sheet above the screen, and take it away.
    open_sheet: Callable[[Laid], None] = lambda _: None
    close_sheet: Callable[[], None] = lambda: None

    def draw_controls(self, target: pygame.Surface, look: Look, controls: Iterable[Control]) -> None:
        """Draw controls as focus and mouse make them look."""
        for control in controls:
            self.input.draw(control, target, look)
