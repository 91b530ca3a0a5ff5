"""Six cards from the machine's own numbers: guessed, shown, told, by mouse and by keys, and skipped."""

from __future__ import annotations

import pygame
import pytest
from beltspring.viz.window.cards import CARDS, WAYS

from tests.viz.words import assert_words


@pytest.fixture
def pupil(open_window, desk):
    hands = open_window(initial_screen="ringing")
    hands.key(pygame.K_l, words="l")
    return hands


def test_a_guess_is_judged_by_the_machine(pupil):
    assert pupil.app.screen.name == "mixing"
    assert_words(pupil, CARDS[0].asks)
    right = WAYS.index("diagonal")
    pupil.key(pygame.K_1 + right, words=str(right + 1))
    assert_words(pupil, "Right. Diagonal.")
    assert_words(pupil, "half of A plus half of B")
    assert pupil.app.screen.bench.playing


def test_a_wrong_guess_is_told_and_nothing_else_happens(pupil):
    pupil.press("lesson answer 1")
    assert_words(pupil, "Not quite. Diagonal.")


def test_all_six_are_gone_through_by_enter(pupil):
    lessons = pupil.app.frame.lessons
    seen = []
    for _ in range(2 * len(CARDS) + 1):
        if lessons.card is None:
            break
        seen.append((lessons.card.title, pupil.app.screen.name))
        pupil.settle()
        pupil.key(pygame.K_RETURN)
    assert lessons.card is None
    assert [title for title, _ in dict(seen).items()] == [card.title for card in CARDS]
    assert dict(seen) == {card.title: card.screen for card in CARDS}


def test_numbers_are_the_machines_own(pupil, desk):
    lessons = pupil.app.frame.lessons
    lessons._go(2)
    line = desk.caption("corner 2", "leg 2")[1]
    assert "times a second" in line
    assert lessons.words()[-1][0].split(",")[0][:8] in line or "swings by" in lessons.words()[-1][0]
    assert pupil.app.clock.playing
    lessons._go(3)
    pupil.key(pygame.K_1, words="1")
    for _ in range(400):
        pupil.step()
        if lessons._two is not None:
            break
        pygame.time.wait(20)
    assert "µm now" in lessons.words()[-1][0]
    lessons._go(4)
    assert "ripple every" in lessons.words()[-1][0]


def test_they_can_be_skipped(pupil):
    pupil.press("lesson skip")
    assert pupil.app.frame.lessons.card is None
    pupil.key(pygame.K_l, words="l")
    pupil.key(pygame.K_ESCAPE)
    assert pupil.app.frame.lessons.card is None
    assert pupil.app.clock.repeat is None
