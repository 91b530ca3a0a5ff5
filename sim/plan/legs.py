"""Legs: the pieces of a pattern between two corners, with the times at which their ramps end."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .plan import Array, Leg
from .profile import Pieces
from .segments import ARC, HOLD, WAVE, Point, Segments


def legs_of(segments: Segments, pieces: Pieces, names: Sequence[str]) -> list[Leg]:
    """The legs of a path, in order. The cruise is its longest stretch of even speed, or the moment of its top speed."""
    starts, ends = segments.starts(), segments.ends()
    stop_s = np.append(pieces.start_s[1:], pieces.end_s)
    leg_of_piece = segments.leg[pieces.segment]
    legs = []
    for number, name in enumerate(names):
        rows = np.flatnonzero(segments.leg == number)
        mine = np.flatnonzero(leg_of_piece == number)
        if not len(rows) or not len(mine):
            continue
        begin, end, speed = _cruise(pieces, stop_s, mine)
        last = rows[-1]
        direction = segments.tangent_out[last]
        if segments.kind[last] in (HOLD, WAVE):
            direction = segments.geo[last, 3:6]
        line = int(segments.line[rows[0]])
        legs.append(
            Leg(
                name, float(pieces.start_s[mine[0]]), float(stop_s[mine[-1]]), begin, end, _point(direction), speed,
                _point(starts[rows[0]]), _point(ends[last]), bool((segments.kind[rows] == ARC).any()), line or None,
            )
        )  # fmt: skip
    return legs


def _point(row: Array) -> Point:
    return float(row[0]), float(row[1]), float(row[2])


def _cruise(pieces: Pieces, stop_s: Array, mine: NDArray[np.intp]) -> tuple[float, float, float]:
    """Longest stretch of even speed among the pieces `mine`: from, to, speed."""
    best = (0.0, -1.0, 0.0)
    top, top_at = -1.0, 0.0
    run_from, run_speed = 0.0, -1.0
    for m in mine:
        _, v, a, j = pieces.motion[m]
        tau = stop_s[m] - pieces.start_s[m]
        v_end = v + tau * (a + 0.5 * tau * j)
        if a == 0.0 and j == 0.0 and v > 0.0:
            if abs(v - run_speed) > 1e-9:
                run_from, run_speed = float(pieces.start_s[m]), float(v)
            if stop_s[m] - run_from > best[1] - best[0]:
                best = (run_from, float(stop_s[m]), run_speed)
        else:
            run_speed = -1.0
        if v > top:
            top, top_at = float(v), float(pieces.start_s[m])
        if v_end > top:
            top, top_at = float(v_end), float(stop_s[m])
    return best if best[1] > best[0] else (top_at, top_at, top)
