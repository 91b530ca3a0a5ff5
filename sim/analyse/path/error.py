"""Path error: how far the tool is from the asked path, across it and along it, in XY.

Across is the distance from the tool to the asked path as a curve, so a tool that overshoots a corner counts with its
whole overshoot; which of several passes of the path is meant, `foot` says. Once the tool has come to where it is to
stand still, all that it still swings counts as across. Along is the length of path between the asked place and the
tool's: positive where the tool lags; most of it is the shapers' delay where there are shapers.

Straight legs are taken from the plan exactly; curved ones as chords of at most 50 um or 1/256 of the leg, which lie
within 0.1 um of any arc of 1 mm radius or more.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...compiled import for_size
from ...plan.plan import Leg, Plan
from ...trace import Trace
from .foot import ACROSS, ALONG, FOOT_X, FOOT_Y, WAY_X, WAY_Y, WIDTH, feet

Array = NDArray[np.float64]

CHORD_M = 5e-5
FEWEST_CHORDS = 256
MOST_CHORDS = 20_000


@dataclass(frozen=True)
class PathError:
    """across_m, along_m: (n,) at the trace's times.  Largest and time-weighted rms of each over the whole run, m.

    worst_s: when the distance across is largest.
    foot_m, direction: (n, 2) the tool's place on the asked path and its direction there; asked_m: (k, 2) corners of the
    asked path, where they were worked out on the way (programs); else None.
    height_m: largest and time-weighted rms of how far the tool is off its commanded height, where arms carry it.
    own_max_m: largest lag of the tool behind the commanded motion; delay_max_m: of that behind the asked one, by shapers.
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
    own_max_m: float = 0.0
    height_m: tuple[float, float] | None = None
    delay_max_m: float = 0.0


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
        return _off_the_line(trace, plan)
    path = asked_path(trace, plan)
    t = trace.t_s
    asked_length = length_asked(path.time_s, path.point_m, path.length_m, t, trace.asked)
    delay_s = shaping_delay_s(plan)
    delayed = np.interp(t - delay_s, t, asked_length) if delay_s else asked_length
    resting = np.zeros(len(t), np.bool_)
    for stretch in trace.stretches:
        if stretch.resting[0] and stretch.resting[1]:
            resting[(t >= stretch.t0 - 1e-9) & (t <= stretch.t1 + 1e-9)] = True
    off, own = np.zeros((len(t), WIDTH)), np.zeros(len(t))
    for_size(feet, 40 * len(t))(
        path.point_m, path.length_m, np.ascontiguousarray(trace.tool), trace.commanded, trace.asked, asked_length,
        delayed, resting, False, off, own,
    )  # fmt: skip
    judged = _judged(t, off[:, ACROSS], off[:, ALONG])
    return replace(
        judged,
        foot_m=off[:, FOOT_X : FOOT_Y + 1],
        direction=off[:, WAY_X : WAY_Y + 1],
        own_max_m=float(np.abs(own).max()),
        delay_max_m=max(float((off[:, ALONG] - own).max()), 0.0) if delay_s else 0.0,
    )


def shaping_delay_s(plan: Plan) -> float:
    """How much later than asked the shapers make the motion, s; 0 without any."""
    shaping = getattr(plan, "shaping", None)
    return float(shaping.delay_s) if shaping is not None else 0.0


def _off_the_line(trace: Trace, plan: Plan) -> PathError:
    """Of a chirp, which goes to and fro on one line by as little as it shakes: distance from that line, lag along it."""
    x, y, _ = plan.legs[0].direction
    tool, asked, commanded = trace.tool[:, :2], trace.asked[:, :2], trace.commanded[:, :2]
    start, way = np.asarray(plan.legs[0].start[:2], float), np.array([x, y])
    side = (tool - start) @ np.array([-y, x])
    found = _judged(trace.t_s, np.abs(side), (asked - tool) @ way)
    return replace(
        found,
        foot_m=tool - side[:, None] * np.array([-y, x]),
        direction=np.tile(way, (len(tool), 1)),
        own_max_m=float(np.abs((commanded - tool) @ way).max()),
        delay_max_m=float(np.abs((asked - commanded) @ way).max()) if shaping_delay_s(plan) else 0.0,
    )


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
    """Fine samples (times, points) of each curved leg, asked from the plan's own stretches."""
    curved = [i for i, leg in enumerate(plan.legs) if leg.curved]
    if not curved:
        return {}
    times = {i: _chord_times(plan.legs[i]) for i in curved}
    wanted = np.concatenate([times[i] for i in curved])
    found = np.empty((len(wanted), 2))
    for stretch in plan.stretches():
        inside = (wanted >= stretch.t0 - 1e-12) & (wanted <= stretch.t1 + 1e-12)
        if inside.any():
            found[inside] = stretch.asked(np.clip(wanted[inside], stretch.t0, stretch.t1))[:, :2]
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


def length_asked(time: Array, point: Array, length: Array, t: Array, asked: Array) -> Array:
    """Path length of the place asked for at each time, (n,), m. time, point, length: of the path's corners."""
    i = np.clip(np.searchsorted(time, t, side="right") - 1, 0, len(time) - 2)
    beyond = np.hypot(asked[:, 0] - point[i, 0], asked[:, 1] - point[i, 1])
    return np.asarray(np.minimum(length[i] + beyond, length[i + 1]))
