"""Natural frequencies, damping and shapes of the model about rest, in numbers and in words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import eig

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
    values, vectors = eig(a)
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
        frequency = omega / (2 * np.pi)
        out.append(Mode(frequency, zeta, _words(system, shape, k), shape / norm, (float(share[0]), float(share[1]))))
    return out


def _words(system: System, shape: Array, k: Array) -> str:
    """Which parts carry most of the motion's energy, and which springs they work against."""
    energy = np.diag(system.mass) * shape**2
    energy = energy / energy.sum()
    order = np.argsort(-energy)
    # A part is named when it carries a fifth of the motion; at most two.
    parts = [system.dof_names[i] for i in order if energy[i] >= 0.2][:2] or [system.dof_names[int(order[0])]]
    total = float(shape @ k @ shape)
    belts = sum(float(run.row @ shape) ** 2 * run.ea_n / run.length_m for run in system.runs) / total
    frame = float(shape @ system.stiffness @ shape) / total
    magnets = max(0.0, 1.0 - belts - frame)
    against = sorted(((belts, "belts"), (frame, "frame"), (magnets, "motor field")), reverse=True)
    named = [name for share, name in against if share >= 0.25]
    moving = " and ".join(_plain(p) for p in parts)
    return f"{moving} against {' and '.join(named)}"


def _plain(name: str) -> str:
    """ "carriage x" -> "carriage in X", "rotor a" -> "rotor a"."""
    head, _, tail = name.partition(" ")
    return f"{head} in {tail.upper()}" if head != "rotor" else name
