"""The readable step loop: classical RK4 in plain numpy. The generated loop prints the same arithmetic for one topology.

One step of length h (PHYSICS.md, section 5): four stages at 0, h/2, h/2, h; the bristle states follow their own
exponential with the rate frozen at the speed predicted for the middle of the step, so friction never limits h.
The bristles' damping force takes each stage's own speed, sigma0 / g that of the middle: friction is of second order in h.
"""

from __future__ import annotations

import numpy as np

from ..model.forces import Forces
from ..model.system import Array, System
from .commands import PASSED, Chunk, Extremes, State, belt_index

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
        rate = level * np.abs(slide)
        half = _bristles(z, slide, rate, h / 2)
        z_at = [z, half, half, _bristles(z, slide, rate, h)]
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
                z_at[stage],
                level,
            )
            if stage == 0:
                _look(system, chunk, k, q, w, tension, torque, carries, belts, out, seen)
            sum_q += STAGE_WEIGHT[stage] * dq
            sum_w += STAGE_WEIGHT[stage] * dw
        q, w, z = q + h * sum_q, w + h * sum_w, z_at[3]
    state.q, state.w, state.z, state.t = q, w, z, float(chunk.times[-1])


def _bristles(z: Array, slide: Array, rate: Array, h: float) -> Array:
    """z' = v - rate z over h with v and rate frozen: z e^(-rate h) + v h (1 - e^(-rate h)) / (rate h)."""
    x = rate * h
    small = x < 1e-6
    safe = np.where(small, 1.0, x)
    mean = np.where(small, 1 - x / 2, -np.expm1(-safe) / safe)
    return np.asarray(z * np.exp(-x) + slide * h * mean)


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
