"""From a belt's order of wheels to everything that follows from it (tangents, runs, wraps, lengths, rows)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Span:
    """A straight piece of belt from tangent point to tangent point, shape (2,) each, m; z is the belt's level."""

    start: Array
    end: Array
    start_body: str
    end_body: str
    run: int

    @property
    def length_m(self) -> float:
        return float(np.hypot(*(self.end - self.start)))

    @property
    def direction(self) -> Array:
        return (self.end - self.start) / self.length_m


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


@dataclass(frozen=True)
class BeltPath:
    """A belt's whole way at one pose: spans and arcs in order, from its start clamp to its end clamp.

    pieces: Span and Arc alternating, beginning and ending with a Span.  An Arc on a motor's pulley belongs to no run
    (run = -1): there the teeth grip.  runs: name of each run, in order.
    """

    belt: str
    pieces: tuple[Span | Arc, ...]
    runs: tuple[str, ...]
    length_m: float
    z_m: float
