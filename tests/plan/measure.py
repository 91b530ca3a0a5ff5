"""What a plan really does, measured on its pieces: for tests that hold it to its limits."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from beltspring.sim.plan.build import MotionPlan
from beltspring.sim.plan.segments import ARC, BLEND, HOLD, WAVE
from beltspring.sim.plan.stretches import Block
from numpy.typing import NDArray

Array = NDArray[np.float64]


def apart(a: Array, b: Array) -> float:
    """Largest difference of two arrays of one shape; infinite if any of it is not a number. pytest.approx is slow on such.

    An array without any element is no agreement: it has no difference to bound, and raises ValueError.
    """
    assert a.shape == b.shape
    found = float(np.abs(a - b).max())
    return found if math.isfinite(found) else math.inf


@dataclass
class Worst:
    """Largest value of each, over a whole plan.

    speed: m/s.  acceleration: of the whole vector, m/s2.  jerk: along the path, m/s3.  gap: between the end of a piece
    and the start of the next, m.  jump: of the velocity vector between pieces, m/s.  backwards: speed below zero, m/s.
    acceleration_jump: along the path, between pieces without a velocity jump, m/s2.
    """

    speed: float = 0.0
    acceleration: float = 0.0
    jerk: float = 0.0
    gap: float = 0.0
    jump: float = 0.0
    backwards: float = 0.0
    acceleration_jump: float = 0.0


def along(block: Block, m: int, tau: float) -> tuple[float, float, float]:
    """Way, speed, acceleration along the path, tau after the start of piece m."""
    s, v, a, j = block.pieces.motion[m]
    return (
        s + tau * (v + tau * (a / 2 + tau * j / 6)),
        v + tau * (a + tau * j / 2),
        a + tau * j,
    )


def state(block: Block, m: int, tau: float) -> tuple[Array, Array, Array]:
    """Position, velocity, acceleration vectors, tau after the start of piece m, from the definitions of the segments."""
    row = block.pieces.segment[m]
    g, kind = block.segments.geo[row], block.segments.kind[row]
    if kind == HOLD:
        return g[0:3].copy(), np.zeros(3), np.zeros(3)
    if kind == WAVE:
        w, u = g[7], g[3:6]
        swell = (g[8] - g[6]) * w / (2 * math.pi)
        swing, c, q = g[6] + swell * tau, math.cos(w * tau), math.sin(w * tau)
        return (
            g[0:3] + u * swing * (1 - c),
            u * (swell * (1 - c) + swing * w * q),
            u * (2 * swell * w * q + swing * w * w * c),
        )
    s, v, a = along(block, m, tau)
    if kind in (ARC, BLEND):
        k = g[12]
        c, q = math.cos(k * s), math.sin(k * s)
        tangent = k * (g[6:9] * c - g[3:6] * q) + g[9:12]
        normal = -k * k * (g[3:6] * c + g[6:9] * q)
        return g[0:3] + g[3:6] * c + g[6:9] * q + g[9:12] * s, tangent * v, tangent * a + normal * v * v
    return g[0:3] + g[3:6] * s, g[3:6] * v, g[3:6] * a


def pieces(plan: MotionPlan) -> Iterator[tuple[Block, int, float]]:
    """Every piece of a plan: its block, its index there, its duration."""
    for block in plan.stream():
        stops = np.append(block.pieces.start_s[1:], block.pieces.end_s)
        for m in range(len(block.pieces)):
            yield block, m, float(stops[m] - block.pieces.start_s[m])


def worst(plan: MotionPlan) -> Worst:
    """Walk all pieces of a plan; extremes of a cubic lie at its ends or where its derivative is zero."""
    out = Worst()
    before: tuple[Array, Array, float] | None = None
    for block, m, duration in pieces(plan):
        kind = block.segments.kind[block.pieces.segment[m]]
        _, _, a, j = block.pieces.motion[m]
        inner = -a / j if j != 0.0 else 0.0
        times = np.unique(np.clip([0.0, inner, *np.linspace(0.0, duration, 9)], 0.0, duration))
        for tau in times:
            _, velocity, acceleration = state(block, m, float(tau))
            out.speed = max(out.speed, float(np.linalg.norm(velocity)))
            out.acceleration = max(out.acceleration, float(np.linalg.norm(acceleration)))
            if kind not in (HOLD, WAVE):
                out.backwards = max(out.backwards, -along(block, m, float(tau))[1])
        first, last = state(block, m, 0.0), state(block, m, duration)
        start_a = along(block, m, 0.0)[2] if kind not in (HOLD, WAVE) else 0.0
        end_a = along(block, m, duration)[2] if kind not in (HOLD, WAVE) else 0.0
        if before is not None:
            out.gap = max(out.gap, float(np.linalg.norm(first[0] - before[0])))
            jump = float(np.linalg.norm(first[1] - before[1]))
            out.jump = max(out.jump, jump)
            out.acceleration_jump = max(out.acceleration_jump, abs(start_a - before[2]))
        out.jerk = max(out.jerk, abs(j))
        before = (last[0], last[1], end_a)
    return out
