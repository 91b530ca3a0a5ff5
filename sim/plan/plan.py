"""The plan: what the tool is asked to do, as a function of time. SI units; the simulator's only view of a move."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Level:
    """A level of a ladder. number: from 1.  quantity: the limit it is run at.  value: of that limit, m/s2 or m/s."""

    number: int
    quantity: Literal["acceleration", "speed"]
    value: float


@dataclass(frozen=True)
class LegLabel:
    """What a pattern says of one of its legs; see `Leg`."""

    name: str
    level: Level | None = None
    sweep_hz: tuple[float, float] | None = None


@dataclass(frozen=True)
class Leg:
    """One straight or curved piece of a pattern, or one line of a program, between two corners.

    start_s, end_s: when its motion begins and ends, before shaping.  cruise_from_s, cruise_to_s: between its ramps.
    direction: (3,) unit vector at its end.  cruise_speed_m_s: speed between its ramps.  name: "leg 1", "line 12".
    start, end: (3,) m.  level: of a ladder.  sweep_hz: lowest and highest frequency, if it goes to and fro as a chirp.
    """

    name: str
    start_s: float
    end_s: float
    cruise_from_s: float
    cruise_to_s: float
    direction: tuple[float, float, float]
    cruise_speed_m_s: float
    start: tuple[float, float, float]
    end: tuple[float, float, float]
    curved: bool = False
    source_line: int | None = None
    level: Level | None = None
    sweep_hz: tuple[float, float] | None = None


class PlanStretch(Protocol):
    """A stretch of the plan, at most about a second long, simulated and recorded in one go.

    t0, t1: its ends, s.  breakpoints: (k,) sorted times strictly inside at which acceleration or velocity jumps, in the
    commanded motion (shaped ones included).  resting: (3,) bool, whether the commanded motion of each axis stands
    still through the whole stretch (stretches are cut wherever that changes).
    """

    t0: float
    t1: float
    breakpoints: Array
    resting: tuple[bool, bool, bool]

    def command(self, t_from: Array, t_to: Array) -> tuple[Array, Array]:
        """Commanded position and velocity for steps t_from[i] -> t_to[i] that cross no breakpoint.

        Returns (position, velocity), each (n, 3, 3): step, (start, middle, end), axis; m and m/s. At a breakpoint the
        start takes the limit from the right, the end the limit from the left.
        """
        ...

    def asked(self, t: Array) -> Array:
        """Position asked for, before shaping and blending, (n, 3), m."""
        ...

    def commanded(self, t: Array) -> Array:
        """Position commanded, after shaping and blending, (n, 3), m."""
        ...

    def corners(self) -> tuple[Array, Array]:
        """Corners of the asked path as a polyline: when they are reached, (k,) s, and where, (k, 3) m; without its end."""
        ...

    def depositing(self, t: Array) -> NDArray[np.bool_]:
        """Whether material is laid at each time, (n,)."""
        ...


class Plan(Protocol):
    """A whole move.

    move_s: duration of the commanded motion without settling.  duration_s: with settling.  start: (3,) m, at rest.
    shaper_delay_s: by axis, how long after the asked motion the commanded one goes on.
    description: one line in plain words ("square 60 mm at 150 mm/s").
    """

    description: str
    move_s: float
    duration_s: float
    start: Array
    legs: list[Leg]

    @property
    def shaper_delay_s(self) -> tuple[float, float, float]:
        """How long after the asked motion the commanded one goes on, by axis, s."""
        ...

    def stretches(self, longest_s: float = 1.0) -> Iterator[PlanStretch]:
        """The plan cut into stretches, in order, without gaps, from 0 to duration_s."""
        ...
