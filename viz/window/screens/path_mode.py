"""The bench with a path drawn by hand: pen, buttons, panels, and the way to the run."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
import pygame

from ...draw.arms import ArmsView
from ...draw.machine import MachineView
from ...draw.state import MachineState
from ...draw.theme import Look
from ..controls.buttons import Button
from ..controls.control import Control
from ..stage import Stage
from .bench import Bench
from .hand import Bed
from .own_path import OwnPath
from .path_panels import draw_angles, draw_path_facts
from .screen import inside

SHARES = {"dials": 0.40, "angles": 0.32, "path": 0.28}


def bed_in(view: MachineView, box: pygame.Rect) -> pygame.Rect:
    """Where a path may be drawn when the machine fills `box`: of one on arms the square about its round reach."""
    return view.bed(box) if isinstance(view, ArmsView) else box.copy()


def on_bed(view: MachineView, box: pygame.Rect, pos: tuple[int, int]) -> np.ndarray:
    """The place (2,), m, that the tool has to go to for a mouse at `pos`, on whatever moves."""
    if isinstance(view, ArmsView):
        return view.on_bed(box, pos)
    x, y = view.tool_at(box, view.machine.middle)
    way = np.array([pos[0] - x, y - pos[1]]) / view.place(box.size).scale
    return np.asarray(view.machine.middle[:2] + way)


class PathMode:
    """on_bed(pos): the place (2,), m, that the tool has to go to for a mouse at `pos`."""

    def __init__(self, stage: Stage, bench: Bench, on_bed: Callable[[tuple[int, int]], np.ndarray]) -> None:
        self.stage, self.bench = stage, bench
        self.path = OwnPath(bench)
        self.bed = Bed(self.path, on_bed)
        self.go = Button("run path", "Run it", self.run, "The machine follows your path (Enter).", filled=True)
        self.clear = Button("clear path", "Clear", self.path.clear, "Draw anew.")
        self._count = 0

    def run(self) -> None:
        """Run what was drawn, and show what comes of it on the ringing test."""
        session = self.stage.session
        if not self.path.ready:
            return
        self._count += 1
        rounded = not session.value("motion.corner_tolerance_mm")
        speed = float(session.value("motion.speed_mm_s") or 100.0)
        try:
            session.change(self.path.changes(speed, self._count, rounded), True)
        except OSError as error:
            self.stage.say(f"the path could not be written: {error.strerror or error}")
            return
        self.stage.show("ringing")

    def layout(self, rects: Mapping[str, pygame.Rect], bed: pygame.Rect, look: Look) -> tuple[Control, list[Control]]:
        """(the bed, the buttons), placed."""
        own, pad = rects["path"], look.px(20)
        self.bed.rect = bed.copy()
        self.go.enabled = self.path.ready
        y, w = own.bottom - look.px(18) - look.px(32), self.go.natural_width(look)
        self.go.rect = pygame.Rect(own.x + pad, y, w, look.px(32))
        self.clear.rect = pygame.Rect(own.x + pad + w + look.px(10), y, self.clear.natural_width(look), look.px(32))
        return self.bed, [self.go, self.clear]

    def state(self) -> MachineState:
        """The machine with the line drawn so far."""
        return replace(self.bench.state(), started_at=None, laid=np.array(self.path.points, float).reshape(-1, 2))

    def draw(self, target: pygame.Surface, look: Look, rects: Mapping[str, pygame.Rect]) -> None:
        """Angles over time, and what the path is."""
        with inside(target, rects["angles"]):
            draw_angles(target, look, rects["angles"], self.path)
        with inside(target, rects["path"]):
            draw_path_facts(target, look, rects["path"], self.path, self.stage.session.running, look.px(54))
            self.stage.draw_controls(target, look, [self.go, self.clear])
