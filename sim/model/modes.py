"""Natural frequencies, damping and shapes of the model about rest, in numbers and in words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .mode_words import words_of
from .system import Array, System


@dataclass(frozen=True)
class Mode:
    """One mode. shape: (n,) scaled to largest kinetic share 1, real part.  tool_share: (2,) tool motion in X and Y per unit
    of the shape's mass-normalised amplitude (0 where the tool stands still).  words: which part moves against what."""

    frequency_hz: float
    damping_ratio: float
    words: str
    shape: Array
    tool_share: tuple[float, float]


def modes(system: System, tool: Array | None = None) -> list[Mode]:
    """Modes with the tool at rest at `tool` (3,), m (None: mid-reach), lowest first. Guide friction is left out; rigid
    modes and overdamped ones are not listed."""
    q = np.zeros(system.n) if tool is None else system.rest(tool)
    n = system.n
    if n == 0:
        return []
    m, k, d = system.mass, system.linear_stiffness(q), system.linear_damping(q)
    a = np.block([[np.zeros((n, n)), np.eye(n)], [-np.linalg.solve(m, k), -np.linalg.solve(m, d)]])
    values, vectors = np.linalg.eig(a)
    found = []
    for value, vector in zip(values, vectors.T, strict=True):
        if value.imag <= 1e-6 * abs(value) or abs(value) < 1.0:
            continue
        shape = vector[:n]
        shape = np.real(shape * np.exp(-1j * np.angle(shape[np.argmax(np.abs(shape) * np.sqrt(np.diag(m)))])))
        found.append((abs(value), -value.real / abs(value), shape))
    found.sort(key=lambda item: item[0])
    out = []
    for omega, zeta, shape in found:
        norm = float(np.sqrt(shape @ m @ shape))
        share = system.tool_rows[:2] @ (shape / norm)
        frequency = float(omega / (2 * np.pi))
        out.append(
            Mode(frequency, float(zeta), words_of(system, q, shape), shape / norm, (float(share[0]), float(share[1])))
        )
    return out
