"""The compiled part of feeding a loop: commanded tool motion to motor angles, speeds and torque limits. SI units."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ..compiled import compiled, formula
from ..machine.travel import ArmTravel, Travel
from ..model.motor import torque_limit
from ..model.system import System
from ..parts.design import MotorSpec

Array = NDArray[np.float64]

#: Speeds of the torque table, rad/s; 4096 points keep linear interpolation within 1e-4 of the torque.
TABLE_TOP_RAD_S = 2000.0
TABLE_POINTS = 4096


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
    x, y = a - first, b - first
    k, m = math.floor(x + 0.5), math.floor(y + 0.5)
    return first + ((m * y - 0.5 * m * m) - (k * x - 0.5 * k * k)) / (y - x)


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
    return _product(position, velocity, travel.middle, travel.motors_per_m)


def _on_arms(travel: ArmTravel, position: Array, velocity: Array) -> tuple[Array, Array]:
    """`motors_along` where every sample has slopes of its own: no pieces of straight lines, the command is exact."""
    places = np.concatenate([position, np.repeat(position[-1:, 2:], 3, axis=1)])
    speeds = np.concatenate([velocity, np.repeat(velocity[-1:, 2:], 3, axis=1)])
    return travel.angles(places), np.einsum("...ma,...a->...m", travel.angle_slopes(places), speeds)


@compiled
def _product(position: Array, velocity: Array, middle: Array, per_m: Array) -> tuple[Array, Array]:
    """`motors_along` where travel is one matrix (m, 3)."""
    n, m = position.shape[0], per_m.shape[0]
    theta = np.empty((n + 1, 3, m))
    omega = np.empty((n + 1, 3, m))
    for i in range(n + 1):
        row = min(i, n - 1)
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
    return theta, omega


@compiled
def torque_limits(omega: Array, table: Array, top: float) -> Array:
    """Torque limit (k, 3, m), N m, at speeds omega (k, 3, m), from `torque_table`: at the end of a step that from the left."""
    points = table.shape[1]
    scale = (points - 1) / top
    limit = np.empty(omega.shape)
    for i in range(omega.shape[0]):
        for s in range(3):
            for j in range(omega.shape[2]):
                at = min(abs(omega[i, s, j]) * scale, points - 1.000001)
                k = int(at)
                limit[i, s, j] = table[j, k] + (at - k) * (table[j, k + 1] - table[j, k])
    return limit
