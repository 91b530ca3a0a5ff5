"""A whole machine seen from above at one instant: a pure function of (machine, state, theme, size).

y is up, the rear at the top. Belts, wheels and clamps stand where the machine's routing puts them; idlers turn by the
belt that really passed them, motors by their rotor angle. Equal input gives equal pixels.
"""

from __future__ import annotations

import math
from itertools import takewhile

import numpy as np
import pygame
from beltspring.sim.machine.machine import Belt, Machine, Outline
from beltspring.sim.machine.routing import BeltPath, belt_path
from numpy.typing import NDArray

from .belt_colours import back_colour, belt_colour
from .belts import GAP, DrawnBelt, Place
from .canvas import dashes, shrink_onto
from .labels import Labels
from .larger import draw_asked, draw_start, reach_of_asked
from .order import belt_angles, drawing_order, extent_of, still_bodies, work_shift
from .parts import (
    draw_clamp,
    draw_index,
    draw_shape,
    draw_tool,
    draw_wheel,
)
from .room import Room
from .state import MachineState, Wording
from .still import outwards, still_image, without_inner
from .theme import Look

Array = NDArray[np.float64]

UNITS_ACROSS = 340.0  # the machine's larger side, in drawing units


class MachineView:
    """One machine, ready to be drawn at any size."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.low, self.high = extent_of(machine)
        self.shapes = sorted(machine.outlines, key=lambda s: s.level)
        self._order = drawing_order(machine, self.shapes)
        still = still_bodies(machine)
        # The lowest shapes that never move in the picture: these are kept as an image.
        lowest = takewhile(lambda s: isinstance(s, Outline) and s.body in still, self._order)
        self._leading = [s for s in lowest if isinstance(s, Outline)]
        self._moving = [shape for shape in self.shapes if shape not in self._leading]
        self._dashes: tuple[tuple[object, ...], list[list[list[float]]]] = ((), [])
        self._reference = {b.name: belt_path(machine, b) for b in machine.belts}

    @property
    def aspect(self) -> float:
        """Width over height of what is drawn."""
        size = self.high - self.low
        return float(size[0] / size[1])

    def fitted(self, rect: pygame.Rect) -> pygame.Rect:
        """The largest rectangle of the machine's shape in the middle of `rect`."""
        width = min(rect.w, round(rect.h * self.aspect))
        height = min(rect.h, round(width / self.aspect))
        box = pygame.Rect(0, 0, max(1, width), max(1, height))
        box.center = rect.center
        return box

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
        """Draw into `rect` of `target`; returns the rectangle that the machine covers.

        factor: supersampling.  room: what is taken of the target, where other words stand on it.
        """
        box = self.fitted(rect)
        place = self.place(box.size, factor)
        offsets = self.machine.offsets(state.tool)
        paths = {b.name: belt_path(self.machine, b, offsets) for b in self.machine.belts}
        angles = self.wheel_angles(paths, state)
        still = still_image(self._leading, box.size, place, look, factor)
        belts = self._drawn_belts(place, state, paths)
        dirty = self._moving_boxes(box.size, factor, place, state, offsets, belts)
        work = still.work
        for item in self._order[len(self._leading) :]:
            if item == "paths":
                self._paths(work, look, place, state, offsets)
            elif isinstance(item, Outline):
                draw_shape(work, look.theme, place, item, offsets[item.body])
            else:
                self._belts(work, look, place, state, offsets, belts, angles, item)
        self._carriage(work, look, place, offsets, state.plain)
        if state.started_at is not None:
            draw_start(work, look, self.machine, place, state)
        draw_asked(work, look, self.machine, place, state)
        target.blit(still.small, box.topleft)
        for part in dirty:
            large = pygame.Rect(part.x * factor, part.y * factor, part.w * factor, part.h * factor)
            shrink_onto(target, work.subsurface(large), part.move(box.topleft))
        for part in dirty:
            large = pygame.Rect(part.x * factor, part.y * factor, part.w * factor, part.h * factor)
            work.blit(still.large, large.topleft, large)
        words = Labels(target, look, box, place, factor, belts, room)
        self._labels(target, words, state, offsets, labels)
        return box

    def place(self, size: tuple[int, int], factor: int = 1) -> Place:
        """Where the machine stands on an area of that size, in pixels `factor` times as fine."""
        extent = self.high - self.low
        scale = min(size[0] / extent[0], size[1] / extent[1]) * factor
        return Place(
            scale,
            (
                -self.low[0] * scale + (size[0] * factor - extent[0] * scale) / 2,
                self.high[1] * scale + (size[1] * factor - extent[1] * scale) / 2,
            ),
            max(scale * max(extent) / UNITS_ACROSS, 0.5 * factor),
        )

    def spot(self, point: Array) -> Array:
        """A place (..., 2) seen from above, m, as this picture has it: the same."""
        return np.asarray(point, float)[..., :2]

    def tool_at(self, box: pygame.Rect, tool: Array) -> tuple[float, float]:
        """Where the nozzle is drawn inside the machine's rectangle, px of the target."""
        offsets = self.machine.offsets(tool)
        point = self.place(box.size).at(np.asarray(self.machine.tool_point)[:2] + offsets[self.machine.tool_body][:2])
        return box.x + float(point[0]), box.y + float(point[1])

    def wheel_angles(self, paths: dict[str, BeltPath], state: MachineState) -> dict[str, float]:
        """Angle of each wheel, rad: by the belt that passed it since the reference pose; motors by their rotor."""
        angles: dict[str, float] = {}
        for belt in self.machine.belts:
            for wheel, travel in belt_angles(paths[belt.name], self._reference[belt.name]).items():
                angles[wheel] = math.pi / 2 + travel
        for motor in self.machine.motors:
            if motor.name in state.motor_rad:
                angles[motor.wheel] = math.pi / 2 + state.motor_rad[motor.name]
        return angles

    def _drawn_belts(self, place: Place, state: MachineState, paths: dict[str, BeltPath]) -> dict[str, DrawnBelt]:
        out = {}
        for belt in self.machine.belts:
            path = paths[belt.name]
            forces = None
            if state.tension_n is not None:
                forces = {run: state.tension_n.get((belt.name, run), 0.0) for run in path.runs}
            out[belt.name] = DrawnBelt(path, place, belt.teeth_on == "left", forces, state.tension_most_n)
        return out

    def _moving_boxes(
        self,
        size: tuple[int, int],
        factor: int,
        place: Place,
        state: MachineState,
        offsets: dict[str, Array],
        belts: dict[str, DrawnBelt],
    ) -> list[pygame.Rect]:
        """Rectangles of the target that hold all that is drawn over the still image."""
        u = place.unit
        boxes: list[pygame.Rect] = []

        def hold(points: Array, room: float) -> None:
            low, high = points.min(axis=0) - room, points.max(axis=0) + room
            boxes.append(pygame.Rect(int(low[0]), int(low[1]), int(high[0] - low[0]) + 2, int(high[1] - low[1]) + 2))

        for shape in self._moving:
            hold(place.at(np.asarray(shape.points, float) + offsets[shape.body][:2]), 15 * u)
        move = work_shift(self.machine, offsets)
        for path in (state.asked, state.laid):
            if path is not None and len(path):
                hold(place.at(np.asarray(path) + move), 3 * u)
        if state.started_at is not None:
            then = self.machine.offsets(state.started_at)[self.machine.tool_body]
            ends = np.asarray(self.machine.tool_point)[:2] + np.array([then[:2], offsets[self.machine.tool_body][:2]])
            hold(place.at(ends), 12 * u)
            for shape in self._moving:
                if shape.kind == "carriage":
                    hold(place.at(np.asarray(shape.points, float) + then[:2]), 4 * u)
        for points in reach_of_asked(self.machine, state):
            hold(place.at(points), 14 * u)
        for drawn in belts.values():
            boxes += drawn.boxes()
        for belt in self.machine.belts:
            for clamp in (belt.start, belt.end):
                if clamp.body != self.machine.tool_body:
                    hold(place.at(np.asarray(clamp.point)[None, :2] + offsets[clamp.body][:2]), 14 * u)
        whole = pygame.Rect((0, 0), size)
        return without_inner([outwards(box, factor).clip(whole) for box in boxes])

    def _dashed(self, place: Place, path: Array, move: Array) -> list[list[list[float]]]:
        """Dashes of a path; kept, as the same path is drawn frame by frame."""
        key = (path.tobytes(), place, tuple(move.tolist()))
        if key != self._dashes[0]:
            pieces = dashes(place.at(path + move), 3.2 * place.unit, 2.6 * place.unit)
            self._dashes = (key, [piece.tolist() for piece in pieces])
        return self._dashes[1]

    def _paths(
        self, target: pygame.Surface, look: Look, place: Place, state: MachineState, offsets: dict[str, Array]
    ) -> None:
        move = work_shift(self.machine, offsets)
        if state.asked is not None and len(state.asked) > 1:
            for piece in self._dashed(place, state.asked, move):
                pygame.draw.lines(target, look.theme.asked, False, piece, max(1, round(1.1 * place.unit)))
        if state.laid is not None and len(state.laid) > 1:
            points = np.rint(place.at(state.laid + move))
            keep = np.concatenate([[True], np.any(np.diff(points, axis=0) != 0, axis=1)])
            points = points[keep]
            if len(points) > 1:
                pygame.draw.lines(target, look.theme.laid, False, points.tolist(), max(2, round(1.9 * place.unit)))

    def _belts(
        self,
        target: pygame.Surface,
        look: Look,
        place: Place,
        state: MachineState,
        offsets: dict[str, Array],
        belts: dict[str, DrawnBelt],
        angles: dict[str, float],
        group: tuple[int, ...],
    ) -> None:
        """The belts of one height in the drawing, lower level first, then the marks of all their wheels."""
        lowest = min(belt.level for belt in self.machine.belts)
        motors = []
        for k in group:
            belt = self.machine.belts[k]
            wheels = []
            for wrap in belt.wraps:
                wheel = self.machine.wheels[wrap.wheel]
                wheels.append((wheel, place.at(np.asarray(wheel.centre)[:2] + offsets[wheel.body][:2]), belt.name))
                draw_wheel(target, look.theme, place, wheel, wheels[-1][1], angles[wheel.name])
            self._belt(target, look, place, belt, k, belts[belt.name], belt.level > lowest, state.plain)
            self._clamps(target, look, place, offsets, k, on_carriage=False, plain=state.plain)
            # A belt above covers the marks of idlers below it; motors' stand over every belt.
            for wheel, centre, name in wheels:
                if wheel.drive is None:
                    draw_index(target, look.theme, place, wheel, centre, angles[wheel.name], name in state.blurred)
            motors += [found for found in wheels if found[0].drive is not None]
        for wheel, centre, name in motors:
            draw_index(target, look.theme, place, wheel, centre, angles[wheel.name], name in state.blurred)

    def _belt(
        self,
        target: pygame.Surface,
        look: Look,
        place: Place,
        belt: Belt,
        index: int,
        drawn: DrawnBelt,
        upper: bool,
        plain: bool,
    ) -> None:
        theme = look.theme
        u = place.unit
        colour = theme.track if plain else belt_colour(theme, self.machine, index)
        back = theme.pulley if plain else back_colour(theme, self.machine, index)
        if upper:
            drawn.stroke(target, theme.panel, GAP * u)
        lift = 4.2 if upper else 1.6
        drawn.shadow(target, theme.shadow, ((2.4 if upper else 1.0) * u * 0.6, lift * u * 0.6))
        drawn.teeth(target, colour, self.tooth_pitch_m(belt, place) * place.scale)
        drawn.stroke(target, colour)
        drawn.line(target, back, -0.6 * drawn.side, max(1.0, 0.9 * u))
        drawn.hollow(target, theme.panel)

    @staticmethod
    def tooth_pitch_m(belt: Belt, place: Place, finest_px: float = 8.0) -> float:
        """Pitch of the teeth as drawn: the real one, or every second, third, ... tooth where the real one is too fine."""
        pitch = belt.spec.pitch_m
        return pitch * max(1, math.ceil(finest_px / (pitch * place.scale) - 1e-6))

    def _carriage(
        self, target: pygame.Surface, look: Look, place: Place, offsets: dict[str, Array], plain: bool
    ) -> None:
        for shape in self.shapes:
            if shape.kind == "carriage":
                draw_shape(target, look.theme, place, shape, offsets[shape.body])
        for k in range(len(self.machine.belts)):
            self._clamps(target, look, place, offsets, k, on_carriage=True, plain=plain)
        tool = np.asarray(self.machine.tool_point)[:2] + offsets[self.machine.tool_body][:2]
        draw_tool(target, look.theme, place, place.at(tool))

    def _clamps(
        self,
        target: pygame.Surface,
        look: Look,
        place: Place,
        offsets: dict[str, Array],
        k: int,
        *,
        on_carriage: bool,
        plain: bool,
    ) -> None:
        belt = self.machine.belts[k]
        for clamp, other in ((belt.start, belt.end), (belt.end, belt.start)):
            if (clamp.body == self.machine.tool_body) != on_carriage:
                continue
            inward = np.asarray(other.point)[:2] - np.asarray(clamp.point)[:2]
            length = float(np.hypot(*inward))
            inward = inward / length * np.array([1.0, -1.0]) if length > 0 else np.zeros(2)
            at = place.at(np.asarray(clamp.point)[:2] + offsets[clamp.body][:2])
            colour = look.theme.track if plain else belt_colour(look.theme, self.machine, k)
            draw_clamp(target, look.theme, place, at, inward, colour)

    def _labels(
        self, target: pygame.Surface, words: Labels, state: MachineState, offsets: dict[str, Array], labels: Wording
    ) -> None:
        before = target.get_clip()
        target.set_clip(words.box.clip(before))
        words.avoid(self.machine, offsets)
        if state.tension_n is not None:
            words.slack(self.machine)
        if labels != "none":
            words.motors(self.machine, offsets, labels == "full")
        words.notes(self.machine, state.notes)
        if labels == "full":
            words.crossing(self.machine, offsets)
            words.belt_levels(self.machine)
        target.set_clip(before)
