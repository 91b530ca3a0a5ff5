"""Six cards from the machine's own numbers: guessed, shown, told, by mouse and by keys, and skipped."""

from __future__ import annotations

import pygame
import pytest
from beltspring.sim.scenario.load import scenario_of
from beltspring.viz.window.cards import CARDS, WAYS
from beltspring.viz.window.runs import run_changed

from tests.viz.conftest import DESK
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
    hz = desk.analysis.ringing[desk.analysis.ringing_axis].frequency_hz
    told = lessons.words()[-1][0]
    assert f"{hz:.3g} times a second" in told
    # How far it is off the line stands in the plot beside it; another number for the same moment would be a rival.
    assert "µm" not in told
    assert "µm" in desk.caption("corner 2", "leg 2")[1]
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


@pytest.fixture(scope="module")
def full():
    """The desk machine at detail full: only there the last card has ways to swing."""
    return run_changed(scenario_of({**DESK, "detail": "full"}, "desk.toml"), {})


#: The panels that each card speaks of, in order.
SPEAKS_OF = (
    ("top view", "motors", "what the carriage does"),
    ("top view", "motors", "push"),
    ("machine", "off the line"),
    ("off the line", "settings"),
    (),
    ("ways to swing", "the swing", "what gives way"),
)


@pytest.mark.parametrize("answered", [False, True])
@pytest.mark.parametrize("number", range(len(CARDS)))
def test_a_card_does_not_cover_what_it_speaks_of(open_window, full, number, answered):
    pupil = open_window([full], initial_screen="ringing")
    lessons = pupil.app.frame.lessons
    lessons._go(number)
    if answered:
        lessons.answer(0)
    pupil.settle()
    pupil.move((2, 2))
    panels = pupil.app.screen.panels()
    # Letters begin within the edge; the facts of what moves end above two switches.
    edge = 60 if CARDS[number].screen == "moves" else 18
    seen = {name: panels[name].inflate(-2 * edge, -2 * edge) for name in SPEAKS_OF[number]}
    assert all(not lessons.rect.colliderect(rect) for rect in seen.values())
    assert pupil.surface.get_rect().contains(lessons.rect)
    if CARDS[number].top:
        # Of the wall the curve with its spacing stands at the foot.
        assert lessons.rect.bottom < panels["wall 1"].centery
    for button in (*lessons._options * (not lessons.answered), lessons.next, lessons.skip):
        assert lessons.rect.contains(button.rect)


def test_they_can_be_skipped(pupil):
    pupil.press("lesson skip")
    assert pupil.app.frame.lessons.card is None
    pupil.key(pygame.K_l, words="l")
    pupil.key(pygame.K_ESCAPE)
    assert pupil.app.frame.lessons.card is None
    assert pupil.app.clock.repeat is None
