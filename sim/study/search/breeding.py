"""Which designs to judge next: all of a small space; else generation by generation from the best so far.

A generational search by layers and crowding (NSGA-II: Deb, Pratap, Agarwal and Meyarivan, IEEE Transactions on Evolutionary
Computation 6(2), 2002, 182-197, from memory), started from a Sobol sequence, that judges no design twice. What comes next
depends on the seed and on what was judged alone, never on who judged it or when.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc

from .front import crowding, ranks
from .space import Genes, Space

Array = NDArray[np.float64]

#: So many designs are a generation, and so many of the best are kept to breed from.
GENERATION, KEPT = 20, 40
#: Chance that a knob comes from the second parent; that a ranged knob's change is one to its neighbourhood; its reach.
CROSS, NEAR, REACH = 0.5, 0.7, 0.15
#: After so many children that were judged already one is drawn at random.
TRIES = 60

#: (values (n, k) of what is least wanted, amiss (n,)) of all designs judged so far, in the order asked.
Scores = Callable[[], tuple[Array, Array]]


def generations(space: Space, tries: int, seed: int, scores: Scores) -> Iterator[list[Genes]]:
    """Designs to judge, a generation at a time, `tries` in all or the whole space where it is no larger.

    scores: asked before every generation but the first.
    """
    if space.possible <= tries:
        every = list(space.every())
        for first in range(0, len(every), GENERATION):
            yield every[first : first + GENERATION]
        return
    draw = np.random.default_rng(seed)
    known: dict[Genes, None] = {}
    start = min(tries, KEPT)
    for genes in _sobol(space, start, seed):
        known[genes] = None
    first_ones = list(known)
    for first in range(0, len(first_ones), GENERATION):
        yield first_ones[first : first + GENERATION]
    while len(known) < tries:
        judged = list(known)
        parents = _best(judged, *scores())
        born: list[Genes] = []
        for _ in range(min(GENERATION, tries - len(known))):
            child = _new(space, parents, known, draw)
            known[child] = None
            born.append(child)
        yield born


def _sobol(space: Space, count: int, seed: int) -> Iterator[Genes]:
    """The first `count` different designs of a scrambled Sobol sequence."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # what is drawn need not be a power of two here
        engine = qmc.Sobol(len(space.knobs), seed=seed)
        levels = np.array([len(knob.levels) for knob in space.knobs])
        found: dict[Genes, None] = {}
        for _ in range(64):
            for row in engine.random(max(count, 1)):
                found.setdefault(tuple(int(g) for g in np.minimum((row * levels).astype(int), levels - 1)))
                if len(found) == count:
                    yield from found
                    return
    yield from found


def _best(judged: Sequence[Genes], values: Array, amiss: Array) -> list[tuple[Genes, int, float]]:
    """The KEPT best with their layer and room, the best first."""
    layer = ranks(values, amiss)
    room = np.zeros(len(judged))
    for depth in np.unique(layer):
        mine = np.flatnonzero(layer == depth)
        room[mine] = crowding(values[mine]) if amiss[mine[0]] <= 0 else 0.0
    order = sorted(range(len(judged)), key=lambda i: (layer[i], -room[i], i))[:KEPT]
    return [(judged[i], int(layer[i]), float(room[i])) for i in order]


def _new(
    space: Space,
    parents: Sequence[tuple[Genes, int, float]],
    known: dict[Genes, None],
    draw: np.random.Generator,
) -> Genes:
    for _ in range(TRIES):
        child = _child(space, _chosen(parents, draw), _chosen(parents, draw), draw)
        if child not in known:
            return child
    while True:  # a space that is larger than the tries has one left
        child = space.at(int(draw.integers(space.possible))) if space.possible < 2**62 else _anything(space, draw)
        if child not in known:
            return child


def _anything(space: Space, draw: np.random.Generator) -> Genes:
    return tuple(int(draw.integers(len(knob.levels))) for knob in space.knobs)


def _chosen(parents: Sequence[tuple[Genes, int, float]], draw: np.random.Generator) -> Genes:
    """The better of two drawn at random."""
    one, other = (parents[int(draw.integers(len(parents)))] for _ in range(2))
    return (one if (one[1], -one[2]) <= (other[1], -other[2]) else other)[0]


def _child(space: Space, one: Genes, other: Genes, draw: np.random.Generator) -> Genes:
    """Each knob of either parent, and a knob now and then changed; at least one where both parents are the same."""
    genes = [b if draw.random() < CROSS else a for a, b in zip(one, other, strict=True)]
    chance = 1.0 / len(genes)
    forced = int(draw.integers(len(genes))) if tuple(genes) in (one, other) else -1
    for k, knob in enumerate(space.knobs):
        if (k == forced or draw.random() < chance) and len(knob.levels) > 1:
            genes[k] = _changed(genes[k], len(knob.levels), knob.ranged, draw)
    return tuple(genes)


def _changed(gene: int, levels: int, ranged: bool, draw: np.random.Generator) -> int:
    """Another level: of a range mostly one nearby, of a list any."""
    if ranged and draw.random() < NEAR:
        step = max(1, round(abs(draw.normal()) * REACH * levels))
        moved = gene + step if draw.random() < 0.5 else gene - step
        inside = min(max(moved, 0), levels - 1)
        if inside != gene:
            return inside
    return int((gene + 1 + draw.integers(levels - 1)) % levels)
