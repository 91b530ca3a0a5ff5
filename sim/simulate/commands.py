"""What a loop is fed for a chunk of steps, and the state it carries: plain arrays, the same for both loops. SI units."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..model.system import Array, System
from ..plan.plan import PlanStretch
from .prepare import TABLE_TOP_RAD_S, motors_along, quantised, torque_limits

#: Lag off the turn counted last, in electrical turns, beyond which a rotor has passed to another: a half, and an eighth
#: more against trembling.
PASSED = 0.625


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
    increment = np.array([m.increment_rad for m in system.motors])
    if np.any(increment):
        # Damping and the torque limit go by the mean speed: only the angle comes in steps.
        quantised(theta, increment)
    record = np.full(len(edges), -1, dtype=np.int64)
    kept = numbers >= 0
    if not last:
        kept[-1] = False
    rows = int(kept.sum())
    record[kept] = np.arange(rows)
    return Chunk(
        times=edges,
        lengths=np.append(np.diff(edges), 0.0),
        theta=theta,
        omega=omega,
        limit=limit,
        tool=tool,
        record=record,
        rows=rows,
    )


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
        k = len(extreme_names(system))
        belts = len({run.belt for run in system.runs})
        if turns is None:
            turns = np.tile([0.0, 0.0, 0.0, -1.0], (len(system.motors), 1))
        return Extremes(np.full(k, np.inf), np.full(k, -np.inf), np.zeros(belts), turns)


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
