"""The pen that draws a machine on arms: from the front, what stands behind dimmer, and from above."""

from __future__ import annotations

import math
from typing import Protocol

import numpy as np
import pygame
from beltspring.sim.machine.machine import Machine, Solid
from beltspring.sim.machine.routing import Arc, BeltPath, Span
from numpy.typing import NDArray

from .belts import SLACK_BELOW_N, THICKER, THINNEST, Place
from .canvas import arrow, dashes, line_stroke, path_stroke
from .parts import draw_dashed_outline
from .state import MachineState
from .theme import Colour, Look, mix

Array = NDArray[np.float64]

THINNER = 0.55  # of the belts of a view from above: loops are narrow, and both strands must show
BEHIND = 0.5  # strength of what stands behind


class Seen(Protocol):
    """A machine and where its picture has it. share: of the view from above, beside the front."""

    machine: Machine
    solids: list[Solid]
    share: float

    @staticmethod
    def front(points: Array) -> Array: ...

    def spot(self, point: Array) -> Array: ...


class Pen:
    """What draws one picture: its surface, where the machine stands on it, and how the machine stands."""

    def __init__(
        self,
        target: pygame.Surface,
        look: Look,
        place: Place,
        view: Seen,
        state: MachineState,
        offsets: dict[str, Array],
    ) -> None:
        self.target, self.theme, self.place, self.view = target, look.theme, place, view
        self.machine, self.state, self.offsets = view.machine, state, offsets
        self.unit = place.unit
        #: where the dashed outlines stand: at the start of a move, or where the tool was asked to be
        self.origin = state.started_at if state.started_at is not None else state.asked_tool

    def front(self, paths: dict[str, BeltPath], angles: dict[str, float]) -> None:
        """From behind to before: frame, each tower with its arms, bed between the rear one and the others, platform."""
        numbers = range(len(self.machine.belts))
        depth = sorted(numbers, key=lambda k: -self.machine.motors[k].centre[1])
        for solid in self.view.solids:
            if solid.kind == "frame":
                self._block(solid, self.theme.frame)
        rear = depth[0]
        for k in depth:
            strength = BEHIND if k == rear else 1.0
            self._tower(k, paths, angles, strength)
            if k == rear:
                for solid in self.view.solids:
                    if solid.kind == "bed":
                        self._block(solid, self.theme.metal)
        for k in depth:
            self._pair(k, BEHIND if k == rear else 1.0)
        if self.origin is not None:
            self._start()
        self._tool()

    def _shade(self, colour: Colour, strength: float) -> Colour:
        return mix(self.theme.panel, colour, strength)

    def _block(self, solid: Solid, colour: Colour) -> None:
        """A solid as the rectangle it fills in the front."""
        points = np.array(solid.points)
        shift = self.offsets[solid.body]
        low = np.array([points[:, 0].min() + shift[0], solid.z_m[0] + shift[2]])
        high = np.array([points[:, 0].max() + shift[0], solid.z_m[1] + shift[2]])
        (x0, y1), (x1, y0) = self.place.at(low), self.place.at(high)
        self.target.fill(colour, (round(x0), round(y0), max(1, round(x1 - x0)), max(1, round(y1 - y0))))

    def _tower(self, k: int, paths: dict[str, BeltPath], angles: dict[str, float], strength: float) -> None:
        name = self.machine.belts[k].name
        for solid in self.view.solids:
            if solid.kind == "column" and solid.name == f"column {name}":
                self._block(solid, self._shade(self.theme.frame, 0.6 + 0.4 * strength))
            elif solid.kind == "motor" and solid.name == name:
                self._block(solid, self._shade(self.theme.metal, strength))
        self._belt(k, paths[name], angles, strength)
        for solid in self.view.solids:
            if solid.body == f"carriage {name}":
                self._block(solid, self._shade(self.theme.carriage, 0.3 + 0.7 * strength))
        for clamp in (self.machine.belts[k].start, self.machine.belts[k].end):
            at = self.place.at(self.view.front(np.array(clamp.point) + self.offsets[clamp.body]))
            side = 4 * self.unit
            colour = self._shade(self.theme.belts[k % 3], strength)
            self.target.fill(colour, (round(at[0] - side), round(at[1] - side / 2), round(2 * side), round(side)))

    def _belt(self, k: int, path: BeltPath, angles: dict[str, float], strength: float) -> None:
        theme, belt = self.theme, self.machine.belts[k]
        colour = self._shade(theme.track if self.state.plain else theme.belts[k % 3], strength)
        for wrap in belt.wraps:
            wheel = self.machine.wheels[wrap.wheel]
            turn = np.linspace(0.0, 2 * math.pi, 33)[:-1]
            middle = belt.axes[:2] @ (np.array(wheel.centre) + self.offsets[wheel.body])
            ring = middle + wheel.radius_m * np.c_[np.cos(turn), np.sin(turn)]
            points = np.rint(self._on_front(path, ring)).tolist()
            pygame.draw.polygon(self.target, self._shade(theme.pulley, 0.3 + 0.5 * strength), points)
            a = angles[wheel.name]
            mark = middle + wheel.radius_m * np.array([[0.0, 0.0], [1.5 * math.cos(a), 1.5 * math.sin(a)]])
            if belt.name not in self.state.blurred:
                ends = self._on_front(path, mark)
                line_stroke(self.target, ends[0], ends[1], 2.0 * self.unit, self._shade(theme.text, strength))
        most = self.state.tension_most_n
        for run, name in enumerate(path.runs):
            known = self.state.tension_n
            force = most / 3 if known is None else known.get((belt.name, name), 0.0)
            slack = known is not None and force < SLACK_BELOW_N
            width = (THINNEST + THICKER * (0.35 if slack else min(1.0, force / most))) * THINNER * self.unit
            for piece in path.pieces:
                if piece.run in (run, -1):
                    points = self._on_front(path, _along(piece))
                    path_stroke(self.target, points, width, colour)
                    if slack and piece.run == run:
                        path_stroke(self.target, points, max(1.0, width - 2.2 * self.unit), theme.panel)

    def _on_front(self, path: BeltPath, points: Array) -> Array:
        return self.place.at(self.view.front(path.place(points)))

    def _ends(self, k: int, offsets: dict[str, Array]) -> list[tuple[Array, Array]]:
        """Both arms of pair k, ends (3,) m each."""
        each = [[np.array(point) + offsets[body] for body, point in one.ends] for one in self.machine.arms[k].single]
        return [(start, end) for start, end in each]

    def _pair(self, k: int, strength: float) -> None:
        colour = self._shade(self.theme.belts[k % 3], strength)
        for start, end in self._ends(k, self.offsets):
            a, b = self.place.at(self.view.front(start)), self.place.at(self.view.front(end))
            line_stroke(self.target, a, b, 2.4 * self.unit, colour)
            for p in (a, b):
                pygame.draw.circle(self.target, colour, np.rint(p).tolist(), max(2, round(2.4 * self.unit)))

    def _tool(self) -> None:
        for solid in self.view.solids:
            if solid.body == self.machine.tool_body:
                self._block(solid, self.theme.carriage)
                bottom = solid.z_m[0] + self.offsets[solid.body][2]
        tip = self.state.tool
        a, b = (self.place.at(np.array([tip[0] + dx, bottom])) for dx in (-0.007, 0.007))
        point = self.place.at(self.view.front(tip))
        pygame.draw.polygon(self.target, self.theme.metal, np.rint([a, b, point]).tolist())
        pygame.draw.circle(self.target, self.theme.text, np.rint(point).tolist(), max(2, round(2.2 * self.unit)))

    def _start(self) -> None:
        """Where everything stood at the start, dashed, and the tool's way from there."""
        started = self.origin
        assert started is not None
        then = self.machine.offsets(started)
        a, b = self.place.at(self.view.front(started)), self.place.at(self.view.front(self.state.tool))
        if np.hypot(*(b - a)) < 2 * self.unit:
            return
        for k in range(len(self.machine.arms)):
            for start, end in self._ends(k, then):
                ends = self.place.at(self.view.front(np.array([start, end])))
                for piece in dashes(ends, 4 * self.unit, 4 * self.unit):
                    pygame.draw.line(
                        self.target, self.theme.dim, piece[0].tolist(), piece[-1].tolist(), max(1, round(self.unit))
                    )
        for solid in self.view.solids:
            if solid.body == self.machine.tool_body:
                shift, points = then[solid.body], np.array(solid.points)
                x0, x1 = points[:, 0].min() + shift[0], points[:, 0].max() + shift[0]
                z0, z1 = solid.z_m[0] + shift[2], solid.z_m[1] + shift[2]
                corners = np.array([[x0, z0], [x1, z0], [x1, z1], [x0, z1]])
                draw_dashed_outline(self.target, self.place, self.place.at(corners), self.theme.dim)
        arrow(self.target, a, b, 2.6 * self.unit, self.theme.text, 9 * self.unit)

    # ---- from above

    def above(self) -> None:
        """Triangle, round reach, arms, and the path."""
        theme, unit = self.theme, self.unit
        for solid in self.view.solids:
            points = self.place.at(self.view.spot(np.array(solid.points) + self.offsets[solid.body][:2]))
            whole = np.rint(points).tolist()
            if solid.kind == "frame":
                pygame.draw.lines(
                    self.target, theme.frame, True, whole, max(2, round(solid.width_m * self.place.scale * 0.6))
                )
            elif solid.kind in ("bed", "column", "motor"):
                colour = {"bed": theme.raised, "column": theme.frame, "motor": theme.metal}[solid.kind]
                pygame.draw.polygon(self.target, colour, whole)
        (x0, x1), _, _ = self.machine.reach
        radius = round(0.5 * (x1 - x0) * self.view.share * self.place.scale)
        middle = np.rint(self.place.at(self.view.spot(self.machine.middle))).tolist()
        pygame.draw.circle(self.target, theme.track, middle, radius, max(1, round(1.2 * unit)))
        self._paths()
        for solid in self.view.solids:
            if solid.kind == "carriage" and solid.body != self.machine.tool_body:
                points = self.place.at(self.view.spot(np.array(solid.points)))
                pygame.draw.polygon(self.target, theme.carriage, np.rint(points).tolist())
        for k in range(len(self.machine.arms)):
            for start, end in self._ends(k, self.offsets):
                a, b = self.place.at(self.view.spot(start)), self.place.at(self.view.spot(end))
                line_stroke(self.target, a, b, 1.8 * unit, theme.belts[k % 3])
        at = self.place.at(self.view.spot(self.state.tool))
        if self.origin is not None:
            begin = self.place.at(self.view.spot(self.origin))
            if np.hypot(*(at - begin)) > 2 * unit:
                arrow(self.target, begin, at, 2.0 * unit, theme.text, 7 * unit)
        pygame.draw.circle(self.target, theme.text, np.rint(at).tolist(), max(2, round(2.6 * unit)))

    def _paths(self) -> None:
        if self.state.asked is not None and len(self.state.asked) > 1:
            for piece in dashes(self.place.at(self.view.spot(self.state.asked)), 3.2 * self.unit, 2.6 * self.unit):
                pygame.draw.lines(self.target, self.theme.asked, False, piece.tolist(), max(1, round(1.1 * self.unit)))
        if self.state.laid is not None and len(self.state.laid) > 1:
            points = np.rint(self.place.at(self.view.spot(self.state.laid)))
            points = points[np.concatenate([[True], np.any(np.diff(points, axis=0) != 0, axis=1)])]
            if len(points) > 1:
                pygame.draw.lines(self.target, self.theme.laid, False, points.tolist(), max(2, round(1.9 * self.unit)))


def _along(piece: Span | Arc) -> Array:
    """Points along a piece of belt, in its plane."""
    if isinstance(piece, Span):
        return np.array([piece.start, piece.end])
    turn = piece.start_rad + np.linspace(0.0, piece.sweep_rad, 13)
    return np.asarray(piece.centre + piece.radius_m * np.c_[np.cos(turn), np.sin(turn)])
