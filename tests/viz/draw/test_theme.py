"""The tables of colours: readable, and told apart by people who see colours differently."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from beltspring.viz.draw.theme import DARK, LIGHT, look, mix

# Full dichromacy, linear RGB: Machado, Oliveira, Fernandes, "A Physiologically-based Model for Simulation of Color
# Vision Deficiency", IEEE TVCG 15(6), 2009, table of severity 1.0.
SIGHT = {
    "normal": np.eye(3),
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def linear(colour):
    """sRGB to linear light, IEC 61966-2-1."""
    c = np.array(colour) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def contrast(a, b):
    """Contrast ratio of W3C WCAG 2.2, "contrast ratio" and "relative luminance"."""
    low, high = sorted(float(linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (a, b))
    return (high + 0.05) / (low + 0.05)


def lab(rgb):
    """CIE 1976 L*a*b* of linear sRGB under D65 (CIE 15)."""
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ np.clip(rgb, 0, 1)
    t = xyz / np.array([0.9505, 1.0, 1.089])
    f = np.where(t > 216 / 24389, np.cbrt(t), (24389 / 27 * t + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def distance(a, b, sight):
    """Colour difference CIE76 as that person sees it."""
    m = np.array(SIGHT[sight])
    return float(np.linalg.norm(lab(m @ linear(a)) - lab(m @ linear(b))))


def test_contrast_against_the_published_extremes():
    # WCAG 2.2: white on black is 21:1; #777777 on white is the well-known 4.48:1 that just fails AA.
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)
    assert contrast((0x77, 0x77, 0x77), (255, 255, 255)) == pytest.approx(4.48, abs=0.01)


@pytest.mark.parametrize("theme", [DARK, LIGHT], ids=lambda t: t.name)
class TestThemes:
    def test_text_and_secondary_text(self, theme):
        assert contrast(theme.text, theme.panel) >= 14
        assert contrast(theme.dim, theme.panel) >= 6
        # WCAG 2.2, 1.4.3: 4.5:1 for text, also on buttons, on the page and on tooltips.
        for ground in (theme.panel, theme.raised, theme.page):
            assert contrast(theme.text, ground) >= 4.5
            assert contrast(theme.dim, ground) >= 4.5
        assert contrast(theme.panel, theme.control) >= 4.5

    def test_coloured_words(self, theme):
        for colour in (*theme.belts, theme.x, theme.y, *theme.designs, theme.alarm):
            assert contrast(colour, theme.panel) >= 4.5

    def test_strokes_are_seen(self, theme):
        # WCAG 2.2, 1.4.11: 3:1 for parts of graphics that carry meaning.
        for colour in (theme.asked, theme.laid, theme.control, theme.track):
            assert contrast(colour, theme.panel) >= 3

    def test_what_is_still_to_come_is_seen_on_shading_too(self, theme):
        # WCAG 2.2, 1.4.11: 3:1; a tenth more, as these are thin lines.
        for ground in (theme.panel, mix(theme.panel, theme.grid, 0.55)):
            for colour in (theme.x, theme.y, theme.laid, *theme.designs):
                assert contrast(theme.faded(colour, theme.to_come), ground) >= 3.3

    @pytest.mark.parametrize("sight", SIGHT)
    def test_pairs_stay_apart(self, theme, sight):
        assert distance(theme.belts[0], theme.belts[1], sight) >= 80
        for a, b in combinations(theme.belts, 2):
            assert distance(a, b, sight) >= 32
        assert distance(theme.x, theme.y, sight) >= 32
        for a, b in combinations(theme.designs, 2):
            assert distance(a, b, sight) >= 32


def test_unknown_theme_names_the_choices():
    with pytest.raises(ValueError, match="choose dark or light"):
        look("sepia")


def test_mix_ends_at_both_colours():
    assert mix((0, 10, 20), (100, 110, 120), 0) == (0, 10, 20)
    assert mix((0, 10, 20), (100, 110, 120), 1) == (100, 110, 120)
