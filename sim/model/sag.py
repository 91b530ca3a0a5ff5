"""A lifted bed under its own weight: how far it hangs and tilts on its guides, drives and arms. Statics, SI units.

The bed's weight lies evenly on two arms (beams of frame.py); the arms stand on one carrier at the rear, or on one at each
side; each carrier hangs on its own pair of rods, wheels or rails (the springs of guides.py) and on its screw or belt.
The plate's own stiffness is left out, so that the answer is on the safe side; the base counts as rigid.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..errors import MachineError
from ..machine.frame import UPWARD, assemble, member
from ..machine.machine import Body, GuidePlace, Machine
from ..practice import STANDARD_GRAVITY
from .guides import guide_stiffness
from .kinematics import cross

Array = NDArray[np.float64]
#: A lifting screw with a trapezoidal thread of 8 mm, by its root; steel (common practice; modulus from memory).
SCREW_ROOT_M, STEEL_PA = 0.0062, 206e9
#: From the end of the bed's travel to where the screw or belt is held, m; our choice.
DRIVE_END_M = 0.060
#: So stiff that it gives way by less than a nanometre: what stands in for a rigid guide or rigid arms in these statics.
RIGID_N_M = 1e12


@dataclass(frozen=True)
class BedSag:
    """A bed's own weight, at mid-reach, against a bed without any.

    tip_m: how far the free edge hangs below the driven one (one drive), or the middle below the sides (two).
    arms_m, guide_m: shares of it, by the arms bending and by the guide giving way.  tilt_rad: slope of the free edge, or
    of the sides.
    drop_m: how far the driven edge itself goes down, as screw or belt and guide stretch; levelling takes this away.
    point: where it hangs most, (3,) m.  sides: carriers, 1 or 2.
    """

    tip_m: float
    arms_m: float
    guide_m: float
    tilt_rad: float
    drop_m: float
    point: tuple[float, float, float]
    sides: int


def bed_sag(machine: Machine, load_kg: float | None = None) -> BedSag | None:
    """Sag of the bed under its own weight, or under `load_kg` spread over it. None for a bed that is not lifted.

    Raises MachineError where the bed's guide leaves it free to turn.
    """
    body = next((b for b in machine.bodies if b.name == machine.work_body and b.held), None)
    if body is None:
        return None
    if body.place is None:
        raise MachineError(f"{body.name}: nothing says where its guide is")
    weight = STANDARD_GRAVITY * (body.mass_kg if load_kg is None else load_kg)
    width, depth = machine.plate_m
    if machine.design.bed.z_drives > 1:
        return _between(machine, body, weight, width, depth)
    return _from_the_rear(machine, body, weight, width, depth)


def drive_stiffness(machine: Machine) -> float:
    """Stiffness of one screw or belt that lifts the bed, at mid-reach, N/m: E A / L of the screw's root, EA / L of a strand."""
    bed = machine.design.bed
    if bed.z_stiffness_n_m is not None:
        return bed.z_stiffness_n_m
    length = machine.design.space.z_m / 2 + DRIVE_END_M
    if bed.z_drive == "belt":
        return next(iter(machine.design.belts.values())).ea_n / length
    return STEEL_PA * math.pi / 4 * SCREW_ROOT_M**2 / length


def _carrier(machine: Machine, body: Body, place: GuidePlace) -> Array:
    """Stiffness (6, 6) of a carrier at its guide's point: the guide across, the drive along Z."""
    k = RIGID_N_M * np.diag([1.0, 1.0, 0.0, 1.0, 1.0, 1.0])
    if body.guide is not None:
        k = guide_stiffness(body.name, body.guide, place, 2).at_rest()
    k[2, 2] += drive_stiffness(machine)
    return k


class _Arms:
    """Two arms as beams: nodes along each, the first (and last) rigid on carriers. Coordinates: carriers, then free nodes."""

    def __init__(self, machine: Machine, lines: list[Array], carriers: list[Array], ends: list[dict[int, int]]) -> None:
        """lines: for each arm its nodes (k, 3).  carriers: their points.  ends: for each arm {node: carrier}."""
        self.nodes = np.vstack(lines)
        starts = np.cumsum([0, *(len(line) for line in lines)])
        spec = machine.design.bed.arms
        self.parts = []
        for line, start in zip(lines, starts, strict=False):
            for i in range(len(line) - 1):
                block = (
                    RIGID_N_M * _stick(line[i + 1] - line[i])
                    if spec is None
                    else member(spec, line[i], line[i + 1], (None, None), UPWARD)
                )
                self.parts.append((int(start) + i, int(start) + i + 1, block))
        held = {int(start) + node: c for start, of_arm in zip(starts, ends, strict=False) for node, c in of_arm.items()}
        free = [i for i in range(len(self.nodes)) if i not in held]
        self.map = np.zeros((6 * len(self.nodes), 6 * (len(carriers) + len(free))))
        for i in range(len(self.nodes)):
            at = slice(6 * i, 6 * i + 6)
            column = held[i] if i in held else len(carriers) + free.index(i)
            self.map[at, 6 * column : 6 * column + 6] = np.eye(6)
            if i in held:
                self.map[6 * i : 6 * i + 3, 6 * column + 3 : 6 * column + 6] = -cross(self.nodes[i] - carriers[column])
        self.stiffness = self.map.T @ assemble(self.nodes, self.parts) @ self.map

    def load(self, part: int, force_n: float) -> Array:
        """Coordinates' share of a weight spread evenly over one beam: half at each end, and the moments t x F l / 12."""
        a, b, _ = self.parts[part]
        along = self.nodes[b] - self.nodes[a]
        force = np.array([0.0, 0.0, -force_n])
        turn = np.cross(along, force) / 12
        out = np.zeros(6 * len(self.nodes))
        for node, sign in ((a, 1.0), (b, -1.0)):
            out[6 * node : 6 * node + 3] += force / 2
            out[6 * node + 3 : 6 * node + 6] += sign * turn
        return np.asarray(self.map.T @ out)


def _stick(along: Array) -> Array:
    """(12, 12) that keeps two nodes rigid against each other, of unit size."""
    length = float(np.linalg.norm(along))
    strain = np.zeros((6, 12))
    strain[:3, :3], strain[:3, 6:9] = -np.eye(3), np.eye(3)
    strain[:3, 3:6] = cross(along)
    strain[3:, 3:6], strain[3:, 9:] = -np.eye(3) * length, np.eye(3) * length
    return np.asarray(strain.T @ strain)


def _solve(arms: _Arms, carriers: list[Array], load: Array) -> Array:
    """Displacements and rotations (nodes, 6) of the arms' nodes, then of the carriers, which stand on (6, 6) each."""
    k = arms.stiffness.copy()
    for i, held in enumerate(carriers):
        k[6 * i : 6 * i + 6, 6 * i : 6 * i + 6] += held
    q = np.linalg.solve(k, load)
    return np.vstack([(arms.map @ q).reshape(-1, 6), q[: 6 * len(carriers)].reshape(-1, 6)])


def _from_the_rear(machine: Machine, body: Body, weight: float, width: float, depth: float) -> BedSag:
    place = body.place
    assert place is not None
    point = np.array(place.point)
    edge_y, tip_y = body.centre[1] + depth / 2, body.centre[1] - depth / 2
    gap = point[1] - edge_y
    ys = [point[1], edge_y, tip_y] if gap > 1e-9 else [point[1], tip_y]
    xs = (body.centre[0] - width / 4, body.centre[0] + width / 4)
    lines = [np.array([[x, y, point[2]] for y in ys]) for x in xs]
    arms = _Arms(machine, lines, [point], [{0: 0}, {0: 0}])
    per_arm = len(ys) - 1
    load = arms.load(per_arm - 1, weight / 2) + arms.load(2 * per_arm - 1, weight / 2)
    moved = _solve(arms, [_carrier(machine, body, place)], load)
    stiff = _solve(arms, [RIGID_N_M * np.eye(6)], load)
    carrier, tip = moved[-1], moved[len(ys) - 1]
    hangs, bends = float(carrier[2] - tip[2]), float(-stiff[len(ys) - 1][2])
    at = (body.centre[0], tip_y, float(point[2]))
    # Turning about X is positive where the front goes down.
    return BedSag(hangs, bends, hangs - bends, float(tip[3]), float(-carrier[2]), at, 1)


def _between(machine: Machine, body: Body, weight: float, width: float, depth: float) -> BedSag:
    place = body.place
    assert place is not None
    gap = machine.design.bed.guide_gap_m
    x, y, z = body.centre[0], body.centre[1], place.point[2]
    edges = (x - width / 2, x + width / 2)
    apart = min(depth, 0.5 * depth + 0.05)
    if body.guide is not None and body.guide.apart_m is not None:
        apart = body.guide.apart_m
    places = [
        replace(place, point=(side + sign * gap, y, z), across=1, apart_m=apart)
        for side, sign in zip(edges, (-1, 1), strict=True)
    ]
    points = [np.array(p.point) for p in places]
    xs = [points[0][0], x, points[1][0]] if gap <= 1e-9 else [points[0][0], edges[0], x, edges[1], points[1][0]]
    lines = [np.array([[at, y + side * depth / 4, z] for at in xs]) for side in (-1, 1)]
    last = len(xs) - 1
    arms = _Arms(machine, lines, points, [{0: 0, last: 1}, {0: 0, last: 1}])
    loaded = (0, 1) if gap <= 1e-9 else (1, 2)
    load = sum((arms.load(arm * last + i, weight / 4) for arm in (0, 1) for i in loaded), np.zeros(len(arms.stiffness)))
    moved = _solve(arms, [_carrier(machine, body, place) for place in places], load)
    stiff = _solve(arms, [RIGID_N_M * np.eye(6)] * 2, load)
    left, right, middle = moved[-2], moved[-1], len(xs) // 2
    driven = float(left[2] + right[2]) / 2
    hangs, bends = driven - float(moved[middle][2]), float(-stiff[middle][2])
    slope = float(max(abs(left[4]), abs(right[4])))
    return BedSag(hangs, bends, hangs - bends, slope, -driven, (x, y, float(z)), 2)
