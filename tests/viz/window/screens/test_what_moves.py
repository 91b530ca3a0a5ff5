"""What moves: the list, keys, the foot, and what a machine at detail simple is offered."""

from __future__ import annotations

import numpy as np
import pygame
import pytest
from beltspring.sim import load
from beltspring.viz.window.runs import run_changed

from tests.viz.words import assert_words


@pytest.fixture(scope="module")
def printed():
    return run_changed(load("desk-corexy"), {})


def test_the_loudest_way_is_chosen_and_keys_go_through_them(open_window, printed):
    hands = open_window([printed], initial_screen="moves")
    screen = hands.app.screen
    most = max(range(len(screen.ways)), key=lambda k: max(screen.ways[k].swing_m))
    assert screen.list.chosen == most
    hands.key(pygame.K_RIGHT)
    assert screen.list.chosen == most + 1
    hands.key(pygame.K_LEFT)
    hands.key(pygame.K_LEFT)
    assert screen.list.chosen == most - 1
    assert_words(hands, screen.way.title)
    assert_words(hands, printed.title)


def test_it_swings_until_space_stops_it(open_window, printed):
    hands = open_window([printed], initial_screen="moves")
    before = hands.pixels()
    assert hands.step(dt=0.1)
    assert not np.array_equal(before, hands.pixels())
    hands.key(pygame.K_SPACE)
    hands.step()
    assert not hands.step(dt=0.1)


def test_with_less_motion_both_ends_stand(open_window, printed):
    hands = open_window([printed], initial_screen="moves")
    hands.app.stage.reduce_motion = True
    hands.step()
    assert not hands.step(dt=0.1)


def test_a_press_on_the_foot_chooses_the_nearest(open_window, printed):
    hands = open_window([printed], initial_screen="moves")
    screen = hands.app.screen
    x = round(float(screen.strip.axis(8.0)))
    hands.click((x, screen.rects["foot"].centery))
    assert abs(screen.way.mode.frequency_hz - 8.0) < 0.2


def test_detail_simple_is_offered_the_full_one(open_window, desk):
    hands = open_window([desk], initial_screen="moves")
    assert_words(hands, "Run in full detail")
    hands.press("full detail")
    hands.settle()
    assert_words(hands, "What gives way")
    assert hands.app.session.changes == {"detail": "full"}
