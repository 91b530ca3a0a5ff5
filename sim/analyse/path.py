"""Path error: how far the tool is from the asked path, across it and along it, in XY.

Across is the true distance from the tool to the asked path as a curve, so a tool that overshoots a corner or the end
of the path counts with its whole overshoot. Only the part of the path asked for within a tenth of a second (plus the
shaper's delay) of the moment is looked at, so that a path that comes back near itself is not mistaken. Along is the
length of path between the asked place and the place nearest to the tool: positive where the tool lags.

Straight legs are taken from the plan exactly; curved ones as chords of at most 50 um or 1/256 of the leg, which lie
within 0.1 um of any arc of 1 mm radius or more.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..plan.plan import Leg, Plan
from ..trace import Trace

Array = NDArray[np.float64]

NEAR_S = 0.1
CHORD_M = 5e-5
FEWEST_CHORDS = 256
MOST_CHORDS = 20_000
BLOCK = 64
#: A place on the path a millimetre on counts as this many millimetres farther away: where a path comes back over itself
#: or through a point again, the tool is on the pass it was asked for, though another may lie nearer by its deviation.
ORDER = 0.01


@dataclass(frozen=True)
class PathError:
    """across_m, along_m: (n,) at the trace's times.  Largest and time-weighted rms of each over the whole run, m.

    worst_s: when the distance across is largest.
    foot_m, direction: (n, 2) nearest place of the asked path and its direction there; asked_m: (k, 2) corners of the
    asked path, where they were worked out on the way (programs); else None.
    """

    across_m: Array
    along_m: Array
    across_max_m: float
    across_rms_m: float
    along_max_m: float
    along_rms_m: float
    worst_s: float
    foot_m: Array | None = None
    direction: Array | None = None
    asked_m: Array | None = None


@dataclass(frozen=True)
class AskedPath:
    """The asked path as corners: time_s (m,), point_m (m, 2), length_m (m,): path length from the start."""

    time_s: Array
    point_m: Array
    length_m: Array


def path_error(trace: Trace, plan: Plan) -> PathError:
    """Distance of the tool from the asked path and its lag along it, at every recorded instant; zeros if there is none."""
    if not len(trace.t_s):
        return PathError(np.zeros(0), np.zeros(0), 0.0, 0.0, 0.0, 0.0, 0.0)
    if any(leg.source_line is not None for leg in plan.legs):
        # A program's legs bend; its segments are exact.
        from .meter import measure

        return measure(trace, plan)
    if any(leg.sweep_hz is not None for leg in plan.legs):
        return _off_the_line(trace, plan.legs[0].direction[:2])
    path = asked_path(trace, plan)
    reach = NEAR_S + max(plan.shaper_delay_s[:2], default=0.0)
    t, tool, asked = trace.t_s, trace.tool[:, :2], trace.asked[:, :2]
    asked_length = _asked_length(path, t, asked)
    across, along = np.zeros(len(t)), np.zeros(len(t))
    for begin in range(0, len(t), BLOCK):
        part = slice(begin, min(begin + BLOCK, len(t)))
        first = int(np.searchsorted(path.time_s, t[part][0] - reach)) - 1
        last = int(np.searchsorted(path.time_s, t[part][-1] + NEAR_S)) + 1
        pieces = slice(max(min(first, len(path.time_s) - 2), 0), min(last, len(path.time_s) - 1))
        across[part], length = _nearest(path, pieces, tool[part], asked_length[part])
        along[part] = asked_length[part] - length
    return _judged(t, across, along)


def _off_the_line(trace: Trace, direction: tuple[float, float]) -> PathError:
    """Of a chirp, which goes to and fro on one line by as little as it shakes: distance from that line, lag along it."""
    x, y = direction
    late = trace.asked[:, :2] - trace.tool[:, :2]
    return _judged(trace.t_s, np.abs(late[:, 0] * y - late[:, 1] * x), late[:, 0] * x + late[:, 1] * y)


def _judged(t: Array, across: Array, along: Array) -> PathError:
    """Both errors at these times with their extremes and time-weighted means."""
    weight = np.gradient(t) if len(t) > 1 else np.ones(len(t))
    weight = weight / weight.sum()
    return PathError(
        across_m=across,
        along_m=along,
        across_max_m=float(across.max()),
        across_rms_m=float(np.sqrt(np.sum(weight * across**2))),
        along_max_m=float(np.abs(along).max()),
        along_rms_m=float(np.sqrt(np.sum(weight * along**2))),
        worst_s=float(t[int(np.argmax(across))]),
    )


def asked_path(trace: Trace, plan: Plan) -> AskedPath:
    """The asked path in XY: exact for straight legs, finely chorded for curved ones; recorded samples without legs."""
    if not plan.legs:
        return _with_length(
            np.append(trace.t_s, trace.t_s[-1]), np.append(trace.asked[:, :2], trace.asked[-1:, :2], axis=0)
        )
    curves = _curve_samples(plan)
    times: list[Array] = []
    points: list[Array] = []
    for i, leg in enumerate(plan.legs):
        if i in curves:
            times.append(curves[i][0])
            points.append(curves[i][1])
        else:
            times.append(np.array([leg.start_s, leg.end_s]))
            points.append(np.array([leg.start[:2], leg.end[:2]], float))
    return _with_length(np.concatenate(times), np.concatenate(points))


def _with_length(time_s: Array, point: Array) -> AskedPath:
    steps = np.hypot(*np.diff(point, axis=0).T)
    return AskedPath(time_s, point, np.concatenate(([0.0], np.cumsum(steps))))


def _curve_samples(plan: Plan) -> dict[int, tuple[Array, Array]]:
    """Fine samples (times, points) of each curved leg, asked from the plan's own windows."""
    curved = [i for i, leg in enumerate(plan.legs) if leg.curved]
    if not curved:
        return {}
    times = {i: _chord_times(plan.legs[i]) for i in curved}
    wanted = np.concatenate([times[i] for i in curved])
    found = np.empty((len(wanted), 2))
    for window in plan.windows():
        inside = (wanted >= window.t0 - 1e-12) & (wanted <= window.t1 + 1e-12)
        if inside.any():
            found[inside] = window.asked(np.clip(wanted[inside], window.t0, window.t1))[:, :2]
    out: dict[int, tuple[Array, Array]] = {}
    start = 0
    for i in curved:
        points = found[start : start + len(times[i])].copy()
        points[0], points[-1] = plan.legs[i].start[:2], plan.legs[i].end[:2]
        out[i] = (times[i], points)
        start += len(times[i])
    return out


def _chord_times(leg: Leg) -> Array:
    length = leg.cruise_speed_m_s * (leg.end_s - leg.start_s)
    return np.linspace(leg.start_s, leg.end_s, int(np.clip(length / CHORD_M, FEWEST_CHORDS, MOST_CHORDS)) + 1)


def _asked_length(path: AskedPath, t: Array, asked: Array) -> Array:
    """Path length of the asked place at each time, (n,)."""
    i = np.clip(np.searchsorted(path.time_s, t, side="right") - 1, 0, len(path.time_s) - 1)
    beyond = np.hypot(*(asked - path.point_m[i]).T)
    following = np.minimum(i + 1, len(path.time_s) - 1)
    length: Array = np.minimum(path.length_m[i] + beyond, path.length_m[following])
    return length


def _nearest(path: AskedPath, pieces: slice, tool: Array, asked_length: Array) -> tuple[Array, Array]:
    """Distance of each tool place (b, 2) to the path's pieces, and the path length of the nearest place, (b,) each."""
    start = path.point_m[pieces]
    run = path.point_m[pieces.start + 1 : pieces.stop + 1] - start
    square = np.sum(run**2, axis=1)
    to_tool = tool[:, None, :] - start[None, :, :]
    along = np.einsum("bki,ki->bk", to_tool, run) / np.where(square > 0, square, 1.0)
    along = np.clip(along, 0.0, 1.0)
    gap = to_tool - along[:, :, None] * run[None, :, :]
    distance = np.hypot(gap[:, :, 0], gap[:, :, 1])
    length = path.length_m[pieces][None, :] + along * np.sqrt(square)[None, :]
    # Where the path runs back over itself several places are equally near: the one nearest in order is meant.
    choice = np.argmin(distance + ORDER * np.abs(length - asked_length[:, None]), axis=1)
    rows = np.arange(len(tool))
    return distance.min(axis=1), length[rows, choice]
