"""Drawn larger: one figure and zeros, a third of the carriage at most, everything else where it belongs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pygame
import pytest
from beltspring.sim.scenario.load import scenario_of
from beltspring.viz.charts.shown import Shown
from beltspring.viz.draw.larger import belts_larger, carriage_m, factor_for, one_figure
from beltspring.viz.draw.theme import look

from tests.viz.conftest import DESK
from tests.viz.drawn import drawn_result


@pytest.mark.parametrize(
    ("value", "told"), [(0.3, 1), (1.0, 1), (7.4, 7), (7.6, 8), (10.0, 10), (437.0, 400), (999.0, 1000)]
)
def test_one_figure_and_zeros(value, told):
    assert one_figure(value) == told


def test_ringing_is_drawn_up_to_about_a_third_of_the_carriage_and_nothing_far_beyond_it():
    for ringing in np.geomspace(1e-6, 1e-3, 40):
        drawn = factor_for(ringing, 2 * ringing, 0.060) * ringing
        assert 0.6 * 0.020 < drawn < 1.4 * 0.020
        assert factor_for(ringing, 50 * ringing, 0.060) * 50 * ringing < 1.4 * 0.060
    assert factor_for(0.0, 0.0, 0.060) == 1.0


def test_belts_pull_more_or_less_and_none_becomes_slack_that_is_not():
    rest = {("a", "left"): 16.0, ("a", "right"): 16.0, ("b", "left"): 16.0}
    now = {("a", "left"): 17.0, ("a", "right"): 11.0, ("b", "left"): 0.5}
    drawn = belts_larger(now, rest)
    assert drawn["a", "left"] == pytest.approx(21.0)
    assert drawn["a", "right"] > 2.0  # 16 - 25 would be below nothing
    assert drawn["b", "left"] == 0.5


@pytest.fixture(scope="module")
def shown():
    return Shown(drawn_result(scenario_of(DESK, "desk.toml"), {}))


def test_the_tool_is_drawn_n_times_as_far_from_where_it_was_asked_to_be(shown):
    for time_s in (0.2, 0.45, 0.884):
        state, larger = shown.machine_state(time_s), shown.machine_state(time_s, larger=shown.larger)
        asked = shown.at(time_s, shown.trace.commanded)
        assert np.allclose(larger.asked_tool, asked)
        assert np.allclose(larger.tool - asked, shown.larger * (state.tool - asked))
        assert np.allclose(larger.trail[-1], larger.tool[:2])
        assert np.allclose(larger.laid, state.laid)  # the line is where it is
    assert shown.larger * shown.off_most_m[0] <= 1.4 * carriage_m(shown.result.machine) / 3


@pytest.mark.parametrize("name", ["dark", "light"])
def test_marks_of_the_place_asked_for_stay_on_the_machine(shown, name):
    """Drawn on a surface larger than the machine, nothing stands outside its rectangle."""
    style = look(name)
    target = pygame.Surface((420, 420))
    target.fill(style.theme.page)
    state = shown.machine_state(0.884, larger=shown.larger)
    far = replace(state, tool=state.asked_tool + np.array([0.2, 0.2, 0.0]))
    box = shown.view.draw(target, pygame.Rect(60, 60, 300, 300), style, far, labels="none")
    pixels = pygame.surfarray.array3d(target).astype(int)
    outside = np.ones(pixels.shape[:2], bool)
    outside[box.x : box.right, box.y : box.bottom] = False
    assert (np.abs(pixels[outside] - np.array(style.theme.page)) == 0).all()


def test_the_same_picture_is_left_behind(shown):
    """What is drawn once leaves nothing on the next picture."""
    style = look("dark")
    pictures = []
    for larger in (1.0, shown.larger, 1.0):
        target = pygame.Surface((300, 300))
        shown.view.draw(target, target.get_rect(), style, shown.machine_state(0.884, larger=larger))
        pictures.append(pygame.image.tobytes(target, "RGB"))
    assert pictures[0] == pictures[2] != pictures[1]
