"""The way down and the walk sideways, held against scipy on small problems whose answers are known."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim.study.fit.descend import descend, step_within
from beltspring.sim.study.fit.widths import GROWN, Place, widths_of
from scipy.optimize import brentq, least_squares

# Oxygen taken up after so many days, two numbers unknown: Bates and Watts, Nonlinear Regression Analysis, 1988, table A1.4,
# from memory. Its valley is a known banana.
DAYS, TAKEN = np.array([1, 2, 3, 4, 5, 7.0]), np.array([8.3, 10.3, 19.0, 16.0, 15.6, 19.8])
SPREAD = 2.0


def oxygen(x):
    return (TAKEN - x[0] * (1 - np.exp(-x[1] * DAYS))) / SPREAD


def valley(x):
    return np.array([10 * (x[1] - x[0] ** 2), 1 - x[0]])


def slopes_of(left):
    def at(x):
        steps = 1e-6 * np.eye(len(x))
        return np.stack([(left(x + d) - left(x - d)) / 2e-6 for d in steps], axis=1)

    return at


@pytest.mark.parametrize(
    ("left", "start", "low", "high"),
    [
        (valley, [-1.2, 1.0], [-5, -5], [5, 5]),  # Rosenbrock, Computer Journal 3, 1960
        (valley, [-1.2, 1.0], [-5, -5], [0.5, 5]),
        (oxygen, [10.0, 1.0], [1, 0.01], [100, 10]),
        (oxygen, [10.0, 1.0], [1, 0.01], [100, 0.4]),
    ],
)
def test_it_ends_where_scipy_does(left, start, low, high):
    bounds = np.array(low, float), np.array(high, float)
    x, j = descend(left, slopes_of(left), np.array(start), bounds, 60, 1e-12, near=1e-9)
    there = least_squares(left, np.minimum(start, bounds[1] - 0.01), bounds=bounds, xtol=1e-12, ftol=1e-12, gtol=1e-12)
    assert x == pytest.approx(there.x, abs=2e-4)
    assert np.all((bounds[0] <= x) & (x <= bounds[1]))
    assert j == pytest.approx(slopes_of(left)(x), rel=0.02, abs=0.05)


def test_where_nothing_can_be_told_it_goes_another_way():
    x, _ = descend(
        lambda x: None if x[0] > 0.9 else valley(x), slopes_of(valley), np.array([-1.2, 1.0]),
        (np.full(2, -5.0), np.full(2, 5.0)), 60, 1e-9,
    )  # fmt: skip
    assert 0.6 < x[0] <= 0.9


def test_a_step_goes_no_farther_than_it_may():
    h, g = np.array([[4.0, 1.0], [1.0, 0.01 + 0.25]]), np.array([1.0, -3.0])
    wide = np.full(2, -1e9), np.full(2, 1e9)
    assert step_within(h, g, wide, np.inf) == pytest.approx(-np.linalg.solve(h, g))
    assert np.linalg.norm(step_within(h, g, wide, 0.5)) == pytest.approx(0.5)
    kept = step_within(h, g, (np.full(2, -1e9), np.array([1e9, 2.0])), np.inf)
    assert kept == pytest.approx([-(1.0 + 2.0) / 4.0, 2.0])
    # Near an end it may still go up to it; at an end and pushed beyond, it stays and the other goes on by itself.
    near = step_within(np.eye(2), np.array([-0.5, 0.5]), (np.full(2, -0.7), np.full(2, 0.7)), np.inf)
    assert near == pytest.approx([0.5, -0.5])
    at = step_within(h, g, (np.array([0.0, -9.0]), np.array([9.0, 0.0])), np.inf)
    assert at == pytest.approx([0.0, 0.0])
    one = step_within(h, g, (np.array([0.0, -9.0]), np.array([9.0, 99.0])), np.inf)
    assert one == pytest.approx([0.0, 3.0 / 0.26])


def test_how_far_a_number_may_be_is_what_refitting_all_others_says():
    end = least_squares(oxygen, [20.0, 0.5], xtol=1e-14, ftol=1e-14, gtol=1e-14)
    bounds = np.array([1.0, 0.01]), np.array([400.0, 50.0])
    found = widths_of(oxygen, Place(end.x, end.fun), slopes_of(oxygen)(end.x), bounds, np.ones(2, bool), loose=np.inf)

    def grown(i, value):
        def left(other):
            return oxygen(np.insert(other, i, value))

        return least_squares(left, [end.x[1 - i]], bounds=([0.001], [400.0])).cost - end.cost - GROWN

    for i in range(2):
        below = end.x[i] - brentq(lambda v, i=i: grown(i, v), 0.2 * end.x[i], end.x[i])
        above = brentq(lambda v, i=i: grown(i, v), end.x[i], 20 * end.x[i]) - end.x[i]
        assert found.below[i] == pytest.approx(below, rel=0.1)
        assert found.above[i] == pytest.approx(above, rel=0.1)
        # Slopes alone would tell both sides alike, and they are not.
        assert above > 1.2 * below
    assert found.better is None


def test_a_better_place_met_on_the_way_is_told():
    def two_valleys(x):
        return np.array([1.2 * np.sin(3.0 * x[0]), 0.6 * (x[0] - 3.0)])

    end = least_squares(two_valleys, [0.1], xtol=1e-12)
    found = widths_of(
        two_valleys, Place(end.x, end.fun), slopes_of(two_valleys)(end.x), (np.array([-9.0]), np.array([9.0])),
        np.ones(1, bool), loose=np.inf,
    )  # fmt: skip
    assert found.better is not None
    assert two_valleys(found.better) @ two_valleys(found.better) < two_valleys(end.x) @ two_valleys(end.x)
