"""Repeat: a corner, the whole move, nothing; the clock comes back to where it began."""

from __future__ import annotations

import pygame
import pytest

from tests.viz.words import assert_words


def test_r_goes_through_corner_all_and_nothing(hands):
    clock = hands.app.clock
    corner = hands.app.session.shown.corners[1]
    clock.go(corner.stop_s + 0.01)
    hands.key(pygame.K_r)
    assert_words(hands, "repeat corner 2")
    assert clock.playing
    assert clock.repeat == (corner.begin_s, corner.end_s)
    clock.go(corner.end_s - 1e-4)
    hands.step(dt=0.05)
    assert clock.time_s == pytest.approx(corner.begin_s, abs=0.01)
    assert clock.playing
    hands.key(pygame.K_r)
    assert_words(hands, "repeat all")
    clock.go(clock.end_s - 1e-4)
    hands.step(dt=0.05)
    assert clock.time_s < 0.01
    hands.key(pygame.K_r)
    assert clock.repeat is None
    assert_words(hands, "repeat all", there=False)


def test_a_new_result_keeps_the_corner_repeated(hands):
    clock = hands.app.clock
    clock.go(hands.app.session.shown.corners[1].stop_s)
    hands.key(pygame.K_r)
    hands.app.session.change({"motion.speed_mm_s": 120.0}, True)
    hands.settle()
    corner = hands.app.session.shown.corners[1]
    assert clock.repeat == (corner.begin_s, corner.end_s)


def test_what_is_marked_on_the_time_line_has_a_word(hands):
    assert_words(hands, "largest")
    assert_words(hands, "corner 3")
