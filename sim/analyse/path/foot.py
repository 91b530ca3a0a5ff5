"""The foot of the tool on the asked path: where on it the tool is, of a path that may cross and retrace itself.

The nearest place of the whole path will not do: where a path turns back, cuts itself or ends beside its beginning, a
place asked for long before or after may lie nearer by a few micrometres. So the foot is looked for only near a place
known already, no further along the path than a few times the distance from that place: first the foot of the commanded
point near what was asked for when the shapers' delay began, then the foot of the tool near the foot of the command.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ...compiled import compiled, formula, usual

Array = NDArray[np.float64]

(ACROSS, ALONG, FOOT_X, FOOT_Y, WAY_X, WAY_Y) = range(6)
WIDTH = 6
#: How far along the path a foot is looked for, in distances between the point and the known place. Round a corner whose
#: sides stand at an angle b two places lie at most 1 / sin(b / 2) times their distance apart: 4 serves down to 29 degrees.
REACH = 4.0
#: Of places about as near the one nearest in order is meant: one far out of order counts as this much farther away, one a
#: millimetre out of order as half of it. Beside a corner either side is soon a millimetre out of order, so more would
#: now and then take the farther side.
ORDER_M, HALF_AT_M = 1e-6, 1e-3
#: Nearer than this the command is where it was asked to be, and the tool has arrived.
THERE_M = 1e-9


@formula
def piece_of(length: Array, at: float) -> int:
    """The piece of a polyline, by path length (k,) at its corners, on which a path length lies."""
    low, high = 0, len(length) - 1
    while high - low > 1:
        middle = (low + high) // 2
        if length[middle] <= at:
            low = middle
        else:
            high = middle
    return low


@formula
def foot_near(point: Array, length: Array, x: float, y: float, near: float, found: Array) -> float:
    """Path length of the foot of (x, y) near the path length `near`, m. found: (6,), filled as the rows of `feet`."""
    middle = piece_of(length, near)
    size = length[middle + 1] - length[middle]
    share = (near - length[middle]) / size if size > 0.0 else 0.0
    share = 0.0 if share < 0.0 else 1.0 if share > 1.0 else share
    gap_x = x - point[middle, 0] - share * (point[middle + 1, 0] - point[middle, 0])
    gap_y = y - point[middle, 1] - share * (point[middle + 1, 1] - point[middle, 1])
    reach = REACH * (gap_x * gap_x + gap_y * gap_y) ** 0.5
    first, last = near - reach, near + reach
    k = middle
    while k > 0 and length[k] >= first:
        k -= 1
    best, at = 1e30, near
    while k < len(length) - 1 and length[k] <= last:
        size = length[k + 1] - length[k]
        run_x, run_y = point[k + 1, 0] - point[k, 0], point[k + 1, 1] - point[k, 1]
        gap_x, gap_y = x - point[k, 0], y - point[k, 1]
        share = 0.0
        if size > 0.0:
            share = (gap_x * run_x + gap_y * run_y) / (size * size)
            low, high = (first - length[k]) / size, (last - length[k]) / size
            low, high = low if low > 0.0 else 0.0, high if high < 1.0 else 1.0
            share = low if low > share else share
            share = high if high < share else share
            gap_x -= share * run_x
            gap_y -= share * run_y
        distance = (gap_x * gap_x + gap_y * gap_y) ** 0.5
        here = length[k] + share * size
        out_of_order = abs(here - near)
        cost = distance + ORDER_M * out_of_order / (out_of_order + HALF_AT_M)
        if cost < best and (size > 0.0 or k == middle):
            best, at = cost, here
            found[ACROSS] = distance
            found[FOOT_X], found[FOOT_Y] = x - gap_x, y - gap_y
            if size > 0.0:
                found[WAY_X], found[WAY_Y] = run_x / size, run_y / size
        k += 1
    return at


@usual("d2 d1 d2 d2 d2 d1 d1 ?1 ? d2 d1 d1")
@compiled
def feet(
    point: Array, length: Array, tool: Array, commanded: Array, asked: Array, asked_length: Array, delayed_length: Array,
    resting: NDArray[np.bool_], arrived: bool, out: Array, own: Array, spare: Array,
) -> bool:  # fmt: skip
    """Fill out (n, 6): distance across and along, foot x, y and direction x, y; own (n,): the lag without the shapers'.

    point, length: corners (k, 2 or more) and path length there, k > 1.  tool, commanded, asked: (n, 2 or more), m.
    asked_length, delayed_length: (n,) path length asked for, now and before the shapers' delay.  resting: (n,), whether
    the command stands still in X and Y. Once the tool has arrived where it stands still, all that it swings counts as
    across; until then it is merely late. arrived: whether it had before the first row; returned for the last.
    spare: (6,), to work in.
    """
    for i in range(len(tool)):
        near = foot_near(point, length, commanded[i, 0], commanded[i, 1], delayed_length[i], spare)
        out[i, WAY_X], out[i, WAY_Y] = spare[WAY_X], spare[WAY_Y]
        at = foot_near(point, length, tool[i, 0], tool[i, 1], near, out[i])
        out[i, ALONG] = asked_length[i] - at
        # Two feet on either side of a corner lie further apart than tool and command do, and nothing lags by that.
        gap_x, gap_y = commanded[i, 0] - tool[i, 0], commanded[i, 1] - tool[i, 1]
        apart = (gap_x * gap_x + gap_y * gap_y) ** 0.5
        lag = near - at
        own[i] = -apart if lag < -apart else apart if lag > apart else lag
        off_x, off_y = commanded[i, 0] - asked[i, 0], commanded[i, 1] - asked[i, 1]
        if resting[i] and off_x * off_x + off_y * off_y < THERE_M * THERE_M:
            arrived = arrived or asked_length[i] - at < THERE_M
            if arrived:
                off_x, off_y = tool[i, 0] - asked[i, 0], tool[i, 1] - asked[i, 1]
                out[i, ACROSS], out[i, ALONG], own[i] = (off_x * off_x + off_y * off_y) ** 0.5, 0.0, 0.0
                out[i, FOOT_X], out[i, FOOT_Y] = asked[i, 0], asked[i, 1]
        else:
            arrived = False
    return arrived
