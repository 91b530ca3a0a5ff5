"""How near belts come to each other and to what stands round them, over the whole reach, and where. SI units.

Distances between two convex solids at one pose are exact (see solids.py); over the reach the smallest is looked for on
a grid of poses and then from the best of them by ever smaller steps.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..machine.machine import Machine
from .solids import Convex, apart, arm_solids, box_gap, distance, shape_solids, span_solids, wheel_solids

Array = NDArray[np.float64]

CARE_M = 0.005  # pairs that stay farther apart than this are not looked at closely
GRID = (7, 7, 3)  # poses along X, Y, Z
FINEST_STEP_M = 5e-5  # of the search for the nearest pose
REFINE_BELOW_M = 0.002
TOUCHING_M = 1e-6


@dataclass(frozen=True)
class Nearest:
    """Where two solids come nearest over the reach.

    distance_m: 0 when they touch.  overlap_m: when they touch, how far one would have to move up or down to be clear.
    tool: (3,) m.  point: (3,) m, half-way between the nearest points.
    """

    first: Convex
    second: Convex
    distance_m: float
    overlap_m: float
    tool: Array
    point: Array

    @property
    def gap_m(self) -> float:
        """Distance, or the overlap as a negative number."""
        return self.distance_m if self.distance_m > TOUCHING_M else -self.overlap_m


class Scene:
    """The solids of a machine at any pose. Bodies move without turning, so wheels and shapes are shifted, spans rebuilt."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        shapes = shape_solids(machine)
        self._others = [*((machine.wheels[s.name].body, s) for s in wheel_solids(machine)), *shapes]
        self._counts = {b.name: len(b.wraps) + 1 for b in machine.belts}
        stands = [
            [belt.start.body, *(machine.wheels[wrap.wheel].body for wrap in belt.wraps), belt.end.body]
            for belt in machine.belts
        ]
        #: The bodies that each solid stands on; it is where it was as long as they are.
        self._bodies: list[tuple[str, ...]] = [pair for bodies in stands for pair in itertools.pairwise(bodies)]
        self._bodies += [(body,) for body, _ in self._others]
        self._known: dict[tuple[int, bytes], Convex] = {}

    def solids(self, tool: Array) -> list[Convex]:
        """Spans first, belt by belt, then everything else, always in the same order."""
        offsets = self.machine.offsets(tool)
        spans = [s for belt in self.machine.belts for s in span_solids(self.machine, belt, offsets)]
        return spans + [self._shifted(k, offsets) for k in range(len(self._others))]

    def some(self, wanted: Iterable[int], tool: Array) -> dict[int, Convex]:
        """Some entries of `solids` by their number, without making the others, nor again what stands where it stood."""
        offsets = self.machine.offsets(tool)
        keys = {i: (i, b"".join(offsets[body].tobytes() for body in self._bodies[i])) for i in wanted}
        left = sorted(i for i, key in keys.items() if key not in self._known)
        first = 0
        for belt in self.machine.belts if left else ():
            mine = [i - first for i in left if first <= i < first + self._counts[belt.name]]
            if mine:
                for i, solid in zip(mine, span_solids(self.machine, belt, offsets, mine), strict=True):
                    self._known[keys[first + i]] = solid
            first += self._counts[belt.name]
        for i in left:
            if i >= first:
                self._known[keys[i]] = self._shifted(i - first, offsets)
        return {i: self._known[key] for i, key in keys.items()}

    def moved_by(self, indices: tuple[int, int]) -> list[int]:
        """Axes of the tool that move either of a pair; of a machine on arms all of them."""
        machine = self.machine
        bodies = {body for i in indices for body in self._bodies[i]}
        here = machine.offsets(machine.middle)
        found = []
        for axis in range(3):
            there = machine.offsets(machine.middle + 1e-3 * np.eye(3)[axis])
            if machine.arms or any(np.any(there[body] != here[body]) for body in bodies):
                found.append(axis)
        return found

    def _shifted(self, k: int, offsets: dict[str, Array]) -> Convex:
        body, s = self._others[k]
        return s.shifted(offsets[body]) if offsets[body].any() else s


def poses(machine: Machine, counts: tuple[int, int, int] = GRID) -> list[Array]:
    """Tool positions over the reach, (3,) m each, its corners among them; one count: the middle."""
    axes = [
        np.linspace(low, high, n) if n > 1 else np.array([(low + high) / 2])
        for (low, high), n in zip(machine.reach, counts, strict=True)
    ]
    found = [np.array(p) for p in itertools.product(*axes)]
    if not machine.reach_round:
        return found
    inside = [p for p in found if in_reach(machine, p)]
    heights = axes[2]
    return inside + [np.array([*xy, z]) for _, xy in machine.edge() for z in heights]


def in_reach(machine: Machine, tool: Array) -> bool:
    """Whether a place inside the limits of the reach is in it: a round one has no corners."""
    low, high = machine.reach[0]
    return not machine.reach_round or float(np.hypot(*(tool - machine.middle)[:2])) <= 0.5 * (high - low) + 1e-9


def nearest_pairs(machine: Machine, care_m: float = CARE_M) -> list[Nearest]:
    """Every belt span and what comes within `care_m` of it, each pair where it is nearest; nearest pairs first.

    The nearest, and pairs within REFINE_BELOW_M, are followed to their nearest pose; others keep the best of the grid.
    """
    scene = Scene(machine)
    pairs, heights = _candidates(scene, care_m)
    best: dict[tuple[int, int], tuple[float, Array]] = {}
    seen: set[tuple[int, int]] = set()
    near = {i for pair in pairs for i in pair}
    # Heights matter only where one of a pair moves up or down; most belts never do.
    for tool in poses(machine, GRID if heights else (*GRID[:2], 1)):
        solids = scene.some(near, tool)
        for i, j in pairs:
            stand = (id(solids[i]), id(solids[j]))
            if stand in seen:
                continue
            seen.add(stand)
            if box_gap(solids[i].bounds, solids[j].bounds) >= care_m:
                continue
            d, _ = apart(solids[i], solids[j])
            if d < best.get((i, j), (care_m, tool))[0]:
                best[i, j] = (d, tool)
    nearest = min((d for d, _ in best.values()), default=0.0)
    found = []
    for pair, (d, tool) in best.items():
        if d < max(REFINE_BELOW_M, nearest + TOUCHING_M):
            found.append(_refined(scene, pair, tool))
        else:
            a, b = _both(scene, pair, tool)
            found.append(Nearest(a, b, d, 0.0, tool, apart(a, b)[1]))
    return sorted(found, key=lambda n: n.gap_m)


def nearest_arms(machine: Machine, care_m: float = CARE_M) -> list[Nearest]:
    """Arms and the platform, and what comes within `care_m` of either, nearest first: each pair at the best of a grid.

    Arms of one pair lie side by side by their making; those of different pairs are looked at."""
    scene, best = Scene(machine), dict[tuple[str, str], Nearest]()
    for tool in poses(machine, GRID):
        offsets = machine.offsets(tool)
        arms, others = arm_solids(machine, offsets), scene.solids(tool)
        platform = [s for s in others if machine.tool_body in s.touches]
        for i, a in enumerate([*arms, *platform]):
            for b in (*others, *arms[i + 1 :]):
                # All arms hold the platform; where two pairs of them meet beside it they are not meant to touch.
                shared = a.touches & b.touches - ({machine.tool_body} if b.kind == "arm" else set())
                if shared or a.name == b.name:
                    continue
                if box_gap(a.bounds, b.bounds) >= care_m:
                    continue
                d, point = apart(a, b)
                known = best.get((a.name, b.name))
                if d < care_m and (known is None or d < known.distance_m):
                    best[a.name, b.name] = Nearest(a, b, d, 0.0, tool, point)
    return sorted(best.values(), key=lambda n: n.distance_m)


def _candidates(scene: Scene, care_m: float) -> tuple[list[tuple[int, int]], bool]:
    """Pairs whose boxes, swept over the whole reach, come near each other; and whether any of them moves in height.

    Bodies shift in proportion to the tool, so what a solid sweeps lies within its boxes at the corners of the reach (a
    span's tangent points stray from that by micrometres where it is not parallel to the travel; a millimetre is added). On
    arms carriages are highest and lowest on the rim.
    """
    corners = [scene.solids(tool) for tool in poses(scene.machine, (2, 2, 2))]
    low = np.min([[s.bounds[0] for s in solids] for solids in corners], axis=0)
    high = np.max([[s.bounds[1] for s in solids] for solids in corners], axis=0)
    tall = np.array([np.ptp(s.bounds, axis=0)[2] for s in corners[0]])
    rises = high[:, 2] - low[:, 2] > tall + 1e-6
    spans = sum(s.kind == "span" for s in corners[0])
    pairs = []
    for i in range(spans):
        between = np.maximum(0.0, np.maximum(low - high[i], low[i] - high))
        near = np.flatnonzero((between**2).sum(axis=1) < (care_m + 1e-3) ** 2)
        pairs += [(i, int(j)) for j in near if j > i and not meant_to_touch(corners[0][i], corners[0][j])]
    return pairs, any(rises[i] or rises[j] for i, j in pairs)


def meant_to_touch(a: Convex, b: Convex) -> bool:
    """Spans that meet on a wheel, the wheels a span runs on, and the body it is clamped to."""
    return bool(a.touches & b.touches)


def _both(scene: Scene, pair: tuple[int, int], tool: Array) -> tuple[Convex, Convex]:
    made = scene.some(set(pair), tool)
    return made[pair[0]], made[pair[1]]


def _refined(scene: Scene, pair: tuple[int, int], tool: Array) -> Nearest:
    """The nearest pose of a pair, by steps along the axes that halve until they are small."""

    def at(place: Array) -> tuple[float, Array, Convex, Convex]:
        a, b = _both(scene, pair, place)
        if box_gap(a.bounds, b.bounds) > 2 * CARE_M:
            return np.inf, place, a, b
        return *apart(a, b), a, b

    low, high = (np.array(ends) for ends in zip(*scene.machine.reach, strict=True))
    step = (high - low) / (2 * (np.array(GRID) - 1))
    d, point, a, b = at(tool)
    axes = scene.moved_by(pair)
    while step.max() > FINEST_STEP_M and d > TOUCHING_M:
        moved = False
        for axis, sign in itertools.product(axes, (-1, 1)):
            place = tool.copy()
            place[axis] = np.clip(place[axis] + sign * step[axis], low[axis], high[axis])
            if place[axis] == tool[axis] or not in_reach(scene.machine, place):
                continue
            found = at(place)
            if found[0] < d - 1e-9:
                (d, point, a, b), tool, moved = found, place, True
        if not moved:
            step = step / 2
    if d > TOUCHING_M:
        return Nearest(a, b, d, 0.0, tool, point)
    return Nearest(a, b, 0.0, overlap(a.points, b.points), tool, point)


def overlap(a: Array, b: Array) -> float:
    """How far b must be shifted straight up or down to be clear of a, m; 0 if it is."""
    if distance(a, b)[0] > TOUCHING_M:
        return 0.0
    ends = []
    for sign in (-1.0, 1.0):
        far = float(np.ptp(a[:, 2]) + np.ptp(b[:, 2]) + abs(a[:, 2].mean() - b[:, 2].mean())) + 1e-3
        near = 0.0
        while far - near > TOUCHING_M:
            half = (near + far) / 2
            if distance(a, b + np.array([0.0, 0.0, sign * half]))[0] > TOUCHING_M:
                far = half
            else:
                near = half
        ends.append(far)
    return min(ends)
