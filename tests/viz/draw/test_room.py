"""One list of what is taken: no word on another, none on a curve, and those that must be there stay in their area."""

from __future__ import annotations

import numpy as np
import pygame
import pytest
from beltspring.viz.draw.room import Room, Spot, around
from beltspring.viz.draw.theme import look

LOOK = look("dark")
AREA = pygame.Rect(0, 0, 300, 120)


@pytest.fixture
def target():
    return pygame.Surface(AREA.size)


def test_a_second_word_takes_the_next_free_spot(target):
    room = Room(LOOK, AREA)
    spots = [Spot(20, 40), Spot(20, 80)]
    first, second = (room.write(target, words, spots) for words in ("largest 40 µm", "faded"))
    assert first.y < second.y
    assert not first.colliderect(second)
    assert room.write(target, "no more room", spots) is None


def test_a_word_keeps_off_a_curve_that_passes_between_two_points(target):
    room = Room(LOOK, AREA)
    room.avoid(np.array([[0.0, 120.0], [300.0, 0.0]]))  # two points far apart: the line between them counts
    assert not room.free(room.ink("on the line", Spot(130, 64), 14))
    assert room.free(room.ink("off it", Spot(10, 30), 14))
    rect = room.write(target, "on the line", [Spot(130, 64), Spot(10, 30)])
    assert rect.bottom < 60


def test_a_shorter_wording_before_none(target):
    room = Room(LOOK, pygame.Rect(0, 0, 90, 40))
    assert room.write(target, ["a wording far too long for here", "short"], [Spot(5, 20)]).w < 90


def test_what_must_be_there_is_moved_into_the_area(target):
    room = Room(LOOK, AREA)
    rect = room.write(target, "at the edge", [Spot(290, 60)], must=True)
    assert AREA.contains(rect)


def test_parts_share_the_list(target):
    room = Room(LOOK, AREA)
    part = room.within(pygame.Rect(0, 0, 150, 120))
    taken = part.write(target, "left half", [Spot(10, 50)])
    assert not room.free(taken)
    assert part.write(target, "right half", [Spot(200, 50)]) is None


def test_places_around_a_mark_do_not_cover_it():
    room = Room(LOOK, AREA)
    for spot in around((150.0, 60.0), 10, 14):
        assert not room.ink("word", spot, 14).collidepoint(150, 60)
