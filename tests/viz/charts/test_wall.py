"""Light on a wall: Lambert's cosine worked by hand, a tone that keeps small and large ripples apart, round layers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from beltspring.viz.charts.wall import LAYER_M, brightness, layer_shade, tone


def test_brightness_is_lamberts_cosine():
    """n . l with n at right angles to the slope and light 20 degrees over the wall, over that of the flat wall."""
    a = math.radians(20.0)
    for slope in (-0.2, 0.0, 0.1, 0.3):
        face = math.atan(slope)
        by_hand = max(0.0, math.sin(a + face)) / math.sin(a)
        assert brightness(np.array([slope]), a)[0] == pytest.approx(by_hand, rel=1e-12)


def test_36_micrometres_show_visibly_less_than_67():
    """Ripples 2 mm apart under light at 20 degrees."""
    spans = []
    for size in (36e-6, 67e-6):
        slope = 2 * math.pi * size / 2e-3 * np.cos(np.linspace(0, 2 * np.pi, 100))
        shown = tone(brightness(slope, math.radians(20.0)))
        spans.append(shown.max() - shown.min())
        assert shown.min() > 0.0
        assert shown.max() < 1.0
    assert spans[1] > 1.4 * spans[0]


def test_layers_are_darkest_where_they_meet():
    z = np.linspace(0, LAYER_M, 101)
    shade = layer_shade(z)
    assert shade[50] == pytest.approx(1.0)
    assert shade[0] < 0.5
    assert np.allclose(shade, shade[::-1], atol=1e-9)
    assert layer_shade(z + 7 * LAYER_M) == pytest.approx(shade, abs=1e-6)
