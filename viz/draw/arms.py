"""A machine on arms at one instant: seen from the front, large, and from above beside it; a function of what a view is.

The front has X to the right and Z up; what stands behind is dimmer. Belts are upright loops along their real way, arm
pairs two lines in their belt's colour. Equal input gives equal pixels.
"""

from __future__ import annotations

import numpy as np
import pygame
from beltspring.sim.machine.machine import Machine, Solid
from beltspring.sim.machine.routing import belt_path
from numpy.typing import NDArray

from . import text
from .arms_pen import Pen
from .canvas import scratch, shrink_onto
from .machine import MachineView
from .room import Room
from .state import MachineState, Wording
from .theme import Look

Array = NDArray[np.float64]

ABOVE_SHARE = 0.85  # the view from above is this much smaller than the front
ABOVE_LARGE = 2.4  # and this much larger where a path is drawn on its bed
GAP_M, MARGIN_M, WORDS_M = 0.05, 0.012, 0.030
LETTER_SHARE = 0.07  # of the front's height: room for a letter outside a tower seen from above


class ArmsView(MachineView):
    """One machine on arms, ready to be drawn at any size.

    Both views share one plane in metres: the front as it is, the view from above moved to its right and made smaller, or
    (bed_large) so much larger that one can draw on its bed.
    """

    def __init__(self, machine: Machine, *, bed_large: bool = False) -> None:
        self.machine = machine
        self.share = ABOVE_LARGE if bed_large else ABOVE_SHARE
        self._reference = {b.name: belt_path(machine, b) for b in machine.belts}
        self.solids: list[Solid] = sorted(machine.solids, key=lambda s: s.level)
        points = np.vstack([np.array(s.points) for s in self.solids])
        low_z = min(s.z_m[0] for s in self.solids) - WORDS_M
        high_z = max(s.z_m[1] for s in self.solids)
        front = (float(points[:, 0].min()) - MARGIN_M, float(points[:, 0].max()) + MARGIN_M)
        side = float(np.abs(points).max())
        reach = np.array([[-side, side], [-side, side]])
        if bed_large:  # no room to waste: what is there, not a square about it
            reach = np.array([points.min(axis=0)[:2], points.max(axis=0)[:2]]).T
        words = LETTER_SHARE * (high_z - low_z) * (1.3 if bed_large else 1.0)
        (left, right), (front_y, rear) = reach * self.share + np.array([-words, words])
        self.above_at = np.array([front[1] + GAP_M - left, high_z - rear])
        self._above = np.array([left, front_y])  # its lower left corner from its middle, m
        self.front_low = low_z - MARGIN_M
        self.low = np.array([front[0], min(self.front_low, self.above_at[1] + front_y)])
        self.high = np.array([self.above_at[0] + right, high_z + MARGIN_M])

    # ---- where things are

    @staticmethod
    def front(points: Array) -> Array:
        """Places (..., 3), m, as the front shows them, (..., 2)."""
        return np.asarray(np.asarray(points, float)[..., [0, 2]])

    def spot(self, point: Array) -> Array:
        """A place (..., 2) or (..., 3) seen from above, m, as this picture has it."""
        return np.asarray(self.above_at + self.share * np.asarray(point, float)[..., :2])

    def tool_at(self, box: pygame.Rect, tool: Array) -> tuple[float, float]:
        """Where the nozzle is drawn in the front, px of the target."""
        x, y = self.place(box.size).at(self.front(np.asarray(tool, float)))
        return box.x + float(x), box.y + float(y)

    def on_bed(self, box: pygame.Rect, at: tuple[float, float]) -> Array:
        """The place (2,), m, on the bed seen from above under a pixel of the target when the picture fills `box`."""
        place = self.place(box.size)
        x, y = place.at(self.above_at)
        way = np.array([at[0] - box.x - float(x), float(y) - (at[1] - box.y)])
        return np.asarray(way / (place.scale * self.share))

    def bed(self, box: pygame.Rect) -> pygame.Rect:
        """The square about the round reach, seen from above, px of the target."""
        (x0, x1), (y0, y1), _ = self.machine.reach
        left, top = self.place(box.size).at(self.spot(np.array([x0, y1])))
        right, bottom = self.place(box.size).at(self.spot(np.array([x1, y0])))
        return pygame.Rect(box.x + round(left), box.y + round(top), round(right - left), round(bottom - top))

    def beside(self, box: pygame.Rect) -> pygame.Rect:
        """What is free below the smaller of both views when the picture fills `box`, px of the target."""
        place = self.place(box.size)
        if self.share > 1.0:
            left, top = place.at(np.array([self.low[0], self.front_low - WORDS_M / 2]))
            right, bottom = place.at(np.array([self.above_at[0] + self._above[0] - GAP_M, self.low[1]]))
        else:
            left, top = place.at(self.above_at + self._above)
            right, bottom = place.at(np.array([self.high[0], self.low[1]]))
        return pygame.Rect(box.x + round(left), box.y + round(top), round(right - left), round(bottom - top))

    # ---- drawing

    def draw(
        self,
        target: pygame.Surface,
        rect: pygame.Rect,
        look: Look,
        state: MachineState,
        *,
        labels: Wording = "letters",
        factor: int = 2,
        room: Room | None = None,
    ) -> pygame.Rect:
        """Draw into `rect` of `target`; returns the rectangle that the machine covers. factor, room: as a view's."""
        box = self.fitted(rect)
        place = self.place(box.size, factor)
        large = scratch((max(1, box.w * factor), max(1, box.h * factor)))
        large.fill(look.theme.panel)
        offsets = self.machine.offsets(state.tool)
        paths = {b.name: belt_path(self.machine, b, offsets) for b in self.machine.belts}
        pen = Pen(large, look, place, self, state, offsets)
        pen.front(paths, self.wheel_angles(paths, state))
        pen.above()
        shrink_onto(target, large, box)
        if labels != "none":
            self._letters(target, look, box, offsets, labels == "full")
        return box

    def _letters(
        self, target: pygame.Surface, look: Look, box: pygame.Rect, offsets: dict[str, Array], full: bool
    ) -> None:
        place, motors = self.place(box.size), self.machine.motors
        apart = float(np.diff(np.sort([m.centre[0] for m in motors])).min()) * place.scale
        full = full and max(text.width(look, f"motor {m.name.upper()}", 14, True) for m in motors) + look.px(8) < apart
        points = np.vstack([np.array(s.points)[:, :2] for s in self.solids])
        for k, motor in enumerate(motors):
            colour = look.theme.belts[k % 3]
            word = f"motor {motor.name.upper()}" if full else motor.name.upper()
            at = np.array(motor.centre)
            foot = place.at(np.array([at[0], self.front_low + MARGIN_M]))
            x, y = box.x + float(foot[0]), box.y + float(foot[1])
            text.draw(target, look, word, x, y, 14, bold=True, colour=colour, align="center")
            out = at[:2] / np.hypot(*at[:2])
            there = place.at(self.spot(out * float((points @ out).max()))) + out * np.array([1, -1]) * look.px(12)
            x, y = box.x + float(there[0]), box.y + float(there[1]) + look.px(5)
            text.draw(target, look, motor.name.upper(), x, y, 14, bold=True, colour=colour, align="center")


def view_of(machine: Machine) -> MachineView:
    """The drawing that a machine asks for: from above, or on arms from the front as well."""
    return ArmsView(machine) if machine.arms else MachineView(machine)
