"""What a loop is fed for a chunk of steps, and the state it carries: plain arrays, the same for both loops. SI units.

Commanded tool motion becomes motor angles, speeds and torque limits; the compiled pieces of that stand last.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ..compiled import compiled, formula, usual
from ..machine.travel import ArmTravel, Travel
from ..model.motor import torque_limit
from ..model.system import Array, System
from ..parts.design import MotorSpec
from ..plan.plan import PlanStretch

#: Lag off the turn counted last, in electrical turns, beyond which a rotor has passed to another: a half, and an eighth
#: more against trembling.
PASSED = 0.625
#: Speeds of the torque table, rad/s; 4096 points keep linear interpolation within 1e-4 of the torque.
TABLE_TOP_RAD_S = 2000.0
TABLE_POINTS = 4096


@dataclass
class State:
    """What a run carries from step to step: q (n,), w (n,) carried speeds, z (n_frictions,) bristle deflections, t s."""

    q: Array
    w: Array
    z: Array
    t: float


@dataclass(frozen=True)
class Chunk:
    """Steps of one stretch, the last of zero length so that the end of the stretch is seen too.

    times, lengths: (k,) s.  theta, omega, limit: (k, 3, m): command angle rad, speed rad/s, torque limit N m at the start,
    middle and end of each step.  tool: (k, 3) commanded tool position at each start, m.  record: (k,) row or -1.
    """

    times: Array
    lengths: Array
    theta: Array
    omega: Array
    limit: Array
    tool: Array
    record: NDArray[np.int64]
    rows: int


def make_chunk(
    system: System, stretch: PlanStretch, edges: Array, numbers: NDArray[np.int64], last: bool, table: Array
) -> Chunk:
    """The chunk for a stretch's edges. last: also record the stretch's end (only the plan's last stretch does).

    table: `torque_table(system)`.
    """
    position, velocity = stretch.command(edges[:-1], edges[1:])
    # With one more step of no length at the end of the stretch.
    theta, omega = motors_along(system.tool_travel, position, velocity)
    limit = torque_limits(omega, table, TABLE_TOP_RAD_S)
    tool = np.concatenate([position[:, 0], position[-1:, 2]])
    increment = system.once(_increments)
    if increment.any():
        # Damping and the torque limit go by the mean speed: only the angle comes in steps.
        quantised(theta, increment)
    record = np.full(len(edges), -1, dtype=np.int64)
    kept = numbers >= 0
    if not last:
        kept[-1] = False
    rows = int(kept.sum())
    record[kept] = np.arange(rows)
    lengths = np.zeros(len(edges))
    np.subtract(edges[1:], edges[:-1], out=lengths[:-1])
    return Chunk(
        times=edges,
        lengths=lengths,
        theta=theta,
        omega=omega,
        limit=limit,
        tool=tool,
        record=record,
        rows=rows,
    )


def _increments(system: System) -> Array:
    """By how much each motor's command is stepped on, (m,) rad; 0: not at all."""
    return np.array([m.increment_rad for m in system.motors])


@dataclass
class Extremes:
    """Over every step of a stretch: low and high (n_extremes,), slack time by belt s.

    turns: (m, 4), since the run began and handed on from stretch to stretch: electrical turns by which each rotor is off its
    command, the most it was (either way), turns passed in all, and when the first was, s (-1: never).
    """

    low: Array
    high: Array
    slack: Array
    turns: Array

    @staticmethod
    def fresh(system: System, turns: Array | None = None) -> Extremes:
        """Nothing seen yet, but for the `turns` of the stretches before."""
        k, belts = system.once(_watched)
        if turns is None:
            turns = np.tile([0.0, 0.0, 0.0, -1.0], (len(system.motors), 1))
        return Extremes(np.full(k, np.inf), np.full(k, -np.inf), np.zeros(belts), turns)


def _watched(system: System) -> tuple[int, int]:
    """How many channels' extremes are kept, and how many belts there are."""
    return len(extreme_names(system)), len({run.belt for run in system.runs})


def extreme_names(system: System) -> tuple[str, ...]:
    """Channels whose extremes are kept from every step, in the loops' order."""
    return (
        *(f"tool_{a}" for a in "xyz"),
        *(f"off_{a}" for a in "xyz"),
        *(f"tension_{run.belt}_{run.name}" for run in system.runs),
        *(f"torque_{m.name}" for m in system.motors),
        *(f"lag_{m.name}" for m in system.motors),
    )


def belt_index(system: System) -> list[int]:
    """For each run, the number of its belt."""
    names = list(dict.fromkeys(run.belt for run in system.runs))
    return [names.index(run.belt) for run in system.runs]


def out_width(system: System) -> int:
    """Columns a loop records: q, w, tensions, torques."""
    return 2 * system.n + len(system.runs) + len(system.motors)


def torque_table(system: System) -> Array:
    """A(omega) of every motor at equally spaced speeds from 0 to TABLE_TOP_RAD_S, (m, TABLE_POINTS), N m; 0 for ideal ones."""
    return np.array([np.zeros(TABLE_POINTS) if m.spec is None else _table_of(m.spec) for m in system.motors])


@lru_cache(maxsize=64)
def _table_of(spec: MotorSpec) -> Array:
    """One motor's row of `torque_table`; motors of a machine are mostly alike, and so are those of many designs."""
    row = torque_limit(spec, np.linspace(0.0, TABLE_TOP_RAD_S, TABLE_POINTS))
    row.setflags(write=False)
    return row


@formula
def mean_step(a: float, b: float) -> float:
    """Mean of the nearest whole number along the way from a to b.

    The integral of round(x) from 0 is n x - n^2 / 2 with n = round(x). A mean keeps the torque's impulse right where
    steps fall between the samples of the loop, and turns into the smooth command where many fall into one.
    """
    first = math.floor(a + 0.5)
    if abs(b - a) < 1e-9:
        return first
    # Counted from there the way begins within a half of nothing, where the integral is nothing.
    x, y = a - first, b - first
    m = math.floor(y + 0.5)
    return first + (m * y - 0.5 * m * m) / (y - x)


@compiled
def quantised(theta: Array, increment: Array) -> None:
    """Turn angles (n, 3, m) into whole microsteps, in place: for each sample the mean over its share of the step.

    RK4 weighs the samples by 1/6, 4/6, 1/6; so do the shares.
    """
    for i in range(theta.shape[0]):
        for j in range(theta.shape[2]):
            size = increment[j]
            if size == 0.0:
                continue
            a, c, b = theta[i, 0, j] / size, theta[i, 1, j] / size, theta[i, 2, j] / size
            low, high = a + (c - a) / 3.0, c + 2.0 * (b - c) / 3.0
            theta[i, 0, j] = size * mean_step(a, low)
            theta[i, 1, j] = size * mean_step(low, high)
            theta[i, 2, j] = size * mean_step(high, b)


def motors_along(travel: Travel, position: Array, velocity: Array) -> tuple[Array, Array]:
    """(angle rad, speed rad/s), each (n + 1, 3, m), of the motors with the tool at `position` (n, 3, 3), m, at `velocity`.

    The last step is one of no length that stands at the end of the one before, all three samples alike.
    """
    if isinstance(travel, ArmTravel):
        return _on_arms(travel, position, velocity)
    shape = len(position) + 1, 3, len(travel.motors_per_m)
    theta, omega = np.empty(shape), np.empty(shape)
    _product(position, velocity, travel.middle, travel.motors_per_m, theta, omega)
    return theta, omega


def _on_arms(travel: ArmTravel, position: Array, velocity: Array) -> tuple[Array, Array]:
    """`motors_along` where every sample has slopes of its own: no pieces of straight lines, the command is exact."""
    places = np.concatenate([position, np.repeat(position[-1:, 2:], 3, axis=1)])
    speeds = np.concatenate([velocity, np.repeat(velocity[-1:, 2:], 3, axis=1)])
    return travel.angles(places), np.einsum("...ma,...a->...m", travel.angle_slopes(places), speeds)


@usual("d3 d3 d1 d2 d3 d3")
@compiled
def _product(
    position: Array, velocity: Array, middle: Array, per_m: Array, theta: Array, omega: Array
) -> None:  # fmt: skip
    """`motors_along` where travel is one matrix (m, 3): fills theta and omega."""
    n, m = position.shape[0], per_m.shape[0]
    for i in range(n + 1):
        row = i if i < n else n - 1
        for s in range(3):
            sample = s if i < n else 2
            for j in range(m):
                angle = 0.0
                speed = 0.0
                for a in range(3):
                    angle += per_m[j, a] * (position[row, sample, a] - middle[a])
                    speed += per_m[j, a] * velocity[row, sample, a]
                theta[i, s, j] = angle
                omega[i, s, j] = speed


def torque_limits(omega: Array, table: Array, top: float) -> Array:
    """Torque limit (k, 3, m), N m, at speeds omega (k, 3, m), from `torque_table`: at the end of a step that from the left."""
    limit = np.empty(omega.shape)
    _torque_limits(omega, table, top, limit)
    return limit


@usual("d3 d2 d d3")
@compiled
def _torque_limits(omega: Array, table: Array, top: float, limit: Array) -> None:
    """`torque_limits`: fills limit."""
    points = table.shape[1]
    scale, last = (points - 1) / top, points - 1.000001
    for i in range(omega.shape[0]):
        for s in range(3):
            for j in range(omega.shape[2]):
                at = abs(omega[i, s, j]) * scale
                at = last if last < at else at
                k = int(at)
                limit[i, s, j] = table[j, k] + (at - k) * (table[j, k + 1] - table[j, k])
