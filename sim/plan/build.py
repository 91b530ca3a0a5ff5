"""From limits, shapers and a move to a plan: the front door of this room."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from ..errors import ProgramError, ScenarioError
from ..files import name_of
from ..scenario.motion import MotionLimits, MoveSpec, PatternChoices, ShaperSpec
from .axes import AxisLimits
from .jerk import CURVE_SHARE, JerkPlanner
from .legs import LegBook
from .lookahead import CURVE_CAP
from .patterns import Pattern, Task, make_pattern
from .plan import Leg
from .program import Program
from .segments import Point, Segments, farthest
from .shapers import Shaping, shaping_of
from .stretches import Block, Stretch, cut, rest_block
from .timing import SpeedPlanner, TrapezoidPlanner, timed

Array = NDArray[np.float64]
Reach = tuple[tuple[float, float], tuple[float, float], tuple[float, float]]

# An axis counts as resting from this long on; shorter rests would cut the plan into slivers. A program has so many
# that only rests long enough to see ringing in are kept.
LEAST_REST_S, LEAST_REST_IN_PROGRAM_S = 2e-3, 0.1
# Plans of at most this many pieces are kept once they are timed; larger ones are timed anew while they are used.
MOST_KEPT_PIECES = 100_000
PATTERN_CHUNK = 4096
# No job takes a month; a feed that says so is a mistake, and times so large would lose their digits.
LONGEST_S = 30 * 86400.0


@dataclass
class MotionPlan:
    """A whole move; see `plan.Plan`.

    shaper_delay_s: by axis, how long after the asked motion the commanded one goes on.  shaping: the shapers' impulses.
    notes: finished sentences worth telling the person.
    """

    description: str
    move_s: float
    duration_s: float
    start: Array
    legs: list[Leg]
    shaping: Shaping
    notes: list[str]
    least_rest_s: float
    stream: Callable[[], Iterator[Block]] = field(repr=False)

    @property
    def shaper_delay_s(self) -> tuple[float, float, float]:
        """How long after the asked motion the commanded one goes on, by axis, s."""
        return self.shaping.tail_s

    def stretches(self, longest_s: float = 1.0) -> Iterator[Stretch]:
        """The plan cut into stretches, in order, without gaps, from 0 to duration_s."""
        return cut(self._blocks(), self.shaping, self.start, self.duration_s, longest_s, self.least_rest_s)

    def _blocks(self) -> Iterator[Block]:
        """All blocks, and standing still at the end."""
        last = None
        for last in self.stream():
            yield last
        if last is not None:
            yield rest_block(last, max(self.duration_s, last.pieces.end_s) + 1.0)


def build_plan(
    limits: MotionLimits,
    shapers: Mapping[str, ShaperSpec],
    move: MoveSpec,
    reach: Reach,
    *,
    choices: PatternChoices | None = None,
    axes: AxisLimits | None = None,
    pace: float = 1.0,
    round_reach: bool = False,
) -> MotionPlan:
    """The plan of a move.

    shapers: by axis, "x", "y", "z".  reach: ((x0, x1), (y0, y1), (z0, z1)) m.
    choices: of those patterns that have some beside size and repeats.  axes: limits of single axes.
    pace: factor on every speed asked for, those of single axes and a program's own included; 1 changes no bit.
    round_reach: whether only the circle inside the reach in X and Y is.
    A program is read once here, for its errors, its legs and its duration, and again by each `stretches()`.
    Raises ScenarioError where a pattern leaves the reach, ProgramError where a program cannot be followed.
    """
    shaping = shaping_of(shapers)
    speed = f"at {1e3 * limits.speed_m_s:g} mm/s"
    program, pattern = None, None
    rim_m = 0.5 * (reach[0][1] - reach[0][0]) if round_reach else 0.0
    if move.program is not None:
        program = Program(move.program, np.array(reach), limits.speed_m_s, limits.acceleration_m_s2, rim_m)
        book, words, start = (
            LegBook(),
            f"program {name_of(move.program.name, 60)}, at most {speed[3:]}",
            (0.0, 0.0, 0.0),
        )
    else:
        pattern = _pattern(limits, move, reach, choices or PatternChoices(), axes)
        _within_rim(pattern, move, reach, rim_m)
        book, words, start = LegBook(pattern.labels), f"{pattern.words} {speed}", pattern.start

    held = None if axes is None else axes.paced(pace)

    def stream() -> Iterator[Block]:
        planner: SpeedPlanner = TrapezoidPlanner(limits.corner_speed_step_m_s)
        share = CURVE_CAP
        if limits.jerk_m_s3 > 0.0:
            planner, share = JerkPlanner(limits.corner_speed_step_m_s, limits.jerk_m_s3), CURVE_SHARE
        if program is not None:
            yield from timed(_paced(program.chunks(), pace), limits, planner, share, True, held)
        elif pattern is not None:
            yield from timed(_paced(_chunks(pattern.segments), pace), limits, planner, share, False, held)

    kept: list[Block] | None = []
    end_s, pieces = 0.0, 0
    for block in stream():
        book.add(block)
        end_s = block.pieces.end_s
        pieces += len(block.pieces)
        if kept is not None:
            kept = [*kept, block] if pieces <= MOST_KEPT_PIECES else None
    notes = program.notes() if program is not None else []
    if pieces == 0:
        raise ProgramError(
            f"{program.name if program else move.pattern}: no move in it. {' '.join(notes) or 'Moves are G0, G1, G2 and G3.'}"
        )
    if end_s > LONGEST_S:
        raise ProgramError(
            f"{program.name if program else move.pattern}: this would take {end_s / 86400.0:.3g} days; check the feeds "
            "(F is mm per minute, inch per minute after G20) and the speeds."
        )
    legs = book.legs()
    if book.left_out:
        notes.append(
            f"Of {len(legs) + book.left_out} corners those {len(legs)} after the longest cruise are looked at."
        )
    move_s = end_s + max(shaping.tail_s)
    return MotionPlan(
        words, move_s, move_s + move.settle_s, np.array(start), legs, shaping, notes,
        LEAST_REST_S if program is None else LEAST_REST_IN_PROGRAM_S,
        stream if kept is None else lambda blocks=kept: iter(blocks),  # type: ignore[misc]
    )  # fmt: skip


def _chunks(segments: Segments) -> Iterator[tuple[Segments, float]]:
    for at in range(0, len(segments), PATTERN_CHUNK):
        yield segments[at : at + PATTERN_CHUNK], 0.0


def _paced(chunks: Iterator[tuple[Segments, float]], pace: float) -> Iterator[tuple[Segments, float]]:
    """Segments that may go `pace` times as fast; copies, because a pattern's own are used again."""
    for segments, grain_m in chunks:
        yield (segments if pace == 1.0 else replace(segments, speed_m_s=pace * segments.speed_m_s)), grain_m


def _within_rim(pattern: Pattern, move: MoveSpec, reach: Reach, rim_m: float) -> None:
    """Refuse a pattern that leaves a round reach."""
    middle: Point = tuple(0.5 * (low + high) for low, high in reach)  # type: ignore[assignment]
    far = farthest(pattern.segments, middle) if rim_m > 0.0 else 0.0
    if far > rim_m + 1e-9:
        raise ScenarioError(
            [
                f"[move] size_mm = {1e3 * move.size_m:g}: the pattern {move.pattern} would run {1e3 * far:.4g} mm from the "
                f"middle, and the reach is round, {1e3 * rim_m:g} mm about it; give size_mm = "
                f"{1e3 * move.size_m * rim_m / far:.4g} or less, or a larger [space]."
            ]
        )


def _pattern(
    limits: MotionLimits, move: MoveSpec, reach: Reach, choices: PatternChoices, axes: AxisLimits | None
) -> Pattern:
    middle: Point = tuple(0.5 * (low + high) for low, high in reach)  # type: ignore[assignment]
    pattern = make_pattern(Task(limits, move, choices, middle, reach[2][1] - middle[2], axes or AxisLimits()))
    low, high = pattern.segments.extent()
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
    return pattern
