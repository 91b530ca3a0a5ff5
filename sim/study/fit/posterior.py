"""How sure the knobs are after a fit: what each still may be, what was learned of it, and what cannot be told apart."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...parts.design import BAND_SIGMA
from .problem import Problem
from .solve import Solved

Array = NDArray[np.float64]

APART = 0.7
#: A number counts as informed by what leaves less than this share of what was unknown of it.
LEARNED = 0.75


@dataclass(frozen=True)
class Posterior:
    """sigma: (knobs,), of each in turns.  prior: (knobs,), the same before.  below, above: (knobs,), turns that it may be off
    at two sigma.  informed: (knobs,), whether its direction was
    measured better than it was known (a singular value of slopes times prior sigma above 1).  correlation: (knobs, knobs)."""

    sigma: Array
    prior: Array
    below: Array
    above: Array
    informed: NDArray[np.bool_]
    correlation: Array


def posterior_of(problem: Problem, solved: Solved) -> Posterior:
    """From the slopes at the end, records widened as the problem has them, and from what was walked beside it."""
    found = spread_of(problem, solved.slopes)
    if solved.widths is None:
        return found
    k = len(problem.knobs)
    below, above = solved.widths.below[:k], solved.widths.above[:k]
    learned = below + above < LEARNED * 2 * BAND_SIGMA * found.prior
    return replace(found, below=below, above=above, informed=found.informed & learned)


def spread_of(problem: Problem, slopes: Array) -> Posterior:
    """The posterior from slopes (rows, turns)."""
    k = len(problem.knobs)
    prior = 1.0 / np.array([max(knob.slope(0.0), 1e-9) for knob in problem.knobs])
    data = slopes[: len(slopes) - k]
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
    two = BAND_SIGMA * sigma * prior
    return Posterior(sigma * prior, prior, two, two, np.asarray(informed), cov / np.outer(sigma, sigma))


def alike(posterior: Posterior) -> list[tuple[int, int, float]]:
    """Pairs of knobs that cannot be told apart, with their correlation, the strongest first: of those that something felt."""
    c, out = posterior.correlation, []
    felt = posterior.sigma < 0.98 * posterior.prior
    for a in range(len(c)):
        for b in range(a):
            if abs(c[a, b]) > APART and felt[a] and felt[b]:
                out.append((b, a, float(c[a, b])))
    return sorted(out, key=lambda pair: -abs(pair[2]))
