"""Words of a motion program -> segments: the modal state of ISO 6983 / RS-274, block by block.

Known: G0 G1 G2 G3 (I J or R) G4 G17 G20 G21 G28 G90 G91 G92, M82 M83, M2 M30 (end), M0 M1 (nothing to simulate).
G18 and G19 are understood so far that an arc under them is refused. A block with an unknown code and no motion code of
its own moves nothing: its axis words belong to that code. Where that code is one that moves the tool (RS-274: splines,
probing, canned cycles, ...) it is refused, since everything after it would be somewhere else.

Chosen where the standards leave room: coordinates are the machine's, X0 Y0 Z0 the corner of the reach; G28 goes
straight to zero on the axes it names (on all, if none) at full speed; G4 waits P or S seconds (RS-274: P in seconds);
a move of E alone holds the tool still for |E| / F; G91 leaves the mode of E alone, which M82 and M83 set.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ..compiled import compiled, for_size, formula
from .arcs import beyond_rim, circle_of, from_middle, within_reach
from .modal import (
    ABSOLUTE,
    AT,
    AT_LINE,
    BAD_DWELL,
    BEGIN,
    CURVATURE,
    DEPOSITING,
    E_WORD,
    ENDED,
    FEED,
    G_MOVE,
    G_OTHER,
    GEO,
    HOLD_S,
    I_WORD,
    J_WORD,
    KIND,
    LENGTH,
    LINE_OF,
    LONG_WAIT_LINE,
    LONG_WAIT_S,
    LONG_WAITS,
    MOTION,
    MOVER,
    MOVER_CODE,
    NO_FEED,
    NO_MOTION_CODE,
    OFFSET,
    ONE,
    OTHER_COLUMN,
    OUT_OF_REACH,
    P_WORD,
    R_WORD,
    REACH,
    RIM,
    ROW,
    S_WORD,
    SAYS,
    SEEN,
    SET,
    SPEED,
    STRANGE,
    TANGENT_IN,
    TANGENT_OUT,
    TARGET,
    TOP_SPEED,
    TWO,
    UNIT,
    UNKNOWN_MOTION,
    WHAT,
    WHERE,
    WORD,
    X_WORD,
    Y_WORD,
    Z_WORD,
    G,
    State,
    check_numbers,
    count_unknown,
    fail,
    gather,
    push,
    set_feed,
    set_origin,
)
from .segments import ARC, GEO_WIDTH, HOLD, LINE, NO_WAY_M, Segments, put_arc
from .tokens import Words

Array = NDArray[np.float64]

LONGEST_DWELL_S = 86400.0
# A wait this long is worth a word: whoever thinks in milliseconds writes P500 for half a second.
NOTED_DWELL_S = 20.0
# G codes that are done at once, and what a block comes to that goes nowhere.
WAIT, HOME, ORIGIN = 4, 28, 92
NOWHERE = -1


@formula
def put_hold(s: Array, seconds: float) -> None:
    """Stand still where the tool is."""
    s[ROW, KIND], s[ROW, HOLD_S], s[ROW, DEPOSITING], s[ROW, LINE_OF] = HOLD, seconds, False, s[SAYS, AT_LINE]
    for d in range(3):
        s[ROW, GEO + d] = s[SET, AT + d]


@formula
def put_wait(s: Array) -> bool:
    """G4: wait for P or S seconds; returns whether the row is filled."""
    wait = s[WORD, P_WORD] if s[SEEN, P_WORD] else (s[WORD, S_WORD] if s[SEEN, S_WORD] else -1.0)
    if not 0.0 <= wait <= LONGEST_DWELL_S:
        fail(s, BAD_DWELL, s[SAYS, OTHER_COLUMN], wait, 0.0)
        return False
    if wait >= NOTED_DWELL_S and s[SEEN, P_WORD]:
        if s[SET, LONG_WAITS] == 0:
            s[SET, LONG_WAIT_LINE], s[SET, LONG_WAIT_S] = s[SAYS, AT_LINE], wait
        s[SET, LONG_WAITS] += 1
    if wait > 0.0:
        put_hold(s, wait)
    return wait > 0.0


@formula
def aim(s: Array) -> int:
    """Put down where a block goes; returns how, 0 to 3 as in G0 to G3, or `NOWHERE`."""
    named = s[SEEN, X_WORD] + s[SEEN, Y_WORD] + s[SEEN, Z_WORD]
    if s[SAYS, G_OTHER] == HOME:
        for d in range(3):
            s[SAYS, TARGET + d] = 0.0 if s[SEEN, X_WORD + d] or named == 0 else s[SET, AT + d]
        return 0
    mode = int(s[SET, MOTION])
    turning = (mode == 2 or mode == 3) and (s[SEEN, I_WORD] + s[SEEN, J_WORD] + s[SEEN, R_WORD] > 0)
    if mode >= 2 and not (turning or named):
        mode = 1  # E alone
    if not (named or s[SEEN, E_WORD] or turning):
        return NOWHERE
    if mode < 0:
        if named:
            fail(s, NO_MOTION_CODE, max(s[SEEN, X_WORD], max(s[SEEN, Y_WORD], s[SEEN, Z_WORD])), 0.0, 0.0)
        return NOWHERE
    for d in range(3):
        s[SAYS, TARGET + d] = s[SET, AT + d]
        if s[SEEN, X_WORD + d]:
            step = s[WORD, X_WORD + d] * s[SET, UNIT]
            s[SAYS, TARGET + d] = step + (s[SET, OFFSET + d] if s[SET, ABSOLUTE] else s[SET, AT + d])
    return mode


@formula
def put_line(s: Array, pace: float, pushed: float) -> bool:
    """Straight to the target; returns whether the row is filled."""
    dx, dy, dz = (
        s[SAYS, TARGET] - s[SET, AT],
        s[SAYS, TARGET + 1] - s[SET, AT + 1],
        s[SAYS, TARGET + 2] - s[SET, AT + 2],
    )
    far = math.sqrt(dx * dx + dy * dy + dz * dz)
    if far < NO_WAY_M:
        return False
    s[ROW, KIND], s[ROW, LENGTH], s[ROW, SPEED], s[ROW, DEPOSITING], s[ROW, LINE_OF] = (
        LINE,
        far,
        pace,
        pushed > 0.0,
        s[SAYS, AT_LINE],
    )
    for d in range(3):
        s[ROW, GEO + d] = s[SET, AT + d]
    s[ROW, GEO + 3], s[ROW, GEO + 4], s[ROW, GEO + 5] = dx / far, dy / far, dz / far
    for d in range(3):
        s[ROW, TANGENT_IN + d] = s[ROW, TANGENT_OUT + d] = s[ROW, GEO + 3 + d]
    return True


@formula
def put_turn(s: Array, pace: float, pushed: float, sense: float) -> bool:
    """Round to the target, counter-clockwise with sense 1; returns whether the row is filled."""
    cx, cy, radius, turn = circle_of(s, sense)
    if s[SAYS, WHAT] or radius * turn == 0.0:
        return False
    s[ROW, LENGTH], s[ROW, CURVATURE] = put_arc(
        s[ROW, GEO:], s[ROW, TANGENT_IN:TANGENT_OUT], s[ROW, TANGENT_OUT:GEO],
        s[SET, AT], s[SET, AT + 1], s[SET, AT + 2], cx, cy, sense * turn, s[SAYS, TARGET + 2] - s[SET, AT + 2],
    )  # fmt: skip
    s[ROW, KIND], s[ROW, SPEED], s[ROW, DEPOSITING], s[ROW, LINE_OF] = ARC, pace, pushed > 0.0, s[SAYS, AT_LINE]
    return True


@formula
def put_move(s: Array, mode: int) -> bool:
    """Go to the target as in G0 to G3; returns whether the row is filled."""
    pushed = 0.0 if s[SAYS, G_OTHER] == HOME else push(s)
    if mode > 0 and s[SET, FEED] == 0.0:
        fail(s, NO_FEED, s[SAYS, BEGIN], 0.0, 0.0)
        return False
    for d in range(3):
        if not within_reach(s, d, s[SAYS, TARGET + d]):
            column = s[SEEN, X_WORD + d] if s[SEEN, X_WORD + d] else s[SAYS, BEGIN]
            fail(s, OUT_OF_REACH, column, float(d), s[SAYS, TARGET + d])
            return False
    mx, my = from_middle(s, s[SAYS, TARGET], s[SAYS, TARGET + 1])
    if beyond_rim(s, math.hypot(mx, my), s[SAYS, BEGIN]):
        return False
    pace = min(s[SET, FEED], s[SET, TOP_SPEED]) if mode > 0 else s[SET, TOP_SPEED]
    moved = put_turn(s, pace, pushed, 1.0 if mode == 3 else -1.0) if mode >= 2 else put_line(s, pace, pushed)
    holds = not moved and mode == 1 and pushed != 0.0
    if holds:
        put_hold(s, abs(pushed) / s[SET, FEED])
    if moved:
        for d in range(3):
            s[SET, AT + d] = s[SAYS, TARGET + d]
    return moved or holds


@formula
def put_block(s: Array, unknown: Array) -> bool:
    """Do what one gathered block says; returns whether the row is filled."""
    if s[SAYS, MOVER] and (s[SEEN, X_WORD] or s[SEEN, Y_WORD] or s[SEEN, Z_WORD]):
        fail(s, UNKNOWN_MOTION, s[SAYS, MOVER], s[SAYS, MOVER_CODE], 0.0)
        return False
    if s[SAYS, MOVER]:
        count_unknown(s, unknown, float(G), s[SAYS, MOVER_CODE], s[SAYS, AT_LINE])
    if s[SAYS, G_MOVE] >= 0:
        s[SET, MOTION] = s[SAYS, G_MOVE]
    elif s[SAYS, STRANGE]:
        return False
    check_numbers(s, s[SAYS, G_OTHER] == HOME)
    if not s[SAYS, WHAT]:
        set_feed(s)
    if s[SAYS, WHAT]:
        return False
    if s[SAYS, G_OTHER] == ORIGIN:
        set_origin(s)
        return False
    if s[SAYS, G_OTHER] == WAIT:
        return put_wait(s)
    mode = aim(s)
    return mode != NOWHERE and put_move(s, mode)


@compiled
def follow_blocks(
    letter: NDArray[np.uint8], value: Array, column: NDArray[np.int32], first: NDArray[np.int64],
    line: NDArray[np.int64], s: Array, unknown: Array, kind: NDArray[np.int8], depositing: NDArray[np.bool_],
    line_of: NDArray[np.int32], length: Array, curvature: Array, speed: Array, hold_s: Array, tangent_in: Array,
    tangent_out: Array, geo: Array,
) -> int:  # fmt: skip
    """Fill segments from blocks of words (see `tokens.Words`), at most one a block; returns how many.

    kind and what follows: the arrays of `Segments`. Ends at the first block that is wrong, which is then in `s`.
    """
    n = 0
    for block in range(len(line)):
        if s[SET, ENDED]:
            break
        s[SAYS, AT_LINE] = line[block]
        gather(letter, value, column, first[block], first[block + 1], s, unknown)
        filled = not s[SAYS, WHAT] and put_block(s, unknown)
        if s[SAYS, WHAT]:
            break
        if not filled:
            continue
        kind[n], depositing[n], line_of[n] = int(s[ROW, KIND]), s[ROW, DEPOSITING] != 0.0, int(s[ROW, LINE_OF])
        length[n], curvature[n], speed[n], hold_s[n] = s[ROW, LENGTH], s[ROW, CURVATURE], s[ROW, SPEED], s[ROW, HOLD_S]
        for d in range(3):
            tangent_in[n, d], tangent_out[n, d] = s[ROW, TANGENT_IN + d], s[ROW, TANGENT_OUT + d]
        for d in range(GEO_WIDTH):
            geo[n, d] = s[ROW, GEO + d]
        s[ROW, :] = 0.0
        n += 1
    return n


def segments_of(
    words: Words, state: State, reach: Array, top_speed_m_s: float, acceleration_m_s2: float, rim_m: float = 0.0
) -> tuple[Segments, Array]:
    """Segments of a stretch of words, and what is wrong in it: (5,) what, line, column, two numbers; 0 for nothing.

    reach: (3, 2) m.  rim_m: radius of a round reach, 0: it is rectangular.  state is carried on.
    """
    count = len(words.line)
    out = Segments.empty(count)
    state.modal[REACH:RIM], state.modal[TOP_SPEED], state.modal[RIM] = reach.ravel(), top_speed_m_s, rim_m
    n = for_size(follow_blocks, count)(
        words.letter, words.value, words.column, words.first, words.line, state.records, state.unknown,
        out.kind, out.depositing, out.line, out.length_m, out.curvature, out.speed_m_s, out.hold_s,
        out.tangent_in, out.tangent_out, out.geo,
    )  # fmt: skip
    out.acceleration_m_s2[:] = acceleration_m_s2
    return out[:n], state.records[SAYS, [WHAT, AT_LINE, WHERE, ONE, TWO]]
