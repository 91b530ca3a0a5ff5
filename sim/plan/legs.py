"""Legs: what lies between two corners, with the times at which its ramps end; gathered while the plan is made."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..compiled import compiled, for_size, formula
from .plan import Array, Leg, LegLabel
from .segments import ARC, BLEND, HOLD, WAVE, Point
from .stretches import Block

# Of a program's legs, those with the longest cruise are kept: where the tool cruises briefly, no ringing can be seen.
MOST_LEGS = 2000

# Columns of a leg's row.
(NUMBER, START, END, CRUISE_FROM, CRUISE_TO, SPEED, TOP, TOP_AT, CURVED, LINE_NUMBER, RUN_FROM, RUN_SPEED) = range(12)
BLENDED, FIRST_POINT, LAST_POINT, DIRECTION, WIDTH = 12, 13, 16, 19, 22


@formula
def _end_of(kind: int, geo: Array, length: Array, i: int, d: int) -> Any:
    """Coordinate d of the end of segment i, or of the corner it rounds off, m."""
    if kind == BLEND:
        return geo[i, d] + geo[i, 3 + d] + geo[i, 6 + d] * math.tan(0.5 * geo[i, 12] * length[i])
    if kind == ARC:
        turn = geo[i, 12] * length[i]
        flat = geo[i, 3 + d] * math.cos(turn) + geo[i, 6 + d] * math.sin(turn)
        return geo[i, d] + flat + geo[i, 9 + d] * length[i]
    return geo[i, d] + geo[i, 3 + d] * length[i]


@compiled
def gather(
    kind: NDArray[np.int8], geo: Array, length: Array, tangent_in: Array, tangent_out: Array, line: NDArray[np.int32],
    leg: NDArray[np.int32], start_s: Array, end_s: float, segment: NDArray[np.int64], motion: Array, rows: Array,
) -> int:  # fmt: skip
    """Add a block's pieces to legs. rows[0] is the leg still open (number -1: none); returns how many rows are used."""
    n = 0
    for m in range(len(start_s)):
        i = segment[m]
        k, number = kind[i], leg[i]
        stop = start_s[m + 1] if m + 1 < len(start_s) else end_s
        if number < 0:
            continue
        if rows[n, NUMBER] != number:
            if rows[n, NUMBER] >= 0.0:
                n += 1
            corner = n > 0 and rows[n - 1, BLENDED] == 1.0
            for c in range(WIDTH):
                rows[n, c] = 0.0
            rows[n, NUMBER], rows[n, START], rows[n, LINE_NUMBER] = number, start_s[m], line[i]
            rows[n, CRUISE_TO], rows[n, RUN_SPEED] = -1.0, -1.0
            for d in range(3):
                rows[n, FIRST_POINT + d] = geo[i, d] + (geo[i, 3 + d] if k == ARC else 0.0)
                if corner:
                    rows[n, FIRST_POINT + d] = rows[n - 1, LAST_POINT + d]
        rows[n, BLENDED] = 1.0 if k == BLEND else 0.0
        rows[n, END] = stop
        if k == ARC:
            rows[n, CURVED] = 1.0
        for d in range(3):
            if k in (HOLD, WAVE):
                rows[n, LAST_POINT + d] = geo[i, d]
                rows[n, DIRECTION + d] = geo[i, 3 + d]
            else:
                rows[n, LAST_POINT + d] = _end_of(k, geo, length, i, d)
                rows[n, DIRECTION + d] = tangent_in[i, d] if k == BLEND else tangent_out[i, d]
        v, a, j, tau = motion[m, 1], motion[m, 2], motion[m, 3], stop - start_s[m]
        last = v + tau * (a + 0.5 * tau * j)
        if k == WAVE:
            v, last, a = max(geo[i, 6], geo[i, 8]) * geo[i, 7], 0.0, 1.0
        if a == 0.0 and j == 0.0 and v > 0.0:
            if abs(v - rows[n, RUN_SPEED]) > 1e-9:
                rows[n, RUN_FROM], rows[n, RUN_SPEED] = start_s[m], v
            if stop - rows[n, RUN_FROM] > rows[n, CRUISE_TO] - rows[n, CRUISE_FROM]:
                rows[n, CRUISE_FROM], rows[n, CRUISE_TO], rows[n, SPEED] = rows[n, RUN_FROM], stop, v
        else:
            rows[n, RUN_SPEED] = -1.0
        if v > rows[n, TOP]:
            rows[n, TOP], rows[n, TOP_AT] = v, start_s[m]
        if last > rows[n, TOP]:
            rows[n, TOP], rows[n, TOP_AT] = last, stop
    return n + 1


class LegBook:
    """Gathers legs from a stream of blocks. labels: of a pattern's legs, in order; without, legs are named by line."""

    def __init__(self, labels: Sequence[LegLabel] | None = None) -> None:
        self.labels = labels
        self.left_out = 0
        self._rows = np.zeros((0, WIDTH))
        self._open = np.full((1, WIDTH), -1.0)

    def add(self, block: Block) -> None:
        """Take in the next block."""
        s, p = block.segments, block.pieces
        different = 1 + int(np.count_nonzero(np.diff(s.leg))) if len(s) else 0
        rows = np.full((different + 2, WIDTH), -1.0)
        rows[0] = self._open[0]
        n = for_size(gather, len(p))(
            s.kind, s.geo, s.length_m, s.tangent_in, s.tangent_out, s.line, s.leg,
            p.start_s, p.end_s, p.segment, p.motion, rows,
        )  # fmt: skip
        self._open = rows[n - 1 : n].copy()
        self._rows = np.concatenate([self._rows, rows[: n - 1]])
        if self.labels is None and len(self._rows) > 2 * MOST_LEGS:
            self._prune()

    def _prune(self) -> None:
        over = len(self._rows) - MOST_LEGS
        if over > 0:
            cruise = self._rows[:, CRUISE_TO] - self._rows[:, CRUISE_FROM]
            self._rows = self._rows[np.sort(np.argsort(-cruise, kind="stable")[:MOST_LEGS])]
            self.left_out += over

    def legs(self) -> list[Leg]:
        """All legs, in order. The cruise is a leg's longest stretch of even speed, or the moment of its top speed."""
        if self._open[0, NUMBER] >= 0.0:
            self._rows = np.concatenate([self._rows, self._open])
            self._open[0, NUMBER] = -1.0
        if self.labels is None:
            self._prune()
        return [self._leg(row) for row in self._rows.tolist()]

    def _leg(self, row: list[float]) -> Leg:
        begin, end, speed = row[CRUISE_FROM], row[CRUISE_TO], row[SPEED]
        if end <= begin:
            begin = end = row[TOP_AT]
            speed = row[TOP]
        line = int(row[LINE_NUMBER])
        label = LegLabel(f"line {line}") if self.labels is None else self.labels[int(row[NUMBER])]
        return Leg(
            label.name, row[START], row[END], begin, end, _point(row, DIRECTION), speed, _point(row, FIRST_POINT),
            _point(row, LAST_POINT), bool(row[CURVED]), line or None, label.level, label.sweep_hz,
        )  # fmt: skip


def _point(row: list[float], at: int) -> Point:
    return row[at], row[at + 1], row[at + 2]
