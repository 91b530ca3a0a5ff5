"""The readable step loop: classical RK4 in plain numpy. The generated loop prints the same arithmetic for one topology.

One step of length h (PHYSICS.md, section 5): four stages at 0, h/2, h/2, h; the bristle states go by the exponential of the
rate at the speed foreseen for the middle of the step, so friction never limits h, and by what is left at each stage's speed.
"""

from __future__ import annotations

import math

import numpy as np

from ..model.forces import Forces
from ..model.system import Array, System
from .commands import PASSED, Chunk, Extremes, State, belt_index

#: Below this many of its times a step takes series, of so many terms, where differences would lose digits.
SERIES_BELOW, SERIES_TERMS = 0.3, 8
STAGE_AT = (0.0, 0.5, 0.5, 1.0)  # where in the step each stage stands
STAGE_SAMPLE = (0, 1, 1, 2)  # which of the three command samples it uses
STAGE_WEIGHT = (1 / 6, 1 / 3, 1 / 3, 1 / 6)


def bristle_level(system: System, v: Array) -> Array:
    """sigma0 / g(v) of every guide, (n_frictions,), 1/m: what |v| is multiplied by for the bristles' rate."""
    levels = np.zeros(len(system.frictions))
    for k, f in enumerate(system.frictions):
        slide = f.row @ v
        levels[k] = f.sigma0_n_m / (f.coulomb_n + (f.static_n - f.coulomb_n) * np.exp(-((slide / f.stribeck_m_s) ** 2)))
    return levels


def slides(system: System, v: Array) -> Array:
    """Sliding speed of every guide, (n_frictions,), m/s."""
    return np.array([f.row @ v for f in system.frictions])


def advance(system: System, state: State, chunk: Chunk, out: Array, seen: Extremes) -> None:
    """Run one chunk: `state` and `seen` are changed in place, `out` (rows, out_width) is filled."""
    forces = Forces(system)
    belts = belt_index(system)
    n = system.n
    carries = np.array(system.tool_moves)
    q, w, z = state.q, state.w, state.z
    dw = np.zeros(n)
    for k in range(len(chunk.lengths)):
        h = chunk.lengths[k]
        # The middle of the step is foreseen with the acceleration at the end of the one before: good enough for second
        # order, and nothing in the step has to wait for it.
        middle = w + 0.5 * h * dw - system.command_inertia @ chunk.omega[k, 1]
        slide, level = slides(system, middle), bristle_level(system, middle)
        bristles = Bristles(z, level, level * np.abs(slide), h)
        dq, dw = np.zeros(n), np.zeros(n)
        sum_q, sum_w = np.zeros(n), np.zeros(n)
        for stage in range(4):
            sample = STAGE_SAMPLE[stage]
            at = STAGE_AT[stage] * h
            dq, dw, tension, torque = forces(
                q + at * dq,
                w + at * dw,
                chunk.theta[k, sample],
                chunk.omega[k, sample],
                chunk.limit[k, sample],
                bristles.z,
                level,
            )
            bristles.stage(slides(system, dq))
            if stage == 0:
                _look(system, chunk, k, q, w, tension, torque, carries, belts, out, seen)
            sum_q += STAGE_WEIGHT[stage] * dq
            sum_w += STAGE_WEIGHT[stage] * dw
        q, w, z = q + h * sum_q, w + h * sum_w, bristles.z
    state.q, state.w, state.z, state.t = q, w, z, float(chunk.times[-1])


class Bristles:
    """Bristles of all guides through one step: z' = v - level |v| z, its stiff part -rate z by its exponential.

    Cox and Matthews' exponential Runge-Kutta method of fourth order (J. Comput. Phys. 176, 2002, from memory) beside the
    four stages of the rest. level, rate: (n_frictions,), frozen over the step.  z: at the stage that comes next, in the end
    at the end of the step.
    """

    def __init__(self, z: Array, level: Array, rate: Array, h: float) -> None:
        self.z = self.start = z
        self.level, self.rate = level, rate
        self.decay = np.exp(-0.5 * rate * h)
        self.half = 0.5 * h * means(0.5 * rate * h)[0]
        one, two, three = means(rate * h)
        self.weights = h * np.array([one - 3 * two + 4 * three, 2 * two - 4 * three, 4 * three - two])
        self.changes: list[Array] = []

    def stage(self, slide: Array) -> None:
        """From one stage to the next. slide: (n_frictions,) speeds at this one, m/s."""
        change = slide - (self.level * np.abs(slide) - self.rate) * self.z
        self.changes.append(change)
        first = self.changes[0]
        match len(self.changes):
            case 1:
                self.z = self.decay * self.start + self.half * change
            case 2:
                self.middle = self.z
                self.z = self.decay * self.start + self.half * change
            case 3:
                self.z = self.decay * self.middle + self.half * (2 * change - first)
            case _:
                early, inner, late = self.weights
                inside = self.changes[1] + self.changes[2]
                self.z = self.decay**2 * self.start + early * first + inner * inside + late * change


def means(x: Array) -> tuple[Array, Array, Array]:
    """What an exponential leaves of a source over a step, x = rate h >= 0: (1 - e^-x) / x, and (1 - it) / x, (1/2 - that) / x."""
    small = x < SERIES_BELOW
    safe = np.where(small, 1.0, x)
    one = -np.expm1(-safe) / safe
    two = (1 - one) / safe
    third = np.polyval([(-1) ** k / math.factorial(k + 3) for k in reversed(range(SERIES_TERMS))], x)
    three = np.where(small, third, (0.5 - two) / safe)
    two = np.where(small, 0.5 - x * three, two)
    return np.where(small, 1 - x * two, one), two, three


def count_turns(turns: Array, lag: float, t: float) -> None:
    """Count where a rotor stands, in whole electrical turns: `turns` (4,) as in `Extremes`, changed in place.

    lag: behind or ahead of the command, in electrical turns. The count changes beyond 5/8 of a turn only, so that a rotor
    that trembles at the half turn is not counted over and over.
    """
    if abs(lag - turns[0]) > PASSED:
        now = np.floor(lag + 0.5)
        turns[2] += abs(now - turns[0])
        turns[0] = now
        turns[1] = max(turns[1], abs(now))
        if turns[3] < 0.0:
            turns[3] = t


def _look(
    system: System,
    chunk: Chunk,
    k: int,
    q: Array,
    w: Array,
    tension: Array,
    torque: Array,
    carries: Array,
    belts: list[int],
    out: Array,
    seen: Extremes,
) -> None:
    """Record and keep extremes at the start of a step."""
    tool = np.where(carries, system.tool_at(q), chunk.tool[k])
    lag = np.array([0.0 if m.row is None else m.row @ q - chunk.theta[k, 0, j] for j, m in enumerate(system.motors)])
    values = np.concatenate([tool, tool - chunk.tool[k], tension, torque, lag])
    np.minimum(seen.low, values, out=seen.low)
    np.maximum(seen.high, values, out=seen.high)
    for b in set(belts):
        if any(tension[i] <= 0.0 for i, own in enumerate(belts) if own == b):
            seen.slack[b] += chunk.lengths[k]
    for j, m in enumerate(system.motors):
        if m.spec is not None:
            count_turns(seen.turns[j], m.spec.rotor_teeth * lag[j] / (2 * np.pi), chunk.times[k])
    if chunk.record[k] >= 0:
        out[chunk.record[k]] = np.concatenate([q, w, tension, torque])
