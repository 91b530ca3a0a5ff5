"""How sure the knobs are after a fit: what each still may be, what was learned of it, and what cannot be told apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .problem import Problem
from .solve import Solved

Array = NDArray[np.float64]

APART = 0.7


@dataclass(frozen=True)
class Posterior:
    """sigma: (knobs,), of each in turns.  prior: (knobs,), the same before.  informed: (knobs,), whether its direction was
    measured better than it was known (a singular value of slopes times prior sigma above 1).  correlation: (knobs, knobs)."""

    sigma: Array
    prior: Array
    informed: NDArray[np.bool_]
    correlation: Array


def posterior_of(problem: Problem, solved: Solved) -> Posterior:
    """From the slopes at the end, widened by what is left of each record and by how long that stays alike."""
    return spread_of(problem, solved.slopes, widenings(problem, solved.left))


def widenings(problem: Problem, left: Array) -> list[float]:
    """Of each record, by how much its samples tell less than as many independent ones: variance times correlation time."""
    out = []
    for rows, one in zip(problem.rows(), problem.samples, strict=True):
        r = left[rows].reshape(-1, one.axes)
        out.append(float(np.mean(r**2)) * correlation_time(r))
    return out


def correlation_time(r: Array) -> float:
    """Samples that tell as much as one, of (n, axes): 1 + 2 sum of the correlations up to their first zero, axes weighted
    by what they leave."""
    n = len(r)
    size = 1 << int(np.ceil(np.log2(2 * n)))
    power = (np.abs(np.fft.rfft(r - r.mean(axis=0), size, axis=0)) ** 2).sum(axis=1)
    lagged = np.fft.irfft(power, size)[: n // 4]
    if not lagged[0] > 0:
        return 1.0
    rho = lagged / lagged[0]
    below = np.flatnonzero(rho <= 0)
    last = int(below[0]) if len(below) else len(rho)
    return float(1.0 + 2.0 * rho[1:last].sum())


def spread_of(problem: Problem, slopes: Array, wider: list[float]) -> Posterior:
    """The posterior from slopes (rows, turns). wider: of each record, see `widenings`."""
    k = len(problem.knobs)
    j = slopes.copy()
    for rows, by in zip(problem.rows(), wider, strict=True):
        j[rows] /= np.sqrt(max(by, 1e-3))
    prior = 1.0 / np.array([max(knob.slope(0.0), 1e-9) for knob in problem.knobs])
    data = j[: len(j) - k]
    aside = data[:, k:]
    # Starts and clocks taken out: what is left of a knob's slopes is what only it explains.
    mine = data[:, :k]
    if aside.shape[1]:
        mine = mine - aside @ np.linalg.lstsq(aside, mine, rcond=None)[0]
    scaled = mine * prior
    _, s, vt = (
        np.linalg.svd(scaled, full_matrices=True) if len(scaled) < k else np.linalg.svd(scaled, full_matrices=False)
    )
    told = np.zeros(k)
    told[: len(s)] = s
    cov = (vt.T / (1.0 + told**2)) @ vt
    sigma = np.sqrt(np.diag(cov))
    informed = ((vt[told > 1.0] ** 2).sum(axis=0)) > 0.5
    return Posterior(sigma * prior, prior, np.asarray(informed), cov / np.outer(sigma, sigma))


def alike(posterior: Posterior) -> list[tuple[int, int, float]]:
    """Pairs of knobs that cannot be told apart, with their correlation, the strongest first: of those that something felt."""
    c, out = posterior.correlation, []
    felt = posterior.sigma < 0.98 * posterior.prior
    for a in range(len(c)):
        for b in range(a):
            if abs(c[a, b]) > APART and felt[a] and felt[b]:
                out.append((b, a, float(c[a, b])))
    return sorted(out, key=lambda pair: -abs(pair[2]))
