"""Shapes and curves: nothing is lost when a curve is thinned, and plain areas keep their colour."""

from __future__ import annotations

import numpy as np
import pygame
import pytest
from beltspring.viz.draw.canvas import Layer, column_extremes, dashes, rounded, surface
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays


@given(arrays(float, st.integers(200, 800), elements=st.floats(-1e3, 1e3)), st.integers(5, 60))
def test_thinning_loses_no_peak(y, columns):
    x = np.linspace(0.0, 1.0, len(y))
    tx, ty = column_extremes(x, y, 0.0, 1.0, columns)
    assert ty.max() == y.max()
    assert ty.min() == y.min()
    assert len(tx) <= 2 * columns + 4 or len(tx) == len(x)
    assert np.all(np.diff(tx) > 0)
    column = np.minimum((x * columns).astype(int), columns - 1)
    kept = np.minimum((tx * columns).astype(int), columns - 1)
    for k in range(columns):
        if np.any(column == k):
            assert ty[kept == k].max() == y[column == k].max()


@given(st.floats(1, 30), st.floats(1, 30), st.floats(0, 100))
def test_dashes_cover_their_share_of_the_line(on, off, phase):
    line = np.array([[0.0, 0.0], [300.0, 0.0], [300.0, 400.0]])
    drawn = sum(np.hypot(*np.diff(piece, axis=0).T).sum() for piece in dashes(line, on, off, phase))
    periods = 700 / (on + off)
    assert abs(drawn - periods * on) <= on + 1e-6


@pytest.mark.parametrize("factor", [1, 2, 4])
@pytest.mark.parametrize("colour", [(26, 30, 34), (251, 251, 250)])
def test_scaling_down_keeps_a_plain_colour(factor, colour):
    layer = Layer((40, 30), factor)
    layer.surface.fill(colour)
    target = surface((40, 30))
    layer.onto(target, (0, 0))
    assert {tuple(target.get_at((x, y)))[:3] for x in range(40) for y in range(30)} == {colour}


def test_round_corners_stay_inside_and_are_smooth():
    target = surface((60, 40))
    target.fill((0, 0, 0))
    rounded(target, pygame.Rect(10, 10, 40, 20), 8, (200, 100, 50))
    assert tuple(target.get_at((10, 10)))[:3] == (0, 0, 0)
    assert tuple(target.get_at((30, 20)))[:3] == (200, 100, 50)
    assert tuple(target.get_at((9, 20)))[:3] == (0, 0, 0)
    corner = {tuple(target.get_at((x, y)))[:3] for x in range(10, 18) for y in range(10, 18)}
    assert len(corner) > 3  # shades between ground and shape
    assert all(r >= g >= b for r, g, b in corner)  # no fringe of another hue
