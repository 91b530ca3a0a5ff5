"""What the tests of everything drawn share: runs to draw, a window without a display, and hands to work it."""

from __future__ import annotations

import time
from collections.abc import Iterator

import numpy as np
import pygame
import pytest
from beltspring.sim import Report
from beltspring.sim.scenario.load import scenario_of
from beltspring.viz.window.app import App
from beltspring.viz.window.controls.control import Control
from beltspring.viz.window.runs import run_changed

#: Every number that shapes the curves is written out, so that pictures change only when drawing or engine do.
DESK = {
    "title": "Test desk machine",
    "layout": "corexy",
    "detail": "simple",
    "space": {"x_mm": 180, "y_mm": 180, "z_mm": 180},
    "carriage": {"mass_g": 320, "guide": "rod-8-pair", "friction_n": 1.5},
    "gantry": {"mass_g": 410, "guide": "rod-8-pair", "friction_n": 1.5},
    "bed": {"mass_g": 700, "guide": "rod-8-pair"},
    "belts": {"part": "belt-2mm-6-glass", "ea_n": 12000, "pretension_n": 16, "damping": 0.03},
    "motors": {"part": "motor-17-40", "current_a": 1.2},
    "frame": {"part": "slot-2020", "width_mm": 380, "depth_mm": 380, "height_mm": 380,
              "stiffness_x_n_per_mm": 900, "stiffness_y_n_per_mm": 1500},
    "motion": {"speed_mm_s": 150, "acceleration_mm_s2": 5000},
    "move": {"pattern": "square", "size_mm": 60},
    "variant": [{"name": "9 mm belt", "set": {"belts.part": "belt-2mm-9-glass"}},
                {"name": "gentler", "set": {"motion.acceleration_mm_s2": 1500}}],
}  # fmt: skip
BED = {
    "title": "Test moving-bed machine",
    "layout": "moving-bed",
    "detail": "simple",
    "space": {"x_mm": 200, "y_mm": 200, "z_mm": 180},
    "frame": {"part": "slot-2020"},
    "move": {"pattern": "square", "size_mm": 60},
}


@pytest.fixture(scope="session")
def desk() -> Report:
    """A CoreXY that rings."""
    return run_changed(scenario_of(DESK, "desk.toml"), {})


@pytest.fixture(scope="session")
def bed() -> Report:
    """A Cartesian whose bed moves."""
    return run_changed(scenario_of(BED, "bed.toml"), {})


class Hands:
    """A window without a display, and a person at it. Events are handed to `step` as the loop would."""

    def __init__(self, app: App) -> None:
        self.app = app
        self.surface = pygame.Surface(app.size, 0, 32)
        self.step()

    def step(self, *events: pygame.event.Event, dt: float = 0.01) -> bool:
        """One step of the loop; True if it drew."""
        return self.app.step(dt, list(events), self.surface)

    def key(self, code: int, mod: int = 0, words: str = "", *, up: bool = True) -> None:
        """Press (and let go of) a key; its text follows as the keyboard driver sends it."""
        events = [pygame.event.Event(pygame.KEYDOWN, key=code, mod=mod, unicode=words, scancode=0)]
        if words and not mod & pygame.KMOD_CTRL:
            events.append(pygame.event.Event(pygame.TEXTINPUT, text=words))
        if up:
            events.append(pygame.event.Event(pygame.KEYUP, key=code, mod=mod, unicode=words, scancode=0))
        self.step(*events)

    def type(self, words: str) -> None:
        """Type text."""
        self.step(*(pygame.event.Event(pygame.TEXTINPUT, text=c) for c in words))

    def move(self, pos: tuple[int, int], buttons: tuple[int, int, int] = (0, 0, 0)) -> None:
        """Move the mouse."""
        self.step(pygame.event.Event(pygame.MOUSEMOTION, pos=pos, rel=(0, 0), buttons=buttons))

    def down(self, pos: tuple[int, int]) -> None:
        """Press the left button."""
        self.step(pygame.event.Event(pygame.MOUSEBUTTONDOWN, pos=pos, button=1))

    def up(self, pos: tuple[int, int]) -> None:
        """Let go of the left button."""
        self.step(pygame.event.Event(pygame.MOUSEBUTTONUP, pos=pos, button=1))

    def click(self, pos: tuple[int, int]) -> None:
        """Press and let go."""
        self.move(pos)
        self.down(pos)
        self.up(pos)

    def drag(self, start: tuple[int, int], end: tuple[int, int], steps: int = 5) -> None:
        """Press, move in a straight line, let go."""
        self.down(start)
        for k in range(1, steps + 1):
            self.move(
                (start[0] + (end[0] - start[0]) * k // steps, start[1] + (end[1] - start[1]) * k // steps), (1, 0, 0)
            )
        self.up(end)

    def wheel(self, pos: tuple[int, int], steps: int) -> None:
        """Turn the wheel over a place."""
        self.move(pos)
        self.step(pygame.event.Event(pygame.MOUSEWHEEL, x=0, y=steps, flipped=False))

    def control(self, name: str) -> Control:
        """The control of that name on the present screen."""
        self.step()
        return next(c for c in self.app.input.controls if c.name == name)

    def press(self, name: str) -> None:
        """Click a control in its middle."""
        self.click(self.control(name).rect.center)

    def settle(self, longest_s: float = 60.0) -> None:
        """Let simulations finish."""
        until = time.monotonic() + longest_s
        while time.monotonic() < until:
            self.step()
            if not self.app.screen.running and all(s.ready for s in self.app.sessions):
                self.step()
                return
            time.sleep(0.005)
        raise AssertionError("the window is still computing")

    def pixels(self) -> np.ndarray:
        """What is on the surface now, (w, h, 3)."""
        self.app._dirty = True
        self.step(dt=0.0)
        return pygame.surfarray.array3d(self.surface)


@pytest.fixture
def hands(desk: Report) -> Iterator[Hands]:
    """The window on the desk machine, 1280 x 800, ringing test."""
    app = App([desk], size=(1280, 800))
    yield Hands(app)
    app.close()


@pytest.fixture
def open_window(desk: Report) -> Iterator:
    """A function that opens windows; they are closed after the test."""
    opened: list[App] = []

    def make(results: list[Report] | None = None, **how) -> Hands:
        app = App(results or [desk], **{"size": (1280, 800), **how})
        opened.append(app)
        return Hands(app)

    yield make
    for app in opened:
        app.close()
