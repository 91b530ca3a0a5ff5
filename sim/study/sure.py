"""How sure a comparison is: its designs as the machines they may turn out to be, the same numbers for all of them."""

from __future__ import annotations

from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .compare import Comparison
from .draws import DRAWS, SEED
from .spread import Pair, Spread, Told, paired, spreads, sureness
from .spread_words import verdict_sentence

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Spreading:
    """spreads: one a design, in the order asked.  pairs, sures: every design after the first against it.

    pair, sure, verdict: of the best against the first, or against the second best where the first is best; None without one.
    """

    spreads: tuple[Spread, ...]
    pairs: tuple[Pair, ...]
    sures: tuple[str | None, ...]
    pair: Pair | None
    sure: str | None
    verdict: str | None

    @property
    def judged_um(self) -> tuple[tuple[float, float] | None, ...]:
        """Of each design between which judged ringing, um, 8 of 10 machines lie; None where none could be judged."""
        found = [s.answers.get("judged_um") for s in self.spreads]
        return tuple(None if one is None else (one.low, one.high) for one in found)


def spread_comparison(
    comparison: Comparison,
    told: Told | None = None,
    executor: Executor | None = None,
    count: int = DRAWS,
    seed: int = SEED,
    long: bool = False,
    command: str = "compare",
) -> Spreading:
    """How sure a comparison is. See `spreads`."""
    found = spreads([r.scenario for r in comparison.reports], count, seed, executor, told, long, command)
    pairs = tuple(paired(one, found[0]) for one in found[1:])
    sures = tuple(sureness(p, *_peaks(comparison, i + 1, 0)) for i, p in enumerate(pairs))
    best, other = comparison.best, _other(comparison)
    if best is None or other is None:
        return Spreading(tuple(found), pairs, sures, None, None, None)
    pair = paired(found[best], found[other])
    sure = sureness(pair, *_peaks(comparison, best, other))
    verdict = verdict_sentence(comparison.labels[best], comparison.labels[other], pair, sure)
    return Spreading(tuple(found), pairs, sures, pair, sure, verdict)


def _other(comparison: Comparison) -> int | None:
    """The design that the best is set against: the first, or the best of the others where that is itself."""
    if comparison.best != 0:
        return 0
    return next((i for i in comparison.order if i != 0), None)


def _peaks(comparison: Comparison, one: int, other: int) -> list[Array]:
    """Peaks of two designs at the judged speeds; none where there is no verdict."""
    return [np.zeros(0) if (j := comparison.judged[i]) is None else j.peaks_m for i in (one, other)]
