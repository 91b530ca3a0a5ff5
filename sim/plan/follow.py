"""Words of a motion program -> segments: the modal state of ISO 6983 / RS-274, block by block.

Known: G0 G1 G2 G3 (I J or R) G4 G17 G20 G21 G28 G90 G91 G92, M82 M83, M2 M30 (end), M0 M1 (nothing to simulate).
G18 and G19 are understood so far that an arc under them is refused. A block with an unknown code and no motion code of
its own moves nothing: its axis words belong to that code. Where that code is one that moves the tool (RS-274: splines,
probing, canned cycles, ...) it is refused, since everything after it would be somewhere else.

Chosen where the standards leave room: coordinates are the machine's, X0 Y0 Z0 the corner of the reach (of a round
one its middle, at the bottom); G28 goes
straight to zero on the axes it names (on all, if none) at full speed; G4 waits P or S seconds (RS-274: P in seconds);
a move of E alone holds the tool still for |E| / F; G91 leaves the mode of E alone, which M82 and M83 set.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..compiled import compiled, for_size, formula
from .segments import ARC, HOLD, LINE, Segments, put_arc
from .tokens import NOT_A_NUMBER, TOO_LARGE, Words, known_code

Array = NDArray[np.float64]

# What can be wrong with what a program asks for; numbers go on where `words` ends.
REPEATED, BARE, NO_FEED, BAD_FEED, OUT_OF_REACH, NO_CENTRE, SMALL_RADIUS, OFF_CIRCLE, WRONG_PLANE = range(10, 19)
NO_MOTION_CODE, BAD_DWELL, NO_CHORD, UNKNOWN_MOTION, BEYOND_RIM = 19, 20, 21, 22, 23

# Positions in the state arrays.
X, OFFSET, E, FEED, UNIT = 0, 3, 6, 7, 8
MOTION, ABSOLUTE, E_ABSOLUTE, PLANE, ENDED, CAPPED, CAPPED_LINE, UNKNOWN = 0, 1, 2, 3, 4, 5, 6, 7
LONG_WAITS, LONG_WAIT_LINE, LONG_WAIT_S = 8, 9, 9

# An end point may lie this far off the reach (rounding of the last digit), and an arc's end off its circle: centre
# words are rounded too, so the centre is moved until the arc ends where the program says.
REACH_SLACK_M = 1e-6
CIRCLE_SLACK_M = 1e-5
CIRCLE_SLACK_SHARE = 1e-3
# An arc given by its centre that ends this near its start is a whole turn.
SAME_POINT_M = 1e-9
MOST_UNKNOWN = 64
ANY = -1.0  # in the table of unknown codes: any number behind this letter
LONGEST_DWELL_S = 86400.0
# A wait this long is worth a word: whoever thinks in milliseconds writes P500 for half a second.
NOTED_DWELL_S = 20.0


@dataclass
class State:
    """What a program has set so far. real: (10,), whole: (10,), see the positions above.

    unknown: (64, 4): letter, value, how often, first line.  decimals: most digits behind a point so far, at least 3.
    """

    real: Array = field(default_factory=lambda: np.array([0.0] * 8 + [1e-3, 0.0]))
    whole: NDArray[np.int64] = field(default_factory=lambda: np.array([-1, 1, 1, 17, 0, 0, 0, 0, 0, 0], dtype=np.int64))
    unknown: Array = field(default_factory=lambda: np.zeros((MOST_UNKNOWN, 4)))
    decimals: int = 3


@formula
def moves_tool(code: float) -> bool:
    """Whether a G code that is not followed moves the tool to its axis words (RS-274, from memory).

    G5 to G6 splines, G12 and G13 circles, G30 to G38 reference points, threads and probing, G73 to G89 canned cycles but
    for G80, which ends them.
    """
    return (5.0 <= code < 7.0 or 12.0 <= code < 14.0 or 30.0 <= code < 39.0 or 73.0 <= code < 90.0) and code != 80.0


@formula
def count_unknown(unknown: Array, whole: NDArray[np.int64], letter: int, value: float, line: int) -> None:
    """Count a code that means nothing here; when the table is full, under its last entry."""
    u, count = 0, whole[UNKNOWN]
    while u < count and not (unknown[u, 0] == letter and unknown[u, 1] == value):
        u += 1
    if u < count:
        unknown[u, 2] += 1
    elif count < len(unknown):
        unknown[u, 0], unknown[u, 1], unknown[u, 2], unknown[u, 3] = letter, value, 1.0, line
        whole[UNKNOWN] += 1
    else:
        unknown[count - 1, 2] += 1


@compiled
def follow_blocks(
    letter: NDArray[np.uint8], value: Array, column: NDArray[np.int32], first: NDArray[np.int64],
    lines: NDArray[np.int64], real: Array, whole: NDArray[np.int64], unknown: Array, reach: Array, rim_m: float, top_speed: float,
    kind: NDArray[np.int8], geo: Array, length: Array, tangent_in: Array, tangent_out: Array, curvature: Array,
    speed: Array, hold_s: Array, depositing: NDArray[np.bool_], line: NDArray[np.int32], fault: Array,
) -> int:  # fmt: skip
    """Fill segment arrays from blocks of words, at most one segment a block; returns how many.

    reach: (3, 2) m.  rim_m: radius of a round reach about its middle, 0 for a rectangular one.  top_speed: m/s, for G0 and as
    the limit of F.  fault: (5,) what, line, column and two numbers of the first thing that is wrong; blocks before it are done.
    """
    n = 0
    seen = np.zeros(26, np.int64)  # column of each letter's word in this block, 0 = none
    word = np.zeros(26)
    target = np.zeros(3)
    fx, fy, fz, fe, ff, fi, fj, fr, fp, fs = 23, 24, 25, 4, 5, 8, 9, 17, 15, 18
    for block in range(len(lines)):
        if whole[ENDED]:
            break
        at_line, begin, end = lines[block], first[block], first[block + 1]
        seen[:] = 0
        motion, special, special_column, strange, moved_code = -1, -1, 0, False, False
        mover = 0  # column of a code that moves the tool and is not followed
        fault[1] = at_line
        for w in range(begin, end):
            c, v = int(letter[w]), value[w]
            if c == 71 or c == 77:
                if v != v:  # a bare G or M
                    fault[0], fault[2] = BARE, column[w]
                    return n
                if not known_code(c, v):
                    strange = True
                    if c == 71 and moves_tool(v):
                        mover, fault[3] = column[w], v
                        continue
                    count_unknown(unknown, whole, c, v, at_line)
                    continue
                code = int(v)
                if c == 77:
                    if code == 82 or code == 83:
                        whole[E_ABSOLUTE] = 1 if code == 82 else 0
                    elif code == 2 or code == 30:
                        whole[ENDED] = 1
                elif code <= 3:
                    motion, moved_code = code, True
                elif code <= 4 or code == 28 or code == 92:
                    special, special_column = code, column[w]
                elif code <= 19:
                    whole[PLANE] = code
                elif code <= 21:
                    real[UNIT] = 25.4e-3 if code == 20 else 1e-3
                else:
                    whole[ABSOLUTE] = 1 if code == 90 else 0
            else:
                k = c - 65
                if seen[k] and not strange and k in (fx, fy, fz, fe, ff, fi, fj, fr, fp, fs):
                    fault[0], fault[2] = REPEATED, column[w]
                    return n
                if not strange and k not in (fx, fy, fz, fe, ff, fi, fj, fr, fp, fs):
                    count_unknown(unknown, whole, c, ANY, at_line)
                seen[k], word[k] = column[w], v
        if mover and (seen[fx] or seen[fy] or seen[fz]):
            fault[0], fault[2] = UNKNOWN_MOTION, mover
            return n
        if mover:
            count_unknown(unknown, whole, 71, fault[3], at_line)
        if moved_code:
            whole[MOTION] = motion
        if strange and not moved_code:
            continue
        for k in (fx, fy, fz, fe, ff, fi, fj, fr, fp, fs):
            if seen[k] and math.isinf(word[k]):
                fault[0], fault[2] = TOO_LARGE if word[k] > 0.0 else NOT_A_NUMBER, seen[k]
                return n
        unit = real[UNIT]
        # A word without its number says which axis goes home, and nothing else.
        for k in (fx, fy, fz, fe, ff, fi, fj, fr, fp, fs):
            if seen[k] and word[k] != word[k] and special != 28:
                fault[0], fault[2] = BARE, seen[k]
                return n
        if seen[ff] and word[ff] == word[ff]:
            if word[ff] <= 0.0:
                fault[0], fault[2], fault[3] = BAD_FEED, seen[ff], word[ff]
                return n
            real[FEED] = word[ff] * unit / 60.0
            if real[FEED] > top_speed * (1.0 + 1e-9):
                if whole[CAPPED] == 0:
                    whole[CAPPED_LINE] = at_line
                whole[CAPPED] += 1
        if special == 92:
            named = seen[fx] + seen[fy] + seen[fz] + seen[fe]
            for d in range(3):
                if seen[fx + d] or named == 0:
                    real[OFFSET + d] = real[X + d] - (word[fx + d] * unit if seen[fx + d] else 0.0)
            if seen[fe] or named == 0:
                real[E] = word[fe] * unit if seen[fe] else 0.0
            continue
        if special == 4:
            wait = word[fp] if seen[fp] else (word[fs] if seen[fs] else -1.0)
            if not 0.0 <= wait <= LONGEST_DWELL_S:
                fault[0], fault[2], fault[3] = BAD_DWELL, special_column, wait
                return n
            if wait >= NOTED_DWELL_S and seen[fp]:
                if whole[LONG_WAITS] == 0:
                    whole[LONG_WAIT_LINE], real[LONG_WAIT_S] = at_line, wait
                whole[LONG_WAITS] += 1
            if wait > 0.0:
                kind[n], hold_s[n], depositing[n], line[n] = HOLD, wait, False, at_line
                for d in range(3):
                    geo[n, d] = real[X + d]
                n += 1
            continue
        if special == 28:
            named = seen[fx] + seen[fy] + seen[fz]
            for d in range(3):
                target[d] = 0.0 if seen[fx + d] or named == 0 else real[X + d]
            mode, rapid = 0, True
        else:
            mode = whole[MOTION]
            turning = (mode == 2 or mode == 3) and (seen[fi] or seen[fj] or seen[fr])
            if mode >= 2 and not (turning or seen[fx] or seen[fy] or seen[fz]):
                mode = 1  # E alone
            if not (seen[fx] or seen[fy] or seen[fz] or seen[fe] or turning):
                continue
            if mode < 0:
                if not (seen[fx] or seen[fy] or seen[fz]):
                    continue
                fault[0], fault[2] = NO_MOTION_CODE, max(seen[fx], max(seen[fy], seen[fz]))
                return n
            for d in range(3):
                target[d] = real[X + d]
                if seen[fx + d]:
                    step = word[fx + d] * unit
                    target[d] = step + (real[OFFSET + d] if whole[ABSOLUTE] else real[X + d])
            rapid = mode == 0
        pushed = 0.0
        if seen[fe] and special != 28:
            pushed = word[fe] * unit
            if whole[E_ABSOLUTE]:
                pushed -= real[E]
            real[E] += pushed
        if not rapid and real[FEED] == 0.0:
            fault[0], fault[2] = NO_FEED, column[begin]
            return n
        pace = top_speed if rapid else min(real[FEED], top_speed)
        for d in range(3):
            if not reach[d, 0] - REACH_SLACK_M <= target[d] <= reach[d, 1] + REACH_SLACK_M:
                fault[0], fault[3], fault[4] = OUT_OF_REACH, d, target[d]
                fault[2] = seen[fx + d] if seen[fx + d] else column[begin]
                return n
        mx, my = 0.5 * (reach[0, 0] + reach[0, 1]), 0.5 * (reach[1, 0] + reach[1, 1])
        far = math.hypot(target[0] - mx, target[1] - my)
        if rim_m > 0.0 and far > rim_m + REACH_SLACK_M:
            fault[0], fault[2], fault[3] = BEYOND_RIM, column[begin], far
            return n
        dx, dy, dz = target[0] - real[X], target[1] - real[X + 1], target[2] - real[X + 2]
        if mode >= 2:
            if whole[PLANE] != 17:
                fault[0], fault[2], fault[3] = WRONG_PLANE, column[begin], whole[PLANE]
                return n
            chord = math.hypot(dx, dy)
            sense = 1.0 if mode == 3 else -1.0
            if seen[fr]:
                radius = abs(word[fr]) * unit
                if chord <= SAME_POINT_M:
                    fault[0], fault[2] = NO_CHORD, seen[fr]
                    return n
                rise2 = radius * radius - 0.25 * chord * chord
                if radius < 0.5 * chord - CIRCLE_SLACK_M - CIRCLE_SLACK_SHARE * radius:
                    fault[0], fault[2], fault[3], fault[4] = SMALL_RADIUS, seen[fr], radius, 0.5 * chord
                    return n
                # The shorter way round for R above zero, the longer for R below.
                h = math.sqrt(max(rise2, 0.0)) * sense * (1.0 if word[fr] > 0.0 else -1.0)
                cx = real[X] + 0.5 * dx - h * dy / chord
                cy = real[X + 1] + 0.5 * dy + h * dx / chord
            elif seen[fi] or seen[fj]:
                cx = real[X] + (word[fi] * unit if seen[fi] else 0.0)
                cy = real[X + 1] + (word[fj] * unit if seen[fj] else 0.0)
                r0 = math.hypot(real[X] - cx, real[X + 1] - cy)
                r1 = math.hypot(target[0] - cx, target[1] - cy)
                off = abs(r1 - r0)
                if r0 == 0.0 or off > CIRCLE_SLACK_M + CIRCLE_SLACK_SHARE * max(r0, r1):
                    fault[0], fault[3], fault[4] = OFF_CIRCLE, r0, r1
                    fault[2] = seen[fi] if seen[fi] else seen[fj]
                    return n
                if chord > SAME_POINT_M and off > 0.0:
                    # Slide the centre along the chord's direction onto its perpendicular bisector.
                    slide = ((cx - real[X] - 0.5 * dx) * dx + (cy - real[X + 1] - 0.5 * dy) * dy) / (chord * chord)
                    cx, cy = cx - slide * dx, cy - slide * dy
            else:
                fault[0], fault[2] = NO_CENTRE, column[begin]
                return n
            a0 = math.atan2(real[X + 1] - cy, real[X] - cx)
            turn = (math.atan2(target[1] - cy, target[0] - cx) - a0) * sense
            if chord <= SAME_POINT_M:
                turn = math.tau
            elif turn <= 0.0:
                turn += math.tau
            radius = math.hypot(real[X] - cx, real[X + 1] - cy)
            # Where the circle crosses its own axes on the way, it may leave the reach between its ends.
            for quarter in range(4):
                if ((0.5 * math.pi * quarter - a0) * sense) % math.tau <= turn:
                    d = quarter % 2
                    far = (cx if d == 0 else cy) + (radius if quarter < 2 else -radius)
                    if not reach[d, 0] - REACH_SLACK_M <= far <= reach[d, 1] + REACH_SLACK_M:
                        fault[0], fault[2], fault[3], fault[4] = OUT_OF_REACH, column[begin], d, far
                        return n
            if rim_m > 0.0:
                # Of the whole circle the place away from the middle is the farthest; is it on the way?
                away = math.hypot(cx - mx, cy - my)
                there = math.atan2(cy - my, cx - mx)
                if ((there - a0) * sense) % math.tau <= turn and away + radius > rim_m + REACH_SLACK_M:
                    fault[0], fault[2], fault[3] = BEYOND_RIM, column[begin], away + radius
                    return n
            if radius * turn > 0.0:
                put_arc(
                    geo, length, tangent_in, tangent_out, curvature, n, real[X], real[X + 1], real[X + 2],
                    cx, cy, sense * turn, dz,
                )  # fmt: skip
                kind[n], speed[n], depositing[n], line[n] = ARC, pace, pushed > 0.0, at_line
                n += 1
        else:
            far = math.sqrt(dx * dx + dy * dy + dz * dz)
            if far > 0.0:
                kind[n], length[n], speed[n], depositing[n], line[n] = LINE, far, pace, pushed > 0.0, at_line
                curvature[n] = 0.0
                for d in range(3):
                    geo[n, d] = real[X + d]
                geo[n, 3], geo[n, 4], geo[n, 5] = dx / far, dy / far, dz / far
                for d in range(3):
                    tangent_in[n, d] = tangent_out[n, d] = geo[n, 3 + d]
                n += 1
            elif pushed != 0.0 and real[FEED] > 0.0 and not rapid:
                kind[n], hold_s[n], depositing[n], line[n] = HOLD, abs(pushed) / real[FEED], False, at_line
                for d in range(3):
                    geo[n, d] = real[X + d]
                n += 1
        for d in range(3):
            real[X + d] = target[d]
    fault[1] = 0
    return n


def segments_of(
    words: Words, state: State, reach: Array, top_speed_m_s: float, acceleration_m_s2: float, rim_m: float = 0.0
) -> tuple[Segments, Array]:
    """Segments of a stretch of words, and what is wrong in it: (5,), the first number 0 for nothing.

    reach: (3, 2) m.  rim_m: radius of a round reach, 0 for a rectangular one.  state is carried on.
    """
    out, fault = Segments.empty(len(words.line)), np.zeros(5)
    loop = for_size(follow_blocks, len(words.line))
    n = loop(
        words.letter, words.value, words.column, words.first, words.line, state.real, state.whole, state.unknown,
        reach, rim_m, top_speed_m_s, out.kind, out.geo, out.length_m, out.tangent_in, out.tangent_out, out.curvature,
        out.speed_m_s, out.hold_s, out.depositing, out.line, fault,
    )  # fmt: skip
    out.acceleration_m_s2[:] = acceleration_m_s2
    return out[:n], fault
