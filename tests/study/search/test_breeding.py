"""Which designs come next: against brute force on a space that was judged whole."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from beltspring.sim.study.search.breeding import GENERATION, _changed, generations
from beltspring.sim.study.search.front import beats, crowding, hypervolume, ranks, unbeaten
from beltspring.sim.study.search.space import Knob, Space

from tests.study.search.enumerated import LEVELS, table

SPACE = Space(tuple(Knob(key, levels, key == "frame.height_mm") for key, levels in LEVELS.items()))


@pytest.fixture(scope="module")
def known() -> dict[tuple[int, ...], np.ndarray]:
    genes, values = table()
    assert len(genes) == SPACE.possible
    return dict(zip(genes, values, strict=True))


def searched(known: dict[tuple[int, ...], np.ndarray], tries: int, seed: int) -> list[tuple[int, ...]]:
    asked: list[tuple[int, ...]] = []

    def scores() -> tuple[np.ndarray, np.ndarray]:
        return np.array([known[genes] for genes in asked]), np.zeros(len(asked))

    for born in generations(SPACE, tries, seed, scores):
        assert len(born) <= GENERATION
        asked += born
    return asked


def test_an_eighth_of_the_space_finds_what_the_whole_space_has(known) -> None:
    every = np.array(list(known.values()))
    reference = every.max(axis=0) * 1.01
    whole = hypervolume(every[unbeaten(every)], reference)
    found = []
    for seed in range(10):
        values = np.array([known[genes] for genes in searched(known, 400, seed)])
        found.append(hypervolume(values[unbeaten(values)], reference) / whole)
    assert np.mean(found) >= 0.99, found
    assert max(found) <= 1 + 1e-12


def test_no_design_is_judged_twice_and_the_seed_decides(known) -> None:
    asked = searched(known, 300, 5)
    assert len(asked) == len(set(asked)) == 300
    assert asked == searched(known, 300, 5)
    assert asked != searched(known, 300, 6)


def test_a_small_space_is_judged_whole_and_the_last_design_is_found() -> None:
    small = Space((Knob("a", (1, 2, 3)), Knob("b", (1, 2))))
    assert [g for born in generations(small, 6, 1, lambda: pytest.fail("nothing to ask")) for g in born] == list(
        small.every()
    )


def test_the_last_design_of_a_space_is_found() -> None:
    tall = Space((Knob("a", tuple(range(45))),))
    asked: list[tuple[int, ...]] = []

    def scores() -> tuple[np.ndarray, np.ndarray]:
        return np.array([[float(genes[0])] for genes in asked]), np.zeros(len(asked))

    for born in generations(tall, 44, 1, scores):
        asked += born
    assert len(set(asked)) == 44


def test_layers_are_those_of_the_definition() -> None:
    draw = np.random.default_rng(3)
    for kinds in (1, 2, 3):
        values = draw.integers(0, 6, (40, kinds)).astype(float)
        found = ranks(values, np.zeros(40))
        left, depth = set(range(40)), 0
        while left:  # by the definition, pair by pair
            free = {i for i in left if not any(beats(values[j], values[i]) for j in left)}
            assert {i for i in left if found[i] == depth} == free
            left, depth = left - free, depth + 1


def test_rules_come_before_goals() -> None:
    values = np.array([[1.0], [9.0], [2.0], [3.0]])
    assert list(ranks(values, np.array([2.0, 0.0, 1.0, 1.0]))) == [2, 0, 1, 1]
    assert crowding(np.array([[0.0, 4.0], [1.0, 3.0], [4.0, 0.0]])).tolist() == [np.inf, 2.0, np.inf]


@pytest.mark.parametrize("kinds", [1, 2, 3])
def test_hypervolume_by_inclusion_and_exclusion(kinds: int) -> None:
    # The union of boxes from each point to the reference: sum over subsets of (-1)^(k+1) times the common box.
    points = np.random.default_rng(kinds).uniform(0, 1.1, (7, kinds))
    inside = points[(points < 1).all(axis=1)]
    total = 0.0
    for size in range(1, len(inside) + 1):
        for some in combinations(inside, size):
            total += (-1) ** (size + 1) * float(np.prod(1.0 - np.max(some, axis=0)))
    assert hypervolume(points, [1.0] * kinds) == pytest.approx(total, rel=1e-12)
    assert hypervolume(points[unbeaten(points)], [1.0] * kinds) == pytest.approx(total, rel=1e-12)


@pytest.mark.parametrize("ranged", [False, True])
@pytest.mark.parametrize("levels", [2, 3, 7])
def test_a_change_is_a_change_and_may_be_any_other_level(levels: int, ranged: bool) -> None:
    draw = np.random.default_rng(5)
    for gene in range(levels):
        met = {_changed(gene, levels, ranged, draw) for _ in range(400)}
        assert met == set(range(levels)) - {gene}
