"""From limits, shapers and a move to a plan: the front door of this room."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..errors import ScenarioError
from ..scenario.motion import MotionLimits, MoveSpec, ShaperSpec
from .legs import legs_of
from .lookahead import corner_caps, cut_arcs, run_passes, speed_caps
from .patterns import PATTERNS
from .plan import Leg
from .profile import jumps, trapezoid
from .segments import Point, Segments
from .shapers import UNSHAPED, Shaping
from .windows import Block, Window, cut, rest_block

Array = NDArray[np.float64]
Reach = tuple[tuple[float, float], tuple[float, float], tuple[float, float]]

# A pattern's axis counts as resting from this long on; shorter rests would cut the plan into slivers.
LEAST_REST_S = 2e-3


@dataclass
class MotionPlan:
    """A whole move; see `plan.Plan`.

    shaper_delay_s: by axis, how long after the asked motion the commanded one goes on.
    notes: finished sentences worth telling the person.
    """

    description: str
    move_s: float
    duration_s: float
    start: Array
    legs: list[Leg]
    shaping: Shaping
    notes: list[str] = field(default_factory=list)
    blocks: list[Block] = field(default_factory=list, repr=False)

    @property
    def shaper_delay_s(self) -> tuple[float, float, float]:
        """How long after the asked motion the commanded one goes on, by axis, s."""
        return self.shaping.tail_s

    def windows(self, longest_s: float = 1.0) -> Iterator[Window]:
        """The plan cut into windows, in order, without gaps, from 0 to duration_s."""
        return cut(self.blocks, self.shaping, self.start, self.duration_s, longest_s, LEAST_REST_S)


def build_plan(
    limits: MotionLimits,
    shapers: Mapping[str, ShaperSpec],
    move: MoveSpec,
    reach: Reach,
    *,
    auto_frequency: Callable[[str], tuple[float, float]] | None = None,
) -> MotionPlan:
    """The plan of a move.

    shapers: by axis, "x", "y", "z".  reach: ((x0, x1), (y0, y1), (z0, z1)) m.
    auto_frequency: gives frequency (Hz) and damping ratio of an axis for shapers set to "auto".
    Raises ScenarioError where the move leaves the reach, naming the limit and the way on.
    """
    middle: Point = tuple(0.5 * (low + high) for low, high in reach)  # type: ignore[assignment]
    assert move.pattern is not None
    pattern = PATTERNS[move.pattern](limits, move, middle)
    _stay_within(reach, pattern.segments, move)
    shaping = UNSHAPED
    segments = cut_arcs(pattern.segments)
    cap = speed_caps(segments)
    node = corner_caps(segments, cap, limits.corner_speed_step_m_s)
    run_passes(segments, cap, node)
    pieces = trapezoid(segments, cap, node, 0.0)
    before = np.zeros(6)
    jump, moves = jumps(segments, pieces, before)
    move_s = pieces.end_s + max(shaping.tail_s)
    duration_s = move_s + move.settle_s
    block = Block(segments, pieces, jump, moves)
    rest = rest_block(segments, pieces.end_s, max(duration_s, pieces.end_s) + 1.0, before)
    legs = legs_of(segments, pieces, pattern.leg_names)
    speed = f" at {1e3 * limits.speed_m_s:g} mm/s"
    return MotionPlan(
        pattern.words + speed, move_s, duration_s, np.array(pattern.start), legs, shaping, [], [block, rest]
    )


def _stay_within(reach: Reach, segments: Segments, move: MoveSpec) -> None:
    low, high = segments.extent()
    for d, name in enumerate("XYZ"):
        first, last = float(low[:, d].min()), float(high[:, d].max())
        if first < reach[d][0] - 1e-9 or last > reach[d][1] + 1e-9:
            room = reach[d][1] - reach[d][0]
            largest = move.size_m * room / (last - first)
            raise ScenarioError(
                [
                    f"[move] size_mm = {1e3 * move.size_m:g}: the pattern {move.pattern} would run from {name} "
                    f"{1e3 * first:.4g} to {1e3 * last:.4g} mm, and the reach is {1e3 * reach[d][0]:g} to "
                    f"{1e3 * reach[d][1]:g} mm; give size_mm = {1e3 * largest:.4g} or less, or a larger [space]."
                ]
            )
