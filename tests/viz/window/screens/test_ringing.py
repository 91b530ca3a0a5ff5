"""The ringing test: one corner close, the machine with its ringing drawn larger, results in words."""

from __future__ import annotations

import itertools

import pygame
import pytest
from beltspring.sim import troubles_of
from beltspring.viz.draw import text
from beltspring.viz.window.runs import run_changed

from tests.viz.words import assert_words

SIZES = [((1024, 680), 1.0), ((1280, 800), 1.0), ((1920, 1080), 1.0)]


def words_of(hands):
    hands.app._dirty = True
    with text.Log() as log:
        hands.step(dt=0.0)
    return log.words


def said(hands):
    return [w.text for w in words_of(hands)]


@pytest.fixture
def ringing(hands):
    return hands


def test_it_opens_where_there_is_something_to_see(ringing):
    screen = ringing.app.screen
    now = ringing.app.clock.time_s
    corner = screen.view.corner(screen.shown)
    assert corner.stop_s <= now <= corner.end_s
    assert f"{corner.name}" in said(ringing)


def test_the_sentence_below_the_machine_has_the_number_of_the_curve(ringing):
    for now in (0.5, 0.884, 1.3):
        ringing.app.clock.go(now)
        words = said(ringing)
        off = next(w for w in words if w.endswith("off the line") and w != "off the line")
        reading = words[words.index("now") - 1]
        assert reading.lstrip("+−") == off.removesuffix(" off the line")


def test_left_and_right_on_the_strip_choose_the_corner(ringing):
    view, shown = ringing.app.screen.view, ringing.app.screen.shown
    strip = ringing.control("whole move")
    ringing.click((strip.rect.x + 3, strip.rect.y + 10))
    assert view.number(shown) == 0
    ringing.key(pygame.K_RIGHT)
    assert view.number(shown) == 1
    ringing.key(pygame.K_LEFT)
    ringing.key(pygame.K_LEFT)
    assert view.number(shown) == 0
    ringing.click((strip.rect.right - 3, strip.rect.y + 10))
    assert view.corner(shown).name == "end"


def test_the_wheel_shows_less_time_larger(ringing):
    ringing.app.clock.go(0.884)
    screen = ringing.app.screen
    low, high = screen.view.span(screen.shown)
    ringing.wheel(ringing.control("deviation").rect.center, 3)
    assert screen.view.span(screen.shown)[1] - low < 0.6 * (high - low)
    assert screen.view.span(screen.shown)[0] == low


@pytest.mark.parametrize("curve", range(4))
def test_every_way_of_being_off_has_its_curve(ringing, curve):
    ringing.app.screen.curve.value = curve
    title = ("Off the line", "Along the line", "Deviation in X", "Deviation in Y")[curve]
    assert title in said(ringing)


def test_the_machine_as_it_is(ringing):
    assert_words(ringing, "larger")
    ringing.app.screen.size.value = 0
    assert_words(ringing, "dashed: where it was asked to be", there=False)


@pytest.mark.parametrize("theme", ["dark", "light"])
@pytest.mark.parametrize(("size", "scale"), SIZES)
def test_no_two_words_lie_on_each_other(open_window, size, scale, theme):
    hands = open_window(size=size, scale=scale, theme=theme)
    for now in (0.05, 0.45, 0.884, 1.31, 1.9):
        hands.app.clock.go(now)
        for half in (0, 1):
            hands.app.screen.half.value = half
            for a, b in itertools.combinations(words_of(hands), 2):
                assert not a.rect.inflate(-2, -4).colliderect(b.rect.inflate(-2, -4)), (now, a, b)


@pytest.fixture(scope="module")
def weak(desk):
    """Motors too weak for the move."""
    return run_changed(desk.scenario, {"motors.current_a": 0.2, "motion.acceleration_mm_s2": 12000})


def test_lost_steps_are_words_in_the_result_and_an_alarm_on_the_line_after_the_loss(open_window, weak):
    assert any("loses" in words for words in troubles_of(weak.trace))
    hands = open_window([weak])
    hands.app.clock.go(0.9)
    words = said(hands)
    assert any(w.startswith("! motor ") for w in words)
    assert any(w.startswith("! steps lost") for w in words)
    alarm = hands.app.look.theme.alarm
    rect = hands.app.screen.plot.rect
    pixels = hands.pixels()[rect.x : rect.right, rect.y : rect.bottom]
    assert ((pixels == alarm).all(axis=2)).sum() > 20


def test_a_slack_belt_is_told_in_the_result(open_window, desk):
    loose = run_changed(desk.scenario, {"belts.pretension_n": 1.0, "motion.acceleration_mm_s2": 9000})
    assert any("slack for" in words for words in troubles_of(loose.trace))
    assert any(w.startswith("! belt ") for w in said(open_window([loose])))


def test_in_words_says_what_the_command_line_says(ringing):
    ringing.press("in words")
    ringing.settle()
    for _ in range(400):
        if not ringing.app.sheet.waiting:
            break
        ringing.step(dt=0.05)
        pygame.time.wait(20)
    report = ringing.app.session.shown.result
    told = " ".join(said(ringing))
    for sentence in report.sentences:
        assert " ".join(sentence.split()[:5]) in told


def test_a_press_on_a_peak_asks_what_moves_there(ringing):
    asked = []
    ringing.app.stage.show_way = asked.append
    ringing.step()
    spectrum = ringing.app.screen.spectrum
    rect, hz = spectrum.dots[0]
    ringing.click((spectrum.at[0] + rect.centerx, spectrum.at[1] + rect.centery))
    assert asked == [hz]


def test_a_peak_of_the_spectrum_leads_to_what_moves_there(ringing):
    ringing.step()
    spectrum = ringing.app.screen.spectrum
    rect, _ = spectrum.dots[0]
    ringing.click((spectrum.at[0] + rect.centerx, spectrum.at[1] + rect.centery))
    assert ringing.app.screen.name == "moves"
