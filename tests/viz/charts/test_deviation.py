"""Tool deviation: the clock's reading and the words at the largest value never stand on each other."""

from __future__ import annotations

import numpy as np
import pygame
import pytest
from beltspring.sim import DEVIATION
from beltspring.sim.scenario.load import scenario_of
from beltspring.viz.charts.deviation import DeviationPlot
from beltspring.viz.charts.shown import Shown
from beltspring.viz.draw import text
from beltspring.viz.draw.theme import look

from tests.viz.conftest import DESK
from tests.viz.drawn import drawn_result


@pytest.mark.parametrize("size", [(498, 274), (900, 330)])
def test_the_reading_keeps_clear_of_the_words_at_the_largest(size):
    shown = Shown(drawn_result(scenario_of(DESK, "desk.toml"), {}))
    target, plot = pygame.Surface(size), DeviationPlot()
    for now in np.linspace(0.0, shown.end_s, 60):
        with text.Log() as log:
            plot.draw(target, target.get_rect(), look("light"), shown, float(now))
        words = [w for w in log.words if w.text.startswith(DEVIATION)]
        readings = [w for w in log.words if w.text.endswith("µm") and w not in words]
        assert len(words) == len(readings) == 2
        for reading in readings:
            assert target.get_rect().contains(reading.rect)
            assert reading.rect.collidelist([w.rect for w in words]) == -1
