"""The printed line as a wall: its switch, its corners, what it says."""

from __future__ import annotations

import pygame

from tests.viz.words import assert_words


def test_w_shows_the_wall_and_corners_are_chosen(open_window, desk):
    hands = open_window(initial_screen="print")
    hands.key(pygame.K_w, words="w")
    screen = hands.app.screen
    assert screen.as_wall
    assert screen.wall.corner.labels == ["corner 1", "corner 2", "corner 3", "the worst"]
    assert_words(hands, "off the line after")
    screen.wall.corner._pick(1)
    assert_words(hands, "after corner 2")
    assert_words(hands, "a hair")


def test_light_changes_the_wall_and_nothing_else(open_window):
    hands = open_window(initial_screen="print")
    hands.app.screen.seen.value = 1
    before = hands.pixels()
    hands.app.screen.wall.light.set(6.0, True)
    changed = (before != hands.pixels()).any(axis=2)
    assert changed.mean() > 0.05


def test_of_several_designs_all_are_shown_on_one_scale(open_window):
    hands = open_window(initial_screen="print")
    hands.key(pygame.K_4, pygame.KMOD_CTRL)
    hands.settle()
    hands.key(pygame.K_5, pygame.KMOD_CTRL)
    hands.app.screen.seen.value = 1
    hands.pixels()
    wall = hands.app.screen.wall
    assert len(wall.columns) == 3
    # The worst is the first design's, and the same in all: unlike corners are no comparison.
    assert len({wall.wall(shown)[0] for _, shown, _, _ in wall.designs()}) == 1
    assert_words(hands, "gentler")


def test_a_design_that_rings_more_elsewhere_says_so(open_window):
    """All walls stand at the first design's worst corner; what Compare tells of another may come from another corner."""
    hands = open_window(initial_screen="print")
    hands.key(pygame.K_w, words="w")
    hands.pixels()
    view = hands.app.screen.wall
    shown = view.designs()[0][1]
    name, here = view.wall(shown)
    others = [k for k, c in enumerate(shown.corners[:-1]) if c.name != name]
    assert view._worse_elsewhere(shown, here) == ""
    low = min((view._wall(shown, k) for k in others), key=lambda wall: wall.peak_m)
    assert low.peak_m < here.peak_m / 1.05
    assert view._worse_elsewhere(shown, low).startswith(f"its own worst is {name}: ")
    view.corner._pick(others[0])
    assert view._worse_elsewhere(shown, low) == ""  # somebody asked for this corner
