"""A search from Compare: it grows beside the window, says what the engine says, can be stopped, and a winner is taken over."""

from __future__ import annotations

import time

import pygame
import pytest
from beltspring.sim import build_machine, load_prices, order, search, search_wanted, with_changes
from beltspring.sim.scenario.load import scenario_of
from beltspring.viz.window.app import App
from beltspring.viz.window.runs import run_changed
from beltspring.viz.window.screens.compare import CompareScreen
from beltspring.viz.window.sheets.search import vary_of

from tests.viz.conftest import DESK, Hands
from tests.viz.words import assert_words

VARY = {"belts.part": ["belt-2mm-6-glass", "belt-2mm-9-glass"], "motion.acceleration_mm_s2": [2500, 5000]}


@pytest.fixture(scope="module")
def small():
    """A machine whose file says what to search."""
    table = {"vary": VARY, "least": ["judged_um", "job_s"]}
    return run_changed(scenario_of({**DESK, "search": table}, "desk.toml"), {})


@pytest.fixture
def compare(small):
    app = App([small], size=(1280, 800), initial_screen="compare")
    yield Hands(app)
    app.close()


def finish(hands, longest_s=60.0):
    sheet, until = hands.app.sheet, time.monotonic() + longest_s
    while sheet.running and time.monotonic() < until:
        hands.step(dt=0.02)
        time.sleep(0.01)
    assert not sheet.running
    hands.step()
    return sheet


def test_it_finds_what_the_engine_finds_and_a_winner_is_taken_over(compare, small):
    compare.press("search")
    sheet = finish(compare)
    wanted = search_wanted(small.scenario)
    direct = search(small.scenario, wanted.space, wanted.goals, None, wanted.tries, wanted.seed)
    assert sheet.found.digest == direct.digest
    assert [one.genes for one in sheet.shown()] == [one.genes for one in direct.front][:6]
    assert_words(compare, "4 of 4 designs judged")
    best = direct.front[0]
    assert_words(compare, f"{best.answer('judged_um'):.3g} µm")
    compare.press("winner 1")
    session = compare.app.session
    assert compare.app.sheet is None
    assert all(session.value(key) == value for key, value in best.settings.items())
    assert session.changes  # the best is not the one as written
    session.undo()
    assert not session.changes


def test_what_was_found_is_there_again_until_a_setting_changes(compare):
    compare.press("search")
    sheet = finish(compare)
    compare.key(pygame.K_ESCAPE)
    compare.press("search")
    assert compare.app.sheet is sheet
    compare.key(pygame.K_ESCAPE)
    compare.app.session.change({"carriage.mass_g": 300}, True)
    compare.press("search")
    assert compare.app.sheet is not sheet
    compare.key(pygame.K_ESCAPE)


def test_it_trades_money_where_prices_are_known():
    prices = load_prices("example")
    plain = run_changed(scenario_of({**DESK, "search": {"vary": VARY}}, "desk.toml"), {})
    hands = Hands(App([plain], size=(1280, 800), initial_screen="compare", prices=prices))
    try:
        hands.press("search")
        sheet = finish(hands)
        assert sheet.goals.least == ("judged_um", "price")
        for one in sheet.found.judged:
            changed = with_changes(plain.scenario, one.settings, "a setting")
            assert one.answer("price") == pytest.approx(order(build_machine(changed), prices).price)
        assert_words(hands, f"{sheet.shown()[0].answer('price'):.2f} {prices.currency}")
    finally:
        hands.app.close()


def test_it_stops_with_what_is_judged(desk):
    hands = Hands(App([desk], size=(1280, 800), initial_screen="compare"))
    try:
        hands.press("search")
        sheet, until = hands.app.sheet, time.monotonic() + 60.0
        while sheet.sofar.last is None and time.monotonic() < until:
            hands.step(dt=0.02)
            time.sleep(0.01)
        hands.press("stop search")
        assert not finish(hands).found.complete
        assert_words(hands, "stopped before its end")
    finally:
        hands.app.close()


def test_without_a_table_it_varies_what_compare_does_with_what_there_is(desk):
    app = App([desk], initial_screen="compare")
    try:
        vary = dict(words.split("=") for words in vary_of(app.session))
    finally:
        app.close()
    assert set(vary) == {"belts.part", "motors.part", "frame.part", "motion.acceleration_mm_s2"}
    assert "motor-17-40" in vary["motors.part"].split(",")
    assert vary["motion.acceleration_mm_s2"] == "2500,3750,5000,7500,10000"


def test_what_cannot_be_judged_is_told(small):
    table = {"vary": {"belts.prat": ["a"]}}
    wrong = run_changed(scenario_of({**DESK, "search": table}, "desk.toml"), {})
    hands = Hands(App([wrong], size=(1280, 800), initial_screen="compare"))
    try:
        assert isinstance(hands.app.screen, CompareScreen)
        hands.press("search")
        sheet = finish(hands)
        assert "belts.prat" in sheet.trouble
        assert_words(hands, "belts.prat")
    finally:
        hands.app.close()
