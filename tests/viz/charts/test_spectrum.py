"""The spectrum: every peak over a third of the tallest is named, its dot stands at the printed frequency."""

from __future__ import annotations

import itertools
import re
from types import SimpleNamespace

import numpy as np
import pygame
import pytest
from beltspring.sim import load, run
from beltspring.viz.charts.shown import Shown
from beltspring.viz.charts.spectrum import SpectrumPlot
from beltspring.viz.draw import text
from beltspring.viz.draw.theme import look


@pytest.fixture(scope="module", params=["desk-corexy", "moving-bed-wheels"])
def shown(request):
    """Machines as a person gets them: on rubber feet, where the tallest peak is no belt's."""
    return Shown(run(load(request.param)))


def drawn(shown, size, theme="light"):
    target, plot = pygame.Surface(size), SpectrumPlot()
    with text.Log() as log:
        plot.draw(target, target.get_rect(), look(theme), shown)
    return plot, log.words


@pytest.mark.parametrize("size", [(200, 190), (420, 230), (900, 380)])
def test_every_peak_over_a_third_has_its_number_and_its_dot_there(shown, size):
    plot, words = drawn(shown, size)
    printed = [float(found) for w in words for found in re.findall(r"([\d.]+) Hz$", w.text)]
    spectra = [s for s in shown.result.analysis.spectra.values() if len(s.frequency_hz)]
    tallest = max(p.amplitude_m for s in spectra for p in s.peaks)
    for s in spectra:
        told = shown.result.analysis.ringing[s.axis].frequency_hz
        for peak in s.peaks:
            if peak.amplitude_m > tallest / 3:
                near = [hz for hz in printed if abs(hz / peak.frequency_hz - 1) < 0.1]
                assert near, (s.axis, peak.frequency_hz, printed)
        assert any(abs(hz - told) <= 0.5 for hz in printed), (told, printed)
    assert len(plot.dots) >= len(spectra)


@pytest.mark.parametrize("size", [(200, 190), (420, 230), (900, 380)])
def test_no_words_lie_on_each_other_or_on_a_curve(shown, size):
    plot, words = drawn(shown, size)
    named = [w for w in words if w.text.endswith("Hz") or w.text.startswith(("fades", "the "))]
    for a, b in itertools.combinations(words, 2):
        assert not a.rect.colliderect(b.rect), (a, b)
    if size[0] > 300:
        for word in named[:-1]:  # the last number of the axis stands below the curves
            for curve in plot._curve_px:
                inside = (curve[:, 0] > word.rect.left) & (curve[:, 0] < word.rect.right)
                inside &= (curve[:, 1] > word.rect.top) & (curve[:, 1] < word.rect.bottom)
                assert not np.any(inside), word


def test_the_feet_are_named(shown):
    """The tallest peak of both is the whole machine on its feet: it has a name, not only a number."""
    _, words = drawn(shown, (900, 380))
    assert any("feet" in w.text for w in words)


@pytest.mark.parametrize("size", [(120, 190), (900, 380)])
def test_where_nothing_rings_the_words_stay_in_the_panel(size):
    silent = SimpleNamespace(serial=-1, result=SimpleNamespace(analysis=SimpleNamespace(spectra={}, responses=())))
    _, words = drawn(silent, size)
    assert " ".join(w.text for w in words) == "No axis stands still long enough to ring down."
    assert all(pygame.Rect(0, 0, *size).contains(w.rect) for w in words)
