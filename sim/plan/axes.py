"""Limits of single axes, as limits along the path: a slow Z screw must not be driven as fast as X and Y."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..scenario.motion import MotionLimits
from .segments import ARC, BLEND, LINE, Segments

Array = NDArray[np.float64]
Three = tuple[float, float, float]
NONE: Three = (math.inf, math.inf, math.inf)


@dataclass(frozen=True)
class AxisLimits:
    """Largest speed (m/s) and acceleration (m/s2) of X, Y and Z, beside the limits along the path; infinite = none."""

    speed_m_s: Three = NONE
    acceleration_m_s2: Three = NONE

    def along(self, direction: Three, limits: MotionLimits) -> MotionLimits:
        """The path limits that hold along a straight line."""
        share = [abs(d) for d in direction]
        return replace(
            limits,
            speed_m_s=min(limits.speed_m_s, *(v / s for v, s in zip(self.speed_m_s, share, strict=True) if s > 0.0)),
            acceleration_m_s2=min(
                limits.acceleration_m_s2,
                *(a / s for a, s in zip(self.acceleration_m_s2, share, strict=True) if s > 0.0),
            ),
        )

    def paced(self, pace: float) -> AxisLimits:
        """The same with every speed times `pace`."""
        x, y, z = (pace * v for v in self.speed_m_s)
        return replace(self, speed_m_s=(x, y, z))

    def hold(self, segments: Segments) -> None:
        """Lower the limits of segments, in place, until no axis can exceed its own.

        On a line the path's share of each axis is known. On an arc the axis is taken to get the largest share that any
        direction in the arc's plane (and its rise) has, which keeps the limit everywhere and gives away a little.
        """
        share = np.abs(segments.tangent_in)
        turn = share.copy()
        curved = (segments.kind == ARC) | (segments.kind == BLEND)
        g = segments.geo[curved]
        plane = np.hypot(g[:, 3:6], g[:, 6:9])
        radius = np.linalg.norm(g[:, 3:6], axis=1)[:, None]
        share[curved] = np.minimum(plane * g[:, 12:13] + np.abs(g[:, 9:12]), 1.0)
        turn[curved] = np.minimum(plane / radius + np.abs(g[:, 9:12]), 1.0)
        moving = (segments.kind == LINE) | curved
        for limit, have, own in (
            (segments.speed_m_s, share, self.speed_m_s),
            (segments.acceleration_m_s2, turn, self.acceleration_m_s2),
        ):
            with np.errstate(divide="ignore", invalid="ignore"):
                most = np.where(have > 1e-12, np.array(own) / have, math.inf).min(axis=1)
            limit[moving] = np.minimum(limit, most)[moving]
