"""An arc of a motion program, by centre or by radius: from its words to its circle. After ISO 6983 / RS-274."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ..compiled import formula
from .modal import (
    AT,
    BEGIN,
    BEYOND_RIM,
    I_WORD,
    J_WORD,
    NO_CENTRE,
    NO_CHORD,
    OFF_CIRCLE,
    OUT_OF_REACH,
    PLANE,
    R_WORD,
    REACH,
    RIM,
    SAYS,
    SEEN,
    SET,
    SMALL_RADIUS,
    TARGET,
    UNIT,
    WHAT,
    WORD,
    WRONG_PLANE,
    fail,
)

Array = NDArray[np.float64]

# An end point may lie this far off the reach (rounding of the last digit), and an arc's end off its circle: centre
# words are rounded too, so the centre is moved until the arc ends where the program says.
REACH_SLACK_M = 1e-6
CIRCLE_SLACK_M = 1e-5
CIRCLE_SLACK_SHARE = 1e-3
# An arc given by its centre that ends this near its start is a whole turn.
SAME_POINT_M = 1e-9


@formula
def within_reach(s: Array, d: int, place: float) -> bool:
    """Whether the tool can be at this place along axis d, m."""
    return bool(s[SET, REACH + 2 * d] - REACH_SLACK_M <= place <= s[SET, REACH + 2 * d + 1] + REACH_SLACK_M)


@formula
def from_middle(s: Array, x: float, y: float) -> tuple[float, float]:
    """A place less the middle of the reach in X and Y, m."""
    return x - 0.5 * (s[SET, REACH] + s[SET, REACH + 1]), y - 0.5 * (s[SET, REACH + 2] + s[SET, REACH + 3])


@formula
def beyond_rim(s: Array, far: float, column: float) -> bool:
    """Whether a place so far from the middle, m, lies outside a round reach; it is then what is wrong."""
    beyond = s[SET, RIM] > 0.0 and far > s[SET, RIM] + REACH_SLACK_M
    if beyond:
        fail(s, BEYOND_RIM, column, far, 0.0)
    return bool(beyond)


@formula
def centre_by_radius(s: Array, chord: float, sense: float) -> tuple[float, float]:
    """Centre of an arc to the block's target by its R, m."""
    asked = s[WORD, R_WORD]
    dx, dy = s[SAYS, TARGET] - s[SET, AT], s[SAYS, TARGET + 1] - s[SET, AT + 1]
    radius = abs(asked) * s[SET, UNIT]
    if chord <= SAME_POINT_M:
        fail(s, NO_CHORD, s[SEEN, R_WORD], 0.0, 0.0)
        return 0.0, 0.0
    rise2 = radius * radius - 0.25 * chord * chord
    if radius < 0.5 * chord - CIRCLE_SLACK_M - CIRCLE_SLACK_SHARE * radius:
        fail(s, SMALL_RADIUS, s[SEEN, R_WORD], radius, 0.5 * chord)
        return 0.0, 0.0
    # The shorter way round for R above zero, the longer for R below.
    h = math.sqrt(max(rise2, 0.0)) * sense * (1.0 if asked > 0.0 else -1.0)
    return s[SET, AT] + 0.5 * dx - h * dy / chord, s[SET, AT + 1] + 0.5 * dy + h * dx / chord


@formula
def centre_by_offset(s: Array, chord: float) -> tuple[float, float]:
    """Centre of an arc to the block's target by its I and J, m, moved until the arc ends there."""
    x, y, unit = s[SET, AT], s[SET, AT + 1], s[SET, UNIT]
    cx = x + (s[WORD, I_WORD] * unit if s[SEEN, I_WORD] else 0.0)
    cy = y + (s[WORD, J_WORD] * unit if s[SEEN, J_WORD] else 0.0)
    r0 = math.hypot(x - cx, y - cy)
    r1 = math.hypot(s[SAYS, TARGET] - cx, s[SAYS, TARGET + 1] - cy)
    off = abs(r1 - r0)
    if r0 == 0.0 or off > CIRCLE_SLACK_M + CIRCLE_SLACK_SHARE * max(r0, r1):
        fail(s, OFF_CIRCLE, s[SEEN, I_WORD] if s[SEEN, I_WORD] else s[SEEN, J_WORD], r0, r1)
    elif chord > SAME_POINT_M and off > 0.0:
        # Slide the centre along the chord's direction onto its perpendicular bisector.
        dx, dy = s[SAYS, TARGET] - x, s[SAYS, TARGET + 1] - y
        slide = ((cx - x - 0.5 * dx) * dx + (cy - y - 0.5 * dy) * dy) / (chord * chord)
        cx, cy = cx - slide * dx, cy - slide * dy
    return cx, cy


@formula
def circle_of(s: Array, sense: float) -> tuple[float, float, float, float]:
    """(centre x, centre y, radius m, turn rad > 0) of the arc to the block's target; sense 1 is counter-clockwise."""
    if s[SET, PLANE] != 17:
        fail(s, WRONG_PLANE, s[SAYS, BEGIN], s[SET, PLANE], 0.0)
        return 0.0, 0.0, 0.0, 0.0
    x, y = s[SET, AT], s[SET, AT + 1]
    chord = math.hypot(s[SAYS, TARGET] - x, s[SAYS, TARGET + 1] - y)
    cx, cy = 0.0, 0.0
    if s[SEEN, R_WORD]:
        cx, cy = centre_by_radius(s, chord, sense)
    elif s[SEEN, I_WORD] or s[SEEN, J_WORD]:
        cx, cy = centre_by_offset(s, chord)
    else:
        fail(s, NO_CENTRE, s[SAYS, BEGIN], 0.0, 0.0)
    if s[SAYS, WHAT]:
        return 0.0, 0.0, 0.0, 0.0
    a0 = math.atan2(y - cy, x - cx)
    turn = (math.atan2(s[SAYS, TARGET + 1] - cy, s[SAYS, TARGET] - cx) - a0) * sense
    if chord <= SAME_POINT_M:
        turn = math.tau
    elif turn <= 0.0:
        turn += math.tau
    radius = math.hypot(x - cx, y - cy)
    # Where the circle crosses its own axes on the way, it may leave the reach between its ends.
    for quarter in range(4):
        if ((0.5 * math.pi * quarter - a0) * sense) % math.tau <= turn:
            d = quarter % 2
            far = (cx if d == 0 else cy) + (radius if quarter < 2 else -radius)
            if not within_reach(s, d, far):
                fail(s, OUT_OF_REACH, s[SAYS, BEGIN], float(d), far)
                return 0.0, 0.0, 0.0, 0.0
    # Of the whole circle the place away from the middle is the farthest; is it on the way?
    mx, my = from_middle(s, cx, cy)
    if ((math.atan2(my, mx) - a0) * sense) % math.tau <= turn and beyond_rim(
        s, math.hypot(mx, my) + radius, s[SAYS, BEGIN]
    ):
        return 0.0, 0.0, 0.0, 0.0
    return cx, cy, radius, turn
