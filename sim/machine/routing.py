"""From a belt's order of wheels to everything that follows from it: tangents, runs, wraps, lengths, rows.

A belt is an ordered list of wraps between two clamps. Nothing about mixing, lengths or contact sides is written
anywhere else; the layout gives places and order, and the geometry here answers every question about the belt.

Geometry of one span (derivation: sim/model/PHYSICS.md, section 1). Travelling along unit direction d with the left
normal n, a wheel met with sense s (+1 counter-clockwise) has its centre at the left of the belt for s = +1, so its
tangent point is c - s r n. Two wheels give D = c2 - c1 = l d + (s2 r2 - s1 r1) n.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Container
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import MachineError
from .machine import Belt, Clamp, Machine, Wheel

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Span:
    """A straight piece of belt from tangent point to tangent point, shape (2,) each, m, in the belt's plane."""

    start: Array
    end: Array
    start_body: str
    end_body: str
    run: int

    @property
    def length_m(self) -> float:
        """Distance between the tangent points, m."""
        return float(np.hypot(*(self.end - self.start)))

    @property
    def direction(self) -> Array:
        """Unit vector along the belt's order, shape (2,)."""
        return np.asarray((self.end - self.start) / self.length_m, dtype=float)


@dataclass(frozen=True)
class Arc:
    """A piece of belt round a wheel. sweep_rad: signed, counter-clockwise positive.  start_rad: angle of its first point."""

    wheel: str
    centre: Array
    radius_m: float
    start_rad: float
    sweep_rad: float
    touches_teeth: bool
    run: int

    @property
    def length_m(self) -> float:
        """Length of belt on the wheel, m."""
        return abs(self.sweep_rad) * self.radius_m


@dataclass(frozen=True)
class BeltPath:
    """A belt's whole way at one pose: spans and arcs in order, from its start clamp to its end clamp.

    pieces: Span and Arc alternating, beginning and ending with a Span.  An Arc on a motor's pulley belongs to no run
    (run = -1): there the teeth grip.  runs: name of each run, in order.
    z_m: height of the belt above its plane (of a level one: in Z).  axes: rows right, up, and what the plane is seen from.
    """

    belt: str
    pieces: tuple[Span | Arc, ...]
    runs: tuple[str, ...]
    length_m: float
    z_m: float
    axes: Array

    def place(self, point: Array) -> Array:
        """Where a point (..., 2) of the belt's plane is in space, (..., 3) m."""
        flat = np.asarray(point, float)
        return np.asarray(flat @ self.axes[:2] + self.z_m * self.axes[2])

    def run_pieces(self, run: int) -> list[Span | Arc]:
        """The pieces of one run, in order."""
        return [piece for piece in self.pieces if piece.run == run]

    def run_length_m(self, run: int) -> float:
        """Free length of one run between its grips, wraps on idlers included, m."""
        return sum(piece.length_m for piece in self.run_pieces(run))


@dataclass(frozen=True)
class Pull:
    """What a run feels when `body` moves: stretch += direction . displacement of `point` (3,), m, fixed to the body."""

    body: str
    direction: Array
    point: Array


@dataclass(frozen=True)
class IdlerContact:
    """An idler inside a run, after as many spans as there are idlers before it, and one: how far along the run, 0 to 1."""

    wheel: str
    fraction: float


@dataclass(frozen=True)
class Run:
    """One run between two grips at the reference pose.

    pulls: stretch = sum of direction . displacement; two for each span in order, where it leaves and where it meets a body.
    turns: (motor name, signed radius m): stretch += r theta_rel.  start_turn, end_turn: of the pulleys at its ends, along
    the order; None at a clamp.  idlers: between the spans.  carried_m: for each span, its length and half the wrap on the
    idlers at its ends, m.
    """

    belt: str
    name: str
    length_m: float
    pulls: tuple[Pull, ...]
    turns: tuple[tuple[str, float], ...]
    start_turn: tuple[str, float] | None
    end_turn: tuple[str, float] | None
    idlers: tuple[IdlerContact, ...]
    carried_m: tuple[float, ...]


@dataclass(frozen=True)
class _Stop:
    """A clamp or a wheel as the tangent finder sees it."""

    centre: Array
    radius: float
    sense: int
    body: str
    wheel: Wheel | None


def _stops(machine: Machine, belt: Belt, offsets: dict[str, Array] | None) -> list[_Stop]:
    plane = belt.axes[:2]

    def moved(point: tuple[float, float, float], body: str) -> Array:
        shift = np.zeros(3) if offsets is None else offsets[body]
        return np.asarray(plane @ (np.asarray(point, float) + shift))

    def clamp(c: Clamp) -> _Stop:
        return _Stop(moved(c.point, c.body), 0.0, 0, c.body, None)

    stops = [clamp(belt.start)]
    for wrap in belt.wraps:
        wheel = machine.wheels[wrap.wheel]
        stops.append(_Stop(moved(wheel.centre, wheel.body), wheel.radius_m, wrap.sense, wheel.body, wheel))
    stops.append(clamp(belt.end))
    return stops


def _tangent(a: _Stop, b: _Stop, belt: str) -> tuple[Array, Array, float]:
    """Tangent points and heading of the span from a to b."""
    between = b.centre - a.centre
    offset = b.sense * b.radius - a.sense * a.radius
    distance = float(np.hypot(*between))
    if distance <= abs(offset):
        names = " and ".join(s.wheel.name if s.wheel else "a clamp" for s in (a, b))
        raise MachineError(
            f"belt {belt}: {names} stand {distance * 1e3:.1f} mm apart, too close for the belt to pass between them"
            f" (needs more than {abs(offset) * 1e3:.1f} mm); enlarge the frame or the reach, or use fewer pulley teeth"
        )
    length = math.sqrt(distance**2 - offset**2)
    heading = math.atan2(between[1], between[0]) - math.atan2(offset, length)
    left = np.array([-math.sin(heading), math.cos(heading)])
    return a.centre - a.sense * a.radius * left, b.centre - b.sense * b.radius * left, heading


def belt_path(machine: Machine, belt: Belt, offsets: dict[str, Array] | None = None) -> BeltPath:
    """The belt's way with every body moved by `offsets` (see Machine.offsets); None: the reference pose.

    Raises MachineError where wheels stand too close for the belt to pass.
    """
    stops = _stops(machine, belt, offsets)
    tangents = [_tangent(a, b, belt.name) for a, b in itertools.pairwise(stops)]
    pieces: list[Span | Arc] = []
    run = 0
    for i, (start, end, heading) in enumerate(tangents):
        pieces.append(Span(start, end, stops[i].body, stops[i + 1].body, run))
        stop = stops[i + 1]
        if stop.wheel is None:
            continue
        turn = (stop.sense * (tangents[i + 1][2] - heading)) % (2 * math.pi)
        turn = 0.0 if turn > 2 * math.pi - 1e-9 else turn
        grips = stop.wheel.drive is not None
        pieces.append(
            Arc(
                wheel=stop.wheel.name,
                centre=stop.centre,
                radius_m=stop.radius,
                start_rad=heading - stop.sense * math.pi / 2,
                sweep_rad=stop.sense * turn,
                # The wheel lies at the left of the belt when met counter-clockwise.
                touches_teeth=(stop.sense > 0) == (belt.teeth_on == "left"),
                run=-1 if grips else run,
            )
        )
        run += grips
    return BeltPath(
        belt=belt.name,
        pieces=tuple(pieces),
        runs=_run_names(belt, run + 1),
        length_m=sum(piece.length_m for piece in pieces),
        z_m=float(belt.axes[2] @ np.array(belt.start.point)),
        axes=belt.axes,
    )


def spans_of(
    machine: Machine, belt: Belt, offsets: dict[str, Array] | None = None, only: Container[int] | None = None
) -> list[Span]:
    """The straight pieces of `belt_path` alone, in order: a third of its work. only: numbers of those wanted; None: all."""
    out, run = [], 0
    for i, (a, b) in enumerate(itertools.pairwise(_stops(machine, belt, offsets))):
        if only is None or i in only:
            start, end, _ = _tangent(a, b, belt.name)
            out.append(Span(start, end, a.body, b.body, run))
        run += b.wheel is not None and b.wheel.drive is not None
    return out


def _run_names(belt: Belt, count: int) -> tuple[str, ...]:
    """Runs are named by the clamp they end on; runs between two motors "between" (numbered if several)."""
    inner = ["between"] if count == 3 else [f"between {k}" for k in range(1, count - 1)]
    return (belt.start.name, *inner, belt.end.name)


def runs_of(machine: Machine, belt: Belt) -> list[Run]:
    """The runs of a belt at the reference pose, with what strains them."""
    path = belt_path(machine, belt)
    stops = _stops(machine, belt, None)
    spans = [piece for piece in path.pieces if isinstance(piece, Span)]
    # The belt leaves a body where it is tangent to that body's wheel, at its own height. With a motor's angle taken
    # relative to its stator this strains nothing when the whole machine turns (PHYSICS.md, section 1).
    leaves = [path.place(span.start) for span in spans]
    meets = [path.place(span.end) for span in spans]
    runs = []
    for index, name in enumerate(path.runs):
        numbers = [i for i, span in enumerate(spans) if span.run == index]
        first, last = numbers[0], numbers[-1]
        length = path.run_length_m(index)
        pulls: list[Pull] = []
        contacts: list[IdlerContact] = []
        carried = [spans[i].length_m for i in numbers]
        along = 0.0
        for k, i in enumerate(numbers):
            d = spans[i].direction @ path.axes[:2]
            pulls += [Pull(stops[i].body, -d, leaves[i]), Pull(stops[i + 1].body, d, meets[i])]
            along += spans[i].length_m
            wheel = stops[i + 1].wheel
            if i != last and wheel is not None:
                # Pieces alternate, so the wrap after span i is piece 2 i + 1: a belt may meet one wheel twice.
                wrap = path.pieces[2 * i + 1].length_m
                contacts.append(IdlerContact(wheel.name, (along + wrap / 2) / length))
                along += wrap
                carried[k] += wrap / 2
                carried[k + 1] += wrap / 2

        def turn(stop: _Stop) -> tuple[str, float] | None:
            if stop.wheel is None or stop.wheel.drive is None:
                return None
            return stop.wheel.drive, stop.sense * stop.radius

        start_turn, end_turn = turn(stops[first]), turn(stops[last + 1])
        turns = []
        if start_turn is not None:
            turns.append((start_turn[0], -start_turn[1]))
        if end_turn is not None:
            turns.append(end_turn)
        runs.append(
            Run(
                belt=belt.name,
                name=name,
                length_m=length,
                pulls=tuple(pulls),
                turns=tuple(turns),
                start_turn=start_turn,
                end_turn=end_turn,
                idlers=tuple(contacts),
                carried_m=tuple(carried),
            )
        )
    return runs


def teeth_in_mesh(arc: Arc, teeth: int) -> float:
    """Teeth of the pulley inside the belt's wrap: z_m = z theta / 2 pi."""
    return teeth * abs(arc.sweep_rad) / (2 * math.pi)


def order_length_m(machine: Machine, belt: Belt, allowance_m: float = 0.030) -> float:
    """Length of open belt to order, m: the way itself and `allowance_m` to hold at each clamp, up to whole teeth."""
    exact = belt_path(machine, belt).length_m + 2 * allowance_m
    return math.ceil(exact / belt.spec.pitch_m - 1e-9) * belt.spec.pitch_m


def crossings(machine: Machine, first: Belt, second: Belt, offsets: dict[str, Array] | None = None) -> list[Array]:
    """Where the spans of two belts cross in the view from above, (2,) m each; of belts that do not lie level, nowhere."""
    if first.plane != second.plane or first.plane[1][2] != 0.0:
        return []
    a = [p for p in belt_path(machine, first, offsets).pieces if isinstance(p, Span)]
    b = [p for p in belt_path(machine, second, offsets).pieces if isinstance(p, Span)]
    points = []
    for p in a:
        for q in b:
            u, v, w = p.end - p.start, q.end - q.start, q.start - p.start
            cross = float(u[0] * v[1] - u[1] * v[0])
            if abs(cross) < 1e-12 * p.length_m * q.length_m:
                continue
            s = float(w[0] * v[1] - w[1] * v[0]) / cross
            t = float(w[0] * u[1] - w[1] * u[0]) / cross
            if 0 < s < 1 and 0 < t < 1:
                points.append(p.start + s * u)
    return points
