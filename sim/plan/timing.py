"""From a stream of segments to a stream of timed blocks: straighten, name legs, round corners, look ahead, time.

Each stage keeps back what it cannot finish yet and hands on the rest, so that a program of any length takes the same
memory, and cutting it into other chunks changes nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from ..scenario.motion import MotionLimits
from .axes import AxisLimits
from .blend import Rounder
from .joining import Straightener
from .lookahead import CURVE_CAP, arc_pieces, corner_caps, cut_arcs, run_passes, speed_caps
from .profile import Pieces, jumps, trapezoid
from .segments import HOLD, WAVE, Segments
from .stretches import Block

Array = NDArray[np.float64]

# In a program a new leg begins where the heading changes by more than this.
LEG_TURN_RAD = math.radians(15.0)
# So many pieces of arcs, and lines, are planned at a time.
MOST_AT_ONCE = 50_000


class SpeedPlanner(Protocol):
    """Gives segments their times. `feed` returns those that are settled once `new` is known; with `final`, all."""

    def feed(self, new: Segments, final: bool = False) -> tuple[Segments, Pieces]: ...


class TrapezoidPlanner:
    """Look-ahead with constant accelerations."""

    def __init__(self, corner_step_m_s: float) -> None:
        self.corner_step_m_s = corner_step_m_s
        self._waiting = Segments.empty()
        self._square, self._time_s = 0.0, 0.0

    def feed(self, new: Segments, final: bool = False) -> tuple[Segments, Pieces]:
        s = Segments.join([self._waiting, cut_arcs(new)])
        n = len(s)
        cap = speed_caps(s)
        node = corner_caps(s, cap, self.corner_step_m_s)
        node[0] = self._square
        ready = n
        if n and not final:
            # What follows may stop the tool at the end or let it pass at full speed. Speeds up to the last node where
            # both give the same are settled.
            free = node.copy()
            free[-1] = cap[-1]
            run_passes(s, cap, free)
            run_passes(s, cap, node)
            ready = int(np.flatnonzero(node == free)[-1])
        elif n:
            run_passes(s, cap, node)
        done = s[:ready]
        pieces = trapezoid(done, cap[:ready], node[: ready + 1], self._time_s)
        self._waiting = s[ready:]
        self._square, self._time_s = float(node[ready]), pieces.end_s
        return done, pieces


class LegNamer:
    """Numbers the legs of a program: a new one begins at every sharp corner and after every stop. -1: a stop."""

    def __init__(self) -> None:
        self._leg = 0
        self._heading: Array | None = None

    def feed(self, s: Segments) -> None:
        """Fill in `s.leg`."""
        if not len(s):
            return
        before = np.empty((len(s), 3))
        before[1:] = s.tangent_out[:-1]
        before[0] = s.tangent_in[0] if self._heading is None else self._heading
        still = (s.kind == HOLD) | (s.kind == WAVE)
        new = np.linalg.norm(s.tangent_in - before, axis=1) > 2.0 * math.sin(0.5 * LEG_TURN_RAD)
        number = self._leg + np.cumsum(new)
        self._leg, self._heading = int(number[-1]), s.tangent_out[-1]
        s.leg[:] = np.where(still, -1, number)


def _portions(chunk: Segments) -> Iterator[Segments]:
    """The chunk in portions that stay small when their arcs are cut: a short line of a program may ask for 240 pieces."""
    done = np.cumsum(arc_pieces(chunk)) if len(chunk) else np.zeros(0, np.intp)
    at = 0
    while at < len(chunk):
        end = int(np.searchsorted(done, (done[at - 1] if at else 0) + MOST_AT_ONCE, side="right"))
        end = max(end, at + 1)
        yield chunk[at:end]
        at = end


def timed(
    chunks: Iterable[tuple[Segments, float]],
    limits: MotionLimits,
    planner: SpeedPlanner,
    curve_share: float = CURVE_CAP,
    straighten: bool = False,
    axes: AxisLimits | None = None,
) -> Iterator[Block]:
    """Blocks of timed path from chunks of segments.

    chunks: segments, and half the last digit their points are written to, m.  straighten: for a program, whose lines
    are then straightened and whose legs numbered; a pattern has named its own.
    """
    straight = Straightener() if straighten else None
    namer = LegNamer()
    rounder = Rounder(limits.corner_tolerance_m, limits.corner_speed_step_m_s, curve_share)
    rounding = limits.corner_tolerance_m > 0.0
    before = np.zeros(6)

    def block(s: Segments, grain_m: float, final: bool) -> Block:
        if straight is not None:
            # The points at both ends are rounded in X and in Y, and so is each one between.
            s = straight.feed(s, 2.0 * math.sqrt(2.0) * grain_m, final)
            namer.feed(s)
        if axes is not None:
            axes.hold(s)
        if rounding:
            s = rounder.feed(s, final)
            if axes is not None:
                axes.hold(s)
        done, pieces = planner.feed(s, final)
        return Block(done, pieces, *jumps(done, pieces, before))

    grain_m = 0.0
    for chunk, grain_m in chunks:
        for portion in _portions(chunk):
            made = block(portion, grain_m, False)
            if len(made.pieces):
                yield made
    last = block(Segments.empty(), grain_m, True)
    if len(last.pieces):
        yield last
