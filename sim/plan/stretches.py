"""The plan cut into stretches of at most a second, wherever an axis comes to rest or leaves it too."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .corners import corners
from .profile import Pieces, jumps
from .sampling import points, sample_steps
from .segments import HOLD, Segments
from .shapers import Shaping

Array = NDArray[np.float64]

# Breakpoints closer than this are one: in a nanosecond nothing moves by more than a fraction of a nanometre.
SAME_TIME_S = 1e-9


@dataclass
class Block:
    """A piece of timed path. jump, moves: (m, 3) by piece and axis, see `profile.find_jumps`."""

    segments: Segments
    pieces: Pieces
    jump: NDArray[np.bool_]
    moves: NDArray[np.bool_]


@dataclass
class Stretch:
    """One stretch of a plan; see `plan.PlanStretch` for what the simulator reads from it."""

    t0: float
    t1: float
    breakpoints: Array
    resting: tuple[bool, bool, bool]
    segments: Segments
    start_s: Array
    segment: NDArray[np.int64]
    motion: Array
    shaping: Shaping

    def command(self, t_from: Array, t_to: Array) -> tuple[Array, Array]:
        """Commanded position and velocity, each (n, 3, 3): step, (start, middle, end), axis; m and m/s.

        t_from, t_to: (n,) s, in order, each step within one pair of breakpoints.
        """
        begin, end = np.asarray(t_from, np.float64), np.asarray(t_to, np.float64)
        position, velocity = np.zeros((len(begin), 3, 3)), np.zeros((len(begin), 3, 3))
        axes = self.shaping.axes
        if any(self.resting):
            # An axis at rest is written once instead of being worked out at every step.
            at = self._standing()
            for d in range(3):
                if self.resting[d]:
                    position[:, :, d] = at[d]
            groups = [[d for d in group if d >= 0 and not self.resting[d]] for group in axes.tolist()]
            axes = np.array([[*group, *[-1] * (axes.shape[1] - len(group))] for group in groups], np.int64)
        self._sample(0.5 * (begin + end), 0.5 * (end - begin), axes, position, velocity)
        return position, velocity

    def _sample(self, middle: Array, half: Array, axes: NDArray[np.int64], position: Array, velocity: Array) -> None:
        s = self.shaping
        sample_steps(
            middle, half, self.start_s, self.segment, self.motion, self.segments.kind, self.segments.geo,
            s.times_s, s.weight, s.impulses, axes, position, velocity,
        )  # fmt: skip

    def _standing(self) -> Array:
        """Commanded place in the middle of the stretch, (3,) m."""
        position = np.zeros((1, 3, 3))
        self._sample(
            np.array([0.5 * (self.t0 + self.t1)]), np.zeros(1), self.shaping.axes, position, np.zeros((1, 3, 3))
        )
        return np.asarray(position[0, 1])

    def asked(self, t: Array) -> Array:
        """Position asked for, before shaping and blending, (n, 3), m."""
        return points(np.asarray(t, np.float64), self.start_s, self.segment, self.motion, self.segments, sharp=True)

    def corners(self) -> tuple[Array, Array]:
        """Corners of the asked path, (k,) s and (k, 3) m; arcs as chords within 0.1 um."""
        return corners(self)

    def commanded(self, t: Array) -> Array:
        """Position commanded, after shaping and blending, (n, 3), m."""
        times, s = np.asarray(t, np.float64), self.shaping
        out = np.zeros((len(times), 3))
        for group, count in enumerate(s.impulses):
            for late, weight in zip(s.times_s[group, :count], s.weight[group, :count], strict=True):
                at = points(times - late, self.start_s, self.segment, self.motion, self.segments, sharp=False)
                mine = s.axes[group][s.axes[group] >= 0]
                out[:, mine] += weight * at[:, mine]
        return out

    def _rows(self, t: Array) -> NDArray[np.int64]:
        """The segment that the commanded motion is on at each time: as late as the shapers of X and Y make it."""
        piece = self.start_s.searchsorted(np.asarray(t) - self.shaping.delay_s, side="right") - 1
        return self.segment[np.maximum(piece, 0)]

    def depositing(self, t: Array) -> NDArray[np.bool_]:
        """Whether material is laid at each time, (n,); switched as late as the shapers make the motion."""
        return self.segments.depositing[self._rows(t)]

    def source_line(self, t: Array) -> NDArray[np.int32]:
        """Line of the program followed at each time, (n,); 0 where there is none."""
        return self.segments.line[self._rows(t)]


def rest_changes(block: Block, shaping: Shaping, least_rest_s: float) -> list[tuple[Array, Array]]:
    """By axis: when its commanded motion begins and when it ends, shaper tail included; shorter rests are none."""
    starts = block.pieces.start_s
    ends = np.append(starts[1:], block.pieces.end_s)
    out = []
    for d, shaper in enumerate(shaping.by_axis):
        moving = block.moves[:, d]
        begin, end = starts[moving] + shaper.times_s[0], ends[moving] + shaper.tail_s
        apart = begin[1:] - end[:-1] >= least_rest_s
        if len(begin):
            begin, end = begin[np.append(True, apart)], end[np.append(apart, True)]
        out.append((begin, end))
    return out


def _jump_times(block: Block) -> list[Array]:
    """By axis when its motion jumps, before shaping, s."""
    return [block.pieces.start_s[block.jump[:, d]] for d in range(block.jump.shape[1])]


def _breakpoints(jump_times: list[Array], shaping: Shaping, t0: float, t1: float) -> Array:
    found = [np.zeros(0)]
    for at, shaper in zip(jump_times, shaping.by_axis, strict=True):
        for late in shaper.times_s if len(at) else ():
            i, j = int(at.searchsorted(t0 - late)), int(at.searchsorted(t1 - late))
            found.append(at[max(i - 1, 0) : j + 1] + late)
    times = np.sort(np.concatenate(found))
    times = times[(times > t0 + SAME_TIME_S) & (times < t1 - SAME_TIME_S)]
    if len(times) > 1:
        times = times[np.append(True, times[1:] - times[:-1] > SAME_TIME_S)]
    return times


def _joined(old: Block | None, new: Block, since_s: float) -> Block:
    """`new` behind what of `old` still matters at `since_s`, as one block."""
    if old is None:
        return new
    first = max(int(np.searchsorted(old.pieces.start_s, since_s, side="right")) - 1, 0)
    row = int(old.pieces.segment[first])
    kept = old.segments[slice(row, None)]
    a, b = old.pieces, new.pieces
    pieces = Pieces(
        np.concatenate([a.start_s[first:], b.start_s]),
        b.end_s,
        np.concatenate([a.segment[first:] - row, b.segment + len(kept)]),
        np.concatenate([a.motion[first:], b.motion]),
    )
    return Block(
        Segments.join([kept, new.segments]),
        pieces,
        np.concatenate([old.jump[first:], new.jump]),
        np.concatenate([old.moves[first:], new.moves]),
    )


def rest_block(after: Block, end_s: float) -> Block:
    """Standing still where a block ends, until end_s."""
    last = after.segments[after.pieces.segment[-1:]]
    hold = Segments.empty(1)
    hold.kind[0], hold.geo[0, 0:3], hold.hold_s[0] = HOLD, last.ends()[0], end_s - after.pieces.end_s
    hold.leg[0], hold.line[0] = last.leg[0], last.line[0]
    # The last piece once more, to know what stops at its end.
    before, p = np.zeros(6), after.pieces
    jumps(last, Pieces(p.start_s[-1:], p.end_s, np.zeros(1, np.int64), p.motion[-1:]), before)
    rest = Pieces(np.array([p.end_s]), end_s, np.zeros(1, np.int64), np.zeros((1, 4)))
    return Block(hold, rest, *jumps(hold, rest, before))


def cut(
    blocks: Iterable[Block], shaping: Shaping, start: Array, duration_s: float, longest_s: float, least_rest_s: float
) -> Iterator[Stretch]:
    """Stretches of a plan from 0 to duration_s.

    blocks: in order, the last one standing still.  start: (3,) m, where the tool stands before time 0.
    Only the blocks that a stretch needs are held, so that a plan of any length takes the same memory.
    """
    tail = max(shaping.tail_s)
    # Before time 0 the tool stands at the start: one hold that reaches back further than any shaper.
    before = Segments.empty(1)
    before.kind[0], before.geo[0, 0:3] = HOLD, start
    past = Pieces(np.array([-tail - 1.0]), 0.0, np.zeros(1, np.int64), np.zeros((1, 4)))
    held = Block(before, past, np.zeros((1, 3), np.bool_), np.zeros((1, 3), np.bool_))
    source = iter(blocks)
    t, known, ended = 0.0, 0.0, False
    changes: list[tuple[Array, Array]] = []
    jump_times = _jump_times(held)
    while t < duration_s - SAME_TIME_S:
        while not ended and t + longest_s > known:
            new = next(source, None)
            if new is None:
                ended, known = True, np.inf
            else:
                held = _joined(held, new, t - tail - least_rest_s - SAME_TIME_S)
                known = held.pieces.end_s - least_rest_s
                changes, jump_times = rest_changes(held, shaping, least_rest_s), _jump_times(held)
        stop = min(t + longest_s, duration_s)
        # A sliver at the very end is not worth a stretch of its own.
        if duration_s - stop < 1e-6:
            stop = duration_s
        resting = []
        for begin, end in changes:
            n = int(begin.searchsorted(t + SAME_TIME_S, side="right"))
            moving = n > 0 and end[n - 1] > t + SAME_TIME_S
            resting.append(not moving)
            if moving:
                stop = min(stop, float(end[n - 1]))
            elif n < len(begin):
                stop = min(stop, float(begin[n]))
        p = held.pieces
        i = max(int(p.start_s.searchsorted(t - tail - SAME_TIME_S, side="right")) - 1, 0)
        j = int(p.start_s.searchsorted(stop, side="right"))
        yield Stretch(
            t, stop, _breakpoints(jump_times, shaping, t, stop), (resting[0], resting[1], resting[2]),
            held.segments, p.start_s[i:j], p.segment[i:j], p.motion[i:j], shaping,
        )  # fmt: skip
        t = stop
