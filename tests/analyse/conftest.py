"""Made-up moves with known answers: a plan that stops at every corner, and traces written down from closed forms."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pytest
from beltspring.sim.plan.plan import Leg
from beltspring.sim.trace import Ending, Slip, StretchExtremes, Trace


@dataclass
class Stretch:
    t0: float
    t1: float
    resting: tuple[bool, bool, bool]
    breakpoints: np.ndarray
    place: Callable[[np.ndarray], np.ndarray]
    bends: tuple[float, ...] = ()

    def asked(self, t):
        return self.place(np.asarray(t))

    commanded = asked

    def corners(self):
        """Where it begins, and whatever `bends` inside (s): between those the path is straight."""
        times = np.array([self.t0, *(t for t in self.bends if self.t0 < t < self.t1)])
        return times, self.place(times)


@dataclass
class CornerPlan:
    """Straight lines through `points` (k, 2), m, trapezoid speed, a full stop at each; then `settle` seconds."""

    points: np.ndarray
    speed: float = 0.1
    acceleration: float = 3.0
    settle: float = 0.35
    description: str = "made up"
    shaper_delay_s: tuple[float, float, float] = (0.0, 0.0, 0.0)
    legs: list[Leg] = field(default_factory=list)
    # (time, change of acceleration (2,)) of every jump
    jumps: list[tuple[float, np.ndarray]] = field(default_factory=list)

    def __post_init__(self):
        self.points = np.asarray(self.points, float)
        t = 0.0
        for i, (a, b) in enumerate(zip(self.points, self.points[1:], strict=False)):
            distance = float(np.hypot(*(b - a)))
            unit = (b - a) / distance
            ramp = min(self.speed / self.acceleration, np.sqrt(distance / self.acceleration))
            peak = self.acceleration * ramp
            total = distance / peak + ramp
            times = (t, t + ramp, t + total - ramp, t + total)
            for when, sign in zip(times, (1, -1, -1, 1), strict=True):
                self.jumps.append((when, sign * self.acceleration * unit))
            start, end = ((*map(float, p), 0.0) for p in (a, b))
            self.legs.append(
                Leg(f"leg {i + 1}", times[0], times[3], times[1], times[2], (*unit, 0.0), peak, start, end)
            )
            t += total
        self.move_s = t
        self.duration_s = t + self.settle
        self.start = np.array([*self.points[0], 0.0])

    def place(self, t):
        """Asked position, (n, 3), m: the jumps of acceleration integrated twice."""
        out = np.tile(self.start, (len(t), 1))
        for when, change in self.jumps:
            out[:, :2] += 0.5 * np.clip(t - when, 0, None)[:, None] ** 2 * change
        return out

    def stretches(self, longest_s=1.0):
        edges = [0.0, *(leg.end_s for leg in self.legs), self.duration_s]
        for t0, t1 in itertools.pairwise(edges):
            if t1 - t0 < 1e-12:
                continue
            moving = [leg for leg in self.legs if leg.start_s <= t0 + 1e-9 and t1 <= leg.end_s + 1e-9]
            resting = tuple(not any(abs(leg.direction[k]) > 1e-12 for leg in moving) for k in range(3))
            inside = np.array(sorted({w for w, _ in self.jumps if t0 + 1e-9 < w < t1 - 1e-9}))
            yield Stretch(t0, t1, resting, inside, self.place)


def sprung(plan: CornerPlan, frequency: float, ratio: float, axis: int):
    """Deviation of a mass on a spring and damper from its driven base, m: closed form, one term a jump.

    A jump da of the base's acceleration adds -(da / w^2) (1 - e^-zwt (cos wd t + z / sqrt(1 - z^2) sin wd t)).
    """
    w = 2 * np.pi * frequency
    wd = w * np.sqrt(1 - ratio**2)

    def deviation(t):
        out = np.zeros(len(t))
        for when, change in plan.jumps:
            tau = np.clip(t - when, 0, None)
            wave = np.cos(wd * tau) + ratio / np.sqrt(1 - ratio**2) * np.sin(wd * tau)
            out -= change[axis] / w**2 * (1 - np.exp(-ratio * w * tau) * wave)
        return out

    return deviation


def trace_of(
    plan, deviation_x=None, deviation_y=None, tool=None, step=1e-3, slips=(), slack=None, ending=Ending.COMPLETE
):
    """A trace of the plan in which the tool deviates as given; extremes are kept 20 times finer than the record."""

    def where(t):
        if tool is not None:
            return tool(t)
        out = plan.place(t)
        for axis, deviation in enumerate((deviation_x, deviation_y)):
            if deviation is not None:
                out[:, axis] += deviation(t)
        return out

    t = np.minimum(np.arange(0.0, plan.duration_s + step / 2, step), plan.duration_s)
    names = ("tool_x", "tool_y", "tool_z")
    stretches = []
    for w in plan.stretches():
        fine = where(np.linspace(w.t0, w.t1, int((w.t1 - w.t0) / step * 20) + 2))
        stretches.append(StretchExtremes(w.t0, w.t1, w.resting, fine.min(axis=0), fine.max(axis=0)))
    n, empty = len(t), np.empty((len(t), 0))
    return Trace(
        t_s=t, asked=plan.place(t), commanded=plan.place(t), tool=where(t), motor_rad=empty, motor_nm=empty,
        motor_lag_rad=empty, tension_n=empty, q=empty, speeds=empty, depositing=np.zeros(n, bool), motors=(), runs=(),
        dof_names=(), extreme_names=names, stretches=stretches, slack_s=slack or {}, slips=list(slips), ending=ending,
        stopped_at_s=None if ending is Ending.COMPLETE else float(t[-1]), planned_s=plan.duration_s, steps=n,
        step_s=step, wall_s=0.01,
    )  # fmt: skip


class Made:
    """What the tests make their runs from."""

    plan = CornerPlan
    stretch = Stretch
    sprung = staticmethod(sprung)
    trace = staticmethod(trace_of)
    slip = Slip


@pytest.fixture
def made():
    return Made
