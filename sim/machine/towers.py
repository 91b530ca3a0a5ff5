"""Places about three columns that stand in a triangle, a machine's towers. SI units, origin in the middle of the reach.

Tower a stands behind, b and c follow counter-clockwise. What hangs at a tower is placed by how far above the guide it is,
which is inward, how far to the right as seen from the middle, and how high.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ..parts.design import ArmsSpec, Design
from . import pieces
from . import wheels as w
from .machine import Point

TOWERS_DEG = {"a": 90.0, "b": 210.0, "c": 330.0}
FOOT_Z = -0.080  # of the columns' feet; the bed's top is at 0
FLANGE_M, CLEAR_M = 0.0025, 0.002  # of pulleys beyond the belt, and from there to the frame's members


def out(radius_m: float, degrees: float, z: float) -> Point:
    """A point at a distance from the middle towards a tower."""
    a = math.radians(degrees)
    return (radius_m * math.cos(a), radius_m * math.sin(a), z)


def turned(points: Sequence[tuple[float, float]], degrees: float) -> tuple[tuple[float, float], ...]:
    """Points (outward, to the right) of a tower, seen from above."""
    a = math.radians(degrees)
    return tuple((r * math.cos(a) + s * math.sin(a), r * math.sin(a) - s * math.cos(a)) for r, s in points)


@dataclass(frozen=True)
class Tower:
    """One column and its guide. guide_z: height of the guide's middle at mid-reach."""

    d: Design
    arms: ArmsSpec
    name: str
    degrees: float
    guide_z: float

    @property
    def right(self) -> Point:
        """To the right as seen from the middle: Z x n with n = -(cos, sin, 0)."""
        a = math.radians(self.degrees)
        return (math.sin(a), -math.cos(a), 0.0)

    def at(self, above_m: float, right_m: float, z: float) -> Point:
        """A point: above the guide's centre, which is inward; to the right; at a height."""
        x, y, _ = out(self.arms.tower_radius_m - above_m, self.degrees, 0.0)
        return (x + right_m * self.right[0], y + right_m * self.right[1], z)


@dataclass(frozen=True)
class Stand:
    """Three towers for a reach. guide_z: height of the carriages' guides at mid-reach.  highest_z: of the carriages' upper ends.
    platform_z: of the plane of the platform's joints.  top_z: of the columns.  radius_m: from the middle to their middle."""

    d: Design
    arms: ArmsSpec
    guide_z: float
    highest_z: float
    platform_z: float
    top_z: float
    radius_m: float

    @property
    def rim_m(self) -> float:
        """Radius of the reach."""
        return self.d.space.x_m / 2

    @property
    def towers(self) -> tuple[Tower, ...]:
        """a, b, c."""
        return tuple(Tower(self.d, self.arms, name, turn, self.guide_z) for name, turn in TOWERS_DEG.items())


def stand_of(d: Design, arms: ArmsSpec) -> Stand:
    """Where the towers of a design stand, and how high what they carry goes."""
    rise = arms.rise_m(arms.across_m)
    platform_z = d.space.z_m / 2 + arms.joints_above_nozzle_m
    guide_z = platform_z + rise
    steepest = arms.rise_m(abs(arms.across_m - d.space.x_m / 2))
    highest = guide_z + d.space.z_m / 2 + steepest - rise + d.carriage.depth_m / 2
    return Stand(d, arms, guide_z, highest, platform_z, FOOT_Z + d.frame_size.height_m, _column_radius(d, arms))


def _column_radius(d: Design, arms: ArmsSpec) -> float:
    """From the middle to the middle of a column, behind its guide, m.

    So far back that the frame's members, which leave it 30 degrees to either side of the way to the middle, clear the belt.
    """
    profile, widest = pieces.profile_m(d), max(w.pulley_radius(d, name) for name in TOWERS_DEG)
    aside = widest + FLANGE_M + CLEAR_M + profile / 2 / math.cos(math.radians(30))
    thick = max(spec.width_m for spec in d.belts.values()) / 2
    back = aside / math.tan(math.radians(30)) - d.carriage.belt_above_guide_m + thick
    return arms.tower_radius_m + max(profile / 2 + 0.010, back)
