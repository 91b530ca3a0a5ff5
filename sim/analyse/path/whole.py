"""Path error of a trace that is there already: through the meter like one that is being simulated, a chirp along its line."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ...plan.plan import Plan, PlanStretch
from ...trace import Rows, StretchExtremes, Trace
from .error import PathError, Tally, shaping_delay_s
from .foot import WIDTH
from .meter import PathMeter

Array = NDArray[np.float64]


def path_error(trace: Trace, plan: Plan) -> PathError:
    """Distance of the tool from the asked path and its lag along it, at every recorded instant; zeros if there is none."""
    if plan.legs and any(leg.sweep_hz is not None for leg in plan.legs):
        return _off_the_line(trace, plan)
    collect = _Collected()
    meter = PathMeter(plan, collect)
    begin, n = 0, len(trace.t_s)
    nothing = np.zeros(0)
    for stretch in plan.stretches():
        if begin >= n:
            break
        end = n if stretch.t1 >= trace.t_s[-1] - 1e-9 else int(np.searchsorted(trace.t_s, stretch.t1 - 1e-9))
        part = slice(begin, end)
        none = np.zeros((end - begin, 0))
        rows = Rows(
            trace.t_s[part], trace.asked[part], trace.commanded[part], trace.tool[part], none, none, none, none, none,
            none, np.zeros(end - begin, np.bool_), np.zeros(end - begin, np.int32), none,
        )  # fmt: skip
        meter.add(rows, StretchExtremes(stretch.t0, stretch.t1, stretch.resting, nothing, nothing), stretch)
        begin = end
    meter.done()
    return meter.error(np.concatenate([np.zeros((0, WIDTH)), *collect.off]))


class _Collected:
    """A keeper that keeps only how far off the rows are."""

    thinned = False

    def __init__(self) -> None:
        self.off: list[Array] = []

    def add(self, rows: Rows, extremes: StretchExtremes, stretch: PlanStretch) -> None:
        self.off.append(rows.off_path)

    def done(self) -> tuple[list[Rows], list[StretchExtremes]]:
        return [], []


def _off_the_line(trace: Trace, plan: Plan) -> PathError:
    """Of a chirp, which goes to and fro on one line by as little as it shakes: distance from that line, lag along it."""
    x, y, _ = plan.legs[0].direction
    tool, asked, commanded = trace.tool[:, :2], trace.asked[:, :2], trace.commanded[:, :2]
    start, way = np.asarray(plan.legs[0].start[:2], float), np.array([x, y])
    side = (tool - start) @ np.array([-y, x])
    foot = tool - side[:, None] * np.array([-y, x])
    off = np.column_stack([np.abs(side), (asked - tool) @ way, foot, np.tile(way, (len(tool), 1))])
    tally = Tally(shaping_delay_s(plan))
    if len(off):
        tally.add(trace.t_s, off, (commanded - tool) @ way)
    gone = (asked - start) @ way
    ends = start + np.array([[gone.min(initial=0.0)], [gone.max(initial=0.0)]]) * way
    return tally.error(off, ends)
