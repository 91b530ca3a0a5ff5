"""Words on the machine drawing: motors, belts and their levels, slack runs, where one belt passes over another."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

import numpy as np
import pygame
from beltspring.sim.machine.machine import Machine
from beltspring.sim.machine.routing import crossings
from numpy.typing import NDArray

from . import text
from .belt_colours import belt_colour, lettered, motor_colour
from .belts import DrawnBelt, Place, Straight
from .canvas import ring
from .room import Room
from .theme import Colour, Look

Array = NDArray[np.float64]


class Labels:
    """Words for one drawing, each placed where it covers least of the belts and nothing already written.

    box: the machine's rectangle on the target.  factor: how much finer `place` and `belts` are than the target.
    room: of the whole picture, where there is one; its list is in px of the target, everything else here in those of the box.
    """

    def __init__(
        self,
        target: pygame.Surface,
        look: Look,
        box: pygame.Rect,
        place: Place,
        factor: int,
        belts: dict[str, DrawnBelt],
        room: Room | None = None,
    ) -> None:
        self.target = target
        self.look = look
        self.box = box
        self.place = place
        self.factor = factor
        self.belts = belts
        self.taken = (room or Room(look, box)).taken
        self.spans = [
            ((p.x / factor, p.y / factor), ((p.x + p.dx * p.length) / factor, (p.y + p.dy * p.length) / factor))
            for drawn in belts.values()
            for p in drawn.straights
        ]

    def at(self, point_m: Array) -> Array:
        """A machine point, (2,) m, in px of the machine's rectangle."""
        return np.asarray(self.place.at(np.asarray(point_m, float)[..., :2]) / self.factor)

    def avoid(self, machine: Machine, offsets: dict[str, Array]) -> None:
        """Write nothing on the carriage."""
        for shape in machine.outlines:
            if shape.kind == "carriage":
                corners = self.at(np.asarray(shape.points, float) + offsets[shape.body][:2])
                low, high = corners.min(axis=0), corners.max(axis=0)
                rect = pygame.Rect(int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1]))
                self.taken.append(rect.move(self.box.topleft))

    def _covered(self, point_m: Array) -> bool:
        at = self.at(point_m)
        return any(rect.collidepoint(at[0] + self.box.x, at[1] + self.box.y) for rect in self.taken)

    def room(self, words: str, size: int, bold: bool) -> Array:
        """Width and height of words, px."""
        return np.array([text.width(self.look, words, size, bold), self.look.px(size)], float)

    def cost(self, middle: Array, room: Array) -> float:
        """How bad a place is: belts under it, other words, the edge."""
        rect = pygame.Rect(0, 0, int(room[0]) + 12, int(room[1]) + 12)
        rect.center = (round(middle[0]), round(middle[1]))
        outside = not pygame.Rect((0, 0), self.box.size).contains(rect)
        hits = sum(bool(rect.clipline(a, b)) for a, b in self.spans)
        return 10 * outside + 6 * (rect.move(self.box.topleft).collidelist(self.taken) >= 0) + hits

    def write(
        self, words: str, places: Sequence[Array], size: int, colour: Colour, *, bold: bool = False, plate: bool = True
    ) -> Array:
        """Write words with their middle at the best of `places`; returns it."""
        room = self.room(words, size, bold)
        middle = min(places, key=lambda p: self.cost(p, room))
        rect = pygame.Rect(0, 0, int(room[0]) + self.look.px(12), int(room[1]) + self.look.px(6))
        rect.center = (round(middle[0]), round(middle[1]))
        # A word always stays inside the machine's rectangle, whatever it covers there.
        rect.clamp_ip(pygame.Rect((0, 0), self.box.size))
        self.taken.append(rect.move(self.box.topleft))
        text.draw(
            self.target,
            self.look,
            words,
            self.box.x + rect.centerx,
            self.box.y + rect.centery + self.look.px(size * 0.36),
            size,
            bold=bold,
            colour=colour,
            align="center",
            back=self.look.theme.panel if plate else None,
        )
        return np.array(rect.center, float)

    def slack(self, machine: Machine) -> None:
        """The word "slack" on every run that is."""
        for k, belt in enumerate(machine.belts):
            drawn = self.belts[belt.name]
            for run, slack in enumerate(drawn.slack):
                spans = [p for p in drawn.straights if p.run == run]
                if slack and spans:
                    p = max(spans, key=lambda piece: piece.length)
                    self.write("slack", [self._along(p, 0.5)], 14, belt_colour(self.look.theme, machine, k))

    def notes(self, machine: Machine, notes: Mapping[tuple[str, str], str]) -> None:
        """Words beside runs, as near to their middle as they do not lie on a belt."""
        for k, belt in enumerate(machine.belts):
            drawn = self.belts[belt.name]
            for run, name in enumerate(drawn.runs):
                spans = [p for p in drawn.straights if p.run == run]
                words = notes.get((belt.name, name))
                if not words or not spans:
                    continue
                p = max(spans, key=lambda piece: piece.length)
                room = self.room(words, 14, True)
                aside = p.width / self.factor / 2 + self.look.px(9)
                across = np.array([-p.dy, p.dx])
                away = across * (aside + abs(across) @ room / 2)
                places = [self._along(p, s) + side * away for s in (0.5, 0.35, 0.65, 0.2, 0.8) for side in (1, -1)]
                self.write(words, places, 14, belt_colour(self.look.theme, machine, k), bold=True)

    def _along(self, p: Straight, share: float) -> Array:
        s = p.length * share
        return np.array([p.x + p.dx * s, p.y + p.dy * s]) / self.factor

    def motors(self, machine: Machine, offsets: dict[str, Array], full: bool) -> None:
        """The name of each motor beside it: inwards if nothing is in the way, else below, above, outwards, else from its edge
        on below or above it."""
        for k, motor in enumerate(machine.motors):
            centre = self.at(np.asarray(motor.centre)[:2] + offsets[motor.stator][:2])
            body = next((s for s in machine.outlines if s.kind == "motor" and s.name == motor.name), None)
            half = float(np.ptp(np.asarray(body.points)[:, 0])) / 2 * self.place.scale / self.factor if body else 8.0
            words = f"Motor {lettered(motor.name)}" if full else lettered(motor.name)
            size = 18 if full else 16
            away = half + self.look.px(8) + self.room(words, size, True) / 2
            inwards = 1.0 if centre[0] < self.box.w / 2 else -1.0
            sides = ((inwards, 0.0), (0.0, 1.0), (0.0, -1.0), (-inwards, 0.0))
            places = [centre + np.array(side) * away for side in sides]
            along = inwards * (self.room(words, size, True)[0] / 2 - half + self.look.px(6))
            places += [centre + np.array([along, side * away[1]]) for side in (1.0, -1.0)]
            self.write(words, places, size, motor_colour(self.look.theme, machine, k), bold=True)

    def belt_levels(self, machine: Machine) -> None:
        """ "Belt A, upper level" beside the longest span across the picture."""
        levels = {b.level for b in machine.belts}
        carriers = [{machine.wheels[w.wheel].body for w in b.wraps} for b in machine.belts]
        shared = bool(set.intersection(*carriers)) if carriers else False
        for k, belt in enumerate(machine.belts):
            level = ", upper level" if belt.level == max(levels) else ", lower level"
            # Belts that share no carrier (one on the beam, one under the bed) are told apart without levels.
            words = f"Belt {lettered(belt.name)}{level if len(levels) > 1 and shared else ''}"
            drawn = self.belts[belt.name]
            shortest = self.look.px(150) * self.factor
            across = [p for p in drawn.straights if abs(p.dx) > 0.7 and p.length > shortest]
            if not across:
                continue
            p = max(across, key=lambda piece: piece.length)
            away = np.array([0.0, p.width / self.factor / 2 + self.look.px(15)])
            places = []
            for share in (0.5, 0.35, 0.65, 0.25, 0.75):
                places += [self._along(p, share) - away, self._along(p, share) + away]
            self.write(words, places, 14, belt_colour(self.look.theme, machine, k), bold=True)

    def crossing(self, machine: Machine, offsets: dict[str, Array]) -> None:
        """ "A passes over B" at the rearmost place where belts of two levels cross."""
        ordered = sorted(machine.belts, key=lambda b: -b.level)
        for upper, lower in itertools.pairwise(ordered):
            if upper.level == lower.level:
                continue
            points = crossings(machine, upper, lower, offsets)
            if not points:
                continue
            visible = [p for p in points if not self._covered(p)]
            if not visible:
                continue
            point = self.at(max(visible, key=lambda p: (float(p[1]), float(p[0]))))
            look = self.look
            radius = look.px(14)
            at = (self.box.x + float(point[0]), self.box.y + float(point[1]))
            ring(self.target, at, radius, look.theme.text, look.px(1))
            words = f"{lettered(upper.name)} passes over {lettered(lower.name)}"
            room = self.room(words, 14, False)
            reach = radius + look.px(26)
            inwards = 1.0 if point[0] < self.box.w / 2 else -1.0
            places = [
                point + np.array([sx * (reach + room[0] / 2), sy * reach * k])
                for k in (1, 1.8)
                for sx in (inwards, -inwards)
                for sy in (1, -1)
            ]
            middle = self.write(words, places, 14, look.theme.text)
            towards = np.array([middle[0] + (room[0] / 2 + 6) * (1 if middle[0] < point[0] else -1), middle[1]])
            d = (towards - point) / max(1e-6, float(np.hypot(*(towards - point))))
            start, end = point + d * radius, towards
            corner = np.array([self.box.x, self.box.y])
            pygame.draw.aaline(self.target, look.theme.text, (start + corner).tolist(), (end + corner).tolist())
