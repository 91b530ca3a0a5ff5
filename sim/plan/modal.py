"""What a motion program has set so far, and what one block of its words says: the modal state of ISO 6983 / RS-274."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ..compiled import formula
from .tokens import NOT_A_NUMBER, TOO_LARGE, known_code

Array = NDArray[np.float64]

# What can be wrong with what a program asks for; numbers go on where `words` ends.
REPEATED, BARE, NO_FEED, BAD_FEED, OUT_OF_REACH, NO_CENTRE, SMALL_RADIUS, OFF_CIRCLE, WRONG_PLANE = range(10, 19)
NO_MOTION_CODE, BAD_DWELL, NO_CHORD, UNKNOWN_MOTION, BEYOND_RIM = 19, 20, 21, 22, 23

# Places in the alphabet of the letters that mean something beside G and M.
E_WORD, F_WORD, I_WORD, J_WORD, P_WORD, R_WORD, S_WORD, X_WORD, Y_WORD, Z_WORD = 4, 5, 8, 9, 15, 17, 18, 23, 24, 25
FOLLOWED = (X_WORD, Y_WORD, Z_WORD, E_WORD, F_WORD, I_WORD, J_WORD, R_WORD, P_WORD, S_WORD)
G, M = ord("G"), ord("M")

MOST_UNKNOWN = 64
ANY = -1.0  # in the table of unknown codes: any number behind this letter


# What a reader of programs keeps is one array of five records, `s` below: compiled pieces hand a single array on at almost
# no cost, where each further one costs a count of who holds it; and plain Python reads it as fast.
SEEN, WORD, SAYS, SET, ROW = range(5)
# SEEN: column of each letter's word in the block at hand, 0 = none.  WORD: their values.
# SAYS: what the block at hand comes to. Its line and the column of its first word; its code of G0 to G3 and of G4, G28, G92,
# -1 = none, with the latter's column; whether a code means nothing here (STRANGE); column and number of a code that moves
# the tool and is not followed (MOVER); what is wrong (0: nothing), where, and two numbers with it; where it goes (3 numbers).
AT_LINE, BEGIN, G_MOVE, G_OTHER, OTHER_COLUMN, STRANGE, MOVER, MOVER_CODE, WHAT, WHERE, ONE, TWO, TARGET = range(13)
# SET: what the program has set so far, in SI. OFFSET: where its zero is.  E: as the program counts it.  MOTION: 0 to 3 as in
# G0 to G3, -1 = none yet.  CAPPED, LONG_WAITS: how many feeds were above the machine's speed and how many waits were long,
# with the first one's line.  TOP_SPEED: for G0, and the most for F.  REACH: lowest and highest of X, of Y, of Z.
# RIM: radius of a round reach about its middle, 0 for a rectangular one.
AT, OFFSET, E, FEED, UNIT, MOTION, ABSOLUTE, E_ABSOLUTE, PLANE, ENDED = 0, 3, 6, 7, 8, 9, 10, 11, 12, 13
CAPPED, CAPPED_LINE, LONG_WAITS, LONG_WAIT_LINE, LONG_WAIT_S, UNKNOWN_COUNT, TOP_SPEED, REACH = range(14, 22)
# ROW: one segment on its way into `Segments`.
KIND, DEPOSITING, LINE_OF, LENGTH, CURVATURE, SPEED, HOLD_S, TANGENT_IN, TANGENT_OUT, GEO = (
    0,
    1,
    2,
    3,
    4,
    5,
    6,
    7,
    10,
    13,
)
RIM = REACH + 6
WIDTH = RIM + 1


class State:
    """Where a program stands; before its first block: millimetres, absolute, in the XY plane, no motion code, no feed.

    records: (5, 29), see above.  unknown: (64, 4) codes that mean nothing here: letter, value, how often, first line.
    decimals: most digits behind a point so far, at least 3.
    """

    def __init__(self) -> None:
        self.records = np.zeros((5, WIDTH))
        self.modal[UNIT], self.modal[MOTION], self.modal[PLANE] = 1e-3, -1, 17
        self.modal[ABSOLUTE] = self.modal[E_ABSOLUTE] = 1
        self.unknown = np.zeros((MOST_UNKNOWN, 4))
        self.decimals = 3

    @property
    def modal(self) -> Array:
        """What the program has set so far, a view."""
        view: Array = self.records[SET]
        return view


@formula
def moves_tool(code: float) -> bool:
    """Whether a G code that is not followed moves the tool to its axis words (RS-274, from memory).

    G5 to G6 splines, G12 and G13 circles, G30 to G38 reference points, threads and probing, G73 to G89 canned cycles but
    for G80, which ends them.
    """
    return (5.0 <= code < 7.0 or 12.0 <= code < 14.0 or 30.0 <= code < 39.0 or 73.0 <= code < 90.0) and code != 80.0


@formula
def count_unknown(s: Array, unknown: Array, letter: float, value: float, line: float) -> None:
    """Count a code that means nothing here; when the table is full, under its last entry."""
    u, count = 0, int(s[SET, UNKNOWN_COUNT])
    while u < count and not (unknown[u, 0] == letter and unknown[u, 1] == value):
        u += 1
    if u < count:
        unknown[u, 2] += 1
    elif count < len(unknown):
        unknown[u, 0], unknown[u, 1], unknown[u, 2], unknown[u, 3] = letter, value, 1.0, line
        s[SET, UNKNOWN_COUNT] = count + 1
    else:
        unknown[count - 1, 2] += 1


@formula
def fail(s: Array, what: int, column: float, one: float, two: float) -> None:
    """Say what is wrong in the block at hand, where, and with which numbers."""
    s[SAYS, WHAT], s[SAYS, WHERE], s[SAYS, ONE], s[SAYS, TWO] = what, column, one, two


@formula
def set_mode(s: Array, code: int) -> None:
    """Do what a G code does that neither moves nor waits: plane, unit, absolute or relative."""
    if code <= 19:
        s[SET, PLANE] = code
    elif code <= 21:
        s[SET, UNIT] = 25.4e-3 if code == 20 else 1e-3
    else:
        s[SET, ABSOLUTE] = 1 if code == 90 else 0


@formula
def gather(
    letter: NDArray[np.uint8], value: Array, column: NDArray[np.int32], begin: int, end: int, s: Array, unknown: Array
) -> None:
    """Read the words from begin to end, one block (see `tokens.Words`): modes are set, the rest is put down in `s`."""
    s[SAYS, G_MOVE], s[SAYS, G_OTHER], s[SAYS, STRANGE], s[SAYS, MOVER], s[SAYS, WHAT] = -1, -1, 0, 0, 0
    s[SAYS, BEGIN] = column[begin]
    s[SEEN, :] = 0
    for w in range(begin, end):
        c, v = int(letter[w]), value[w]
        if c != G and c != M:
            k = c - 65
            if not s[SAYS, STRANGE]:
                followed = k in FOLLOWED
                if followed and s[SEEN, k]:
                    fail(s, REPEATED, float(column[w]), 0.0, 0.0)
                    return
                if not followed:
                    count_unknown(s, unknown, float(c), ANY, s[SAYS, AT_LINE])
            s[SEEN, k], s[WORD, k] = column[w], v
        elif v != v:  # a bare G or M
            fail(s, BARE, float(column[w]), 0.0, 0.0)
            return
        elif not known_code(c, v):
            s[SAYS, STRANGE] = 1
            if c == G and moves_tool(v):
                s[SAYS, MOVER], s[SAYS, MOVER_CODE] = column[w], v
            else:
                count_unknown(s, unknown, float(c), v, s[SAYS, AT_LINE])
        elif c == M:
            if v == 82.0 or v == 83.0:
                s[SET, E_ABSOLUTE] = 1 if v == 82.0 else 0
            elif v == 2.0 or v == 30.0:
                s[SET, ENDED] = 1
        elif v <= 3.0:
            s[SAYS, G_MOVE] = int(v)
        elif v <= 4.0 or v == 28.0 or v == 92.0:
            s[SAYS, G_OTHER], s[SAYS, OTHER_COLUMN] = int(v), column[w]
        else:
            set_mode(s, int(v))


@formula
def check_numbers(s: Array, homing: bool) -> None:
    """Refuse words without a number, or with one that is none or too large (minus and plus infinity, see `tokens`)."""
    for k in FOLLOWED:
        if s[SEEN, k] and math.isinf(s[WORD, k]):
            fail(s, TOO_LARGE if s[WORD, k] > 0.0 else NOT_A_NUMBER, s[SEEN, k], 0.0, 0.0)
            return
    # A word without its number says which axis goes home, and nothing else.
    for k in FOLLOWED:
        if s[SEEN, k] and s[WORD, k] != s[WORD, k] and not homing:
            fail(s, BARE, s[SEEN, k], 0.0, 0.0)
            return


@formula
def set_feed(s: Array) -> None:
    """Take over F, and count it where it is more than the machine can do."""
    feed = s[WORD, F_WORD]
    if not s[SEEN, F_WORD] or feed != feed:
        return
    if feed <= 0.0:
        fail(s, BAD_FEED, s[SEEN, F_WORD], feed, 0.0)
        return
    s[SET, FEED] = feed * s[SET, UNIT] / 60.0
    if s[SET, FEED] > s[SET, TOP_SPEED] * (1.0 + 1e-9):
        if s[SET, CAPPED] == 0:
            s[SET, CAPPED_LINE] = s[SAYS, AT_LINE]
        s[SET, CAPPED] += 1


@formula
def set_origin(s: Array) -> None:
    """G92: the place where the tool is gets these numbers; without any, all axes get zero."""
    named = s[SEEN, X_WORD] + s[SEEN, Y_WORD] + s[SEEN, Z_WORD] + s[SEEN, E_WORD]
    unit = s[SET, UNIT]
    for d in range(3):
        if s[SEEN, X_WORD + d] or named == 0:
            s[SET, OFFSET + d] = s[SET, AT + d] - (s[WORD, X_WORD + d] * unit if s[SEEN, X_WORD + d] else 0.0)
    if s[SEEN, E_WORD] or named == 0:
        s[SET, E] = s[WORD, E_WORD] * unit if s[SEEN, E_WORD] else 0.0


@formula
def push(s: Array) -> float:
    """Take over E; returns by how much it is pushed on, m."""
    if not s[SEEN, E_WORD]:
        return 0.0
    pushed = s[WORD, E_WORD] * s[SET, UNIT]
    if s[SET, E_ABSOLUTE]:
        pushed -= s[SET, E]
    s[SET, E] += pushed
    return float(pushed)
