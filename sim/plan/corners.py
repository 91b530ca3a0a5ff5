"""The asked path of a stretch as corners: straight segments exactly, arcs and waves as chords, rounded corners as the
sharp ones that were asked for. Chords of an arc stay within 0.1 um of it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from .segments import ARC, BLEND, LINE, WAVE

if TYPE_CHECKING:
    from .stretches import Stretch

Array = NDArray[np.float64]

SAGITTA_M = 1e-7
CHORDS_A_WAVE = 64


def corners(stretch: Stretch) -> tuple[Array, Array]:
    """Corners of the asked path in a stretch: when they are reached, (k,) s, and where, (k, 3) m; its end not included."""
    s, starts, row = stretch.segments, stretch.start_s, stretch.segment
    k = np.flatnonzero(np.append(starts[1:], np.inf) > stretch.t0)
    k = k[starts[k] < stretch.t1]
    kind = s.kind[row[k]]
    # The pieces of one straight line (speeding up, steady, slowing down) lie in one line.
    again = np.append(False, (row[k][1:] == row[k][:-1]) & (kind[1:] == LINE))
    k, kind = k[~again], kind[~again]
    begin = np.maximum(starts[k], stretch.t0)
    end = np.minimum(np.append(starts, np.inf)[k + 1], stretch.t1)
    if not np.any((kind == ARC) | (kind == BLEND) | (kind == WAVE)):
        return begin, stretch.asked(begin)
    m, at = stretch.motion[k], starts[k]
    # Chords are even in time, so the fastest one counts; speed has its largest value at an end of a piece.
    way = np.maximum(_speed(m, end - at), _speed(m, begin - at)) * (end - begin)
    curvature = s.curvature[row[k]]
    chords = np.ones(len(k), np.int64)
    bent = kind == ARC
    chords[bent] = np.ceil(way[bent] * np.sqrt(curvature[bent] / (8.0 * SAGITTA_M))).astype(np.int64)
    wave = kind == WAVE
    hertz = s.geo[row[k], 7] / (2 * np.pi)
    chords[wave] = np.ceil((end - begin)[wave] * hertz[wave] * CHORDS_A_WAVE).astype(np.int64)
    chords = np.maximum(chords, 1)
    inner = np.arange(chords.sum()) - np.repeat(np.cumsum(chords) - chords, chords)
    times = np.repeat(begin, chords) + inner * np.repeat((end - begin) / chords, chords)
    points = stretch.asked(times)
    half = 0.5 * s.length_m[row[k]]
    first, last = _way(m, begin - at), _way(m, end - at)
    sharp = np.flatnonzero((kind == BLEND) & (first < half) & (last >= half))
    if len(sharp):
        g = s.geo[row[k[sharp]]]
        reach = np.tan(g[:, 12] * half[sharp])[:, None]
        when = begin[sharp] + (end - begin)[sharp] * (half - first)[sharp] / (last - first)[sharp]
        times = np.append(times, when)
        points = np.concatenate([points, g[:, 0:3] + g[:, 3:6] + g[:, 6:9] * reach])
        order = np.argsort(times, kind="stable")
        times, points = times[order], points[order]
    return times, points


def _way(motion: Array, tau: Array) -> Array:
    """Way along a segment after tau, (k,) m."""
    return np.asarray(motion[:, 0] + tau * (motion[:, 1] + tau * (0.5 * motion[:, 2] + tau * motion[:, 3] / 6.0)))


def _speed(motion: Array, tau: Array) -> Array:
    """Speed along a segment after tau, (k,) m/s."""
    return np.asarray(motion[:, 1] + tau * (motion[:, 2] + 0.5 * tau * motion[:, 3]))
