"""What a screen is: a set of panels with controls, drawn from the window's state."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pygame

from ...charts.axes import TimePlot
from ...charts.shown import Shown
from ...draw.theme import Look
from ..controls.control import Control, Key, Pointer
from ..stage import Stage


@contextmanager
def inside(target: pygame.Surface, rect: pygame.Rect) -> Iterator[None]:
    """Nothing drawn in the block leaves `rect`."""
    before = target.get_clip()
    target.set_clip(rect.clip(before))
    try:
        yield
    finally:
        target.set_clip(before)


def veil(target: pygame.Surface, look: Look, rect: pygame.Rect, share: float = 0.6) -> None:
    """Fade what stands in `rect` towards the panel: a result that no longer belongs to the settings."""
    sheet = pygame.Surface(rect.size, 0, 32)
    sheet.fill(look.theme.panel)
    sheet.set_alpha(round(255 * share))
    target.blit(sheet, rect.topleft)


class PlotArea(Control):
    """A time plot that moves the clock when pressed or dragged; not part of the focus order, as the clock has keys."""

    def __init__(
        self, name: str, plot: TimePlot, on_time: Callable[[float], None], tip: Callable[[float], str]
    ) -> None:
        super().__init__(name)
        self.plot = plot
        self.on_time = on_time
        self.value_tip = tip
        self.focusable = False

    def press(self, pointer: Pointer) -> None:
        self.drag(pointer)

    def drag(self, pointer: Pointer) -> None:
        self.on_time(self.plot.time.back(pointer.pos[0]))

    def tip_at(self, pos: tuple[int, int]) -> str:
        return self.value_tip(self.plot.time.back(pos[0]))


class Screen:
    """One of the tabs. `layout` sets rectangles and returns the controls in focus order; `draw` draws them too.

    stamped: whether its films tell the settings in a line below.
    """

    name = ""
    title = ""
    uses_clock = True
    stamped = True

    def __init__(self, stage: Stage) -> None:
        self.stage = stage
        self.in_view = False

    @property
    def clock_shown(self) -> Shown | None:
        """The run whose legs the clock bar shows; None: the session's."""
        return None

    @property
    def running(self) -> bool:
        """Whether something is being computed for it."""
        return False

    @property
    def show_s(self) -> float:
        """How long a film of a screen without a clock lasts, s."""
        return 0.0

    def panels(self) -> dict[str, pygame.Rect]:
        """Its panels by name, as last laid out; for pictures of one of them."""
        return {}

    def beside_settings(self, area: pygame.Rect) -> pygame.Rect:
        """What of the screen's room an alarm may stand in: nothing that takes a setting back."""
        return area

    def like(self, other: Screen) -> None:
        """Take over what another screen of the same kind shows."""

    def close(self) -> None:
        """Stop what works for it."""

    def entered(self) -> None:
        """The screen comes into view."""

    def left(self) -> None:
        """Another screen comes into view: large images may go."""

    def result_changed(self) -> None:
        """A new result is shown."""

    def layout(self, rect: pygame.Rect, look: Look) -> list[Control]:
        """Place everything in `rect`; returns the controls in focus order."""
        return []

    def draw(self, target: pygame.Surface, look: Look) -> None:
        """Draw panels and controls."""

    def key(self, key: Key) -> bool:
        """A key that no control wanted."""
        return False

    def released(self, key: int) -> None:
        """A key came up."""

    def advance(self, dt: float) -> bool:
        """Time passes; True if something moved."""
        return False

    def draw_controls(self, target: pygame.Surface, look: Look, controls: list[Control]) -> None:
        """Draw some of its controls."""
        self.stage.draw_controls(target, look, controls)
