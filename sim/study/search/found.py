"""What a search found, as records."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from ...order.prices import Prices
from ..designs import Candidate
from .goals import Goals
from .space import Genes, Space
from .worker import Answers

#: Two designs this close, by their ratio, are as good as each other to whoever must choose.
ALIKE = 0.02


@dataclass(frozen=True, eq=False)
class Design:
    """A judged design. answers: by name, None where it has none; of the front and of steps those at all speeds.

    stops, warnings: rules of `check`, None where nobody asked.
    """

    genes: Genes
    settings: Mapping[str, Any]
    answers: Answers
    stops: tuple[str, ...] | None = None
    warnings: tuple[str, ...] | None = None

    def answer(self, name: str) -> float | None:
        """One of goals.ANSWERS."""
        value = self.answers.get(name)
        return None if value is None else float(value)


@dataclass(frozen=True)
class Step:
    """One change of the chosen design. before, after: levels.  gain_share: of its ringing, negative where it rings more.

    price: beyond the chosen design's, None without.  stops: rules that would stop it, None where nobody asked.
    """

    key: str
    before: Any
    after: Any
    gain_share: float | None
    price: float | None
    stops: tuple[str, ...] | None


@dataclass(frozen=True)
class Knobbed:
    """A key and its share of the variance of the ringing's logarithm among the designs judged."""

    key: str
    share: float


@dataclass(frozen=True, eq=False)
class Searched:
    """What a search found. possible: designs of the space.  judged: how many were asked.  front: none other beats, by the
    first goal.  steps: single changes of the first of the front, the largest gain first.  knobs: the largest share first.

    refused, broken, stopped: how many cannot be built, break a rule, are stopped by `check`.  why: reasons of refusal with
    their count, the most frequent first.  deaths: workers that died.  complete: False where it was interrupted.
    """

    first: Candidate
    space: Space
    goals: Goals
    prices: Prices | None
    judged: tuple[Design, ...]
    front: tuple[Design, ...]
    steps: tuple[Step, ...]
    knobs: tuple[Knobbed, ...]
    refused: int
    broken: int
    stopped: int
    why: tuple[tuple[str, int], ...]
    seed: int
    digest: str
    deaths: int
    complete: bool

    @property
    def possible(self) -> int:
        """Designs of the space."""
        return self.space.possible

    @property
    def chosen(self) -> Design | None:
        """The first of the front."""
        return self.front[0] if self.front else None

    @property
    def as_good_as(self) -> tuple[int | None, ...]:
        """Of each design of the front the number, from 0, of an earlier one that it differs from by no more than 2 % in all
        that is sought; None where it stands for itself."""
        out: list[int | None] = []
        for i, one in enumerate(self.front):
            out.append(next((j for j in range(i) if out[j] is None and self._close(self.front[j], one)), None))
        return tuple(out)

    def _close(self, one: Design, other: Design) -> bool:
        pairs = [(one.answer(name), other.answer(name)) for name in self.goals.least]
        return all(
            a is not None and b is not None and abs(a - b) <= ALIKE * max(abs(a), abs(b)) + 1e-12 for a, b in pairs
        )


@dataclass(frozen=True)
class Sofar:
    """Progress. of: designs to judge.  front: designs that none other beats, quickly judged."""

    judged: int
    of: int
    refused: int
    front: tuple[Design, ...]
    what: str = "designs"


def bought(front: Sequence[Design]) -> Iterator[tuple[Design, Design]]:
    """Neighbours along the front by price, the cheaper first: what each further step of money buys."""
    known = sorted((d for d in front if d.answer("price") is not None), key=lambda d: (d.answer("price"), d.genes))
    yield from pairwise(known)
