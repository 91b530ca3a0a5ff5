"""The check in the window: rules asked off the drawing thread, marks on the machine, the list beside it."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pygame
import pytest
from beltspring.sim.scenario.load import load_scenario
from beltspring.viz.draw import text
from beltspring.viz.draw.theme import DARK, SMALL
from beltspring.viz.window.runs import run_changed
from beltspring.viz.window.sheets.check import CheckSheet

FAULTY = Path(__file__).parents[3] / "check" / "faulty"


@pytest.fixture(scope="module")
def rubbing():
    """The machine whose belts rub at a crossing."""
    return run_changed(load_scenario(FAULTY / "rubbing-belts.toml"), {})


def checked(hands, longest_s=60.0):
    """Open the check by its key and wait for the report."""
    hands.key(pygame.K_k, words="k")
    assert isinstance(hands.app.sheet, CheckSheet)
    until = time.monotonic() + longest_s
    while hands.app.sheet.report is None and not hands.app.sheet.trouble and time.monotonic() < until:
        hands.step()
        time.sleep(0.01)
    hands.step()
    return hands.app.sheet


def test_the_key_and_the_button_open_it(open_window, rubbing):
    hands = open_window([rubbing])
    sheet = checked(hands)
    assert sheet.trouble == ""
    hands.key(pygame.K_ESCAPE)
    assert hands.app.sheet is None
    hands.press("check")
    assert isinstance(hands.app.sheet, CheckSheet)


def test_findings_are_listed_and_the_chosen_one_is_told(open_window, rubbing):
    hands = open_window([rubbing])
    checked(hands)
    with text.Log() as log:
        hands.app.draw_now(hands.surface)
    said = " ".join(w.text for w in log.words)
    assert "stops" in said
    assert "belt-rub" in said
    assert "Change: set the idlers' levels further apart" in said
    assert "tool at X 180" in said


def test_keys_and_mouse_choose(open_window, rubbing):
    hands = open_window([rubbing])
    sheet = checked(hands)
    count = len(sheet.list.findings)
    hands.key(pygame.K_DOWN)
    assert sheet.list.chosen == 1
    hands.key(pygame.K_END)
    assert sheet.list.chosen == count - 1
    assert (sheet.list.top > 0) == (count > sheet.list._rows()), "the list scrolls to what is chosen"
    hands.key(pygame.K_HOME)
    rows = sheet.list.rect
    hands.click((rows.centerx, rows.y + 3 * rows.h // sheet.list._rows() - 5))
    assert sheet.list.chosen == 2
    hands.wheel(rows.center, -2)
    assert sheet.list.top == max(0, min(2, count - sheet.list._rows()))


def test_the_mark_stands_where_the_belts_cross(open_window, rubbing):
    """An alarm-coloured ring about the place of the first finding, drawn with the tool where they rub."""
    hands = open_window([rubbing], theme="dark")
    sheet = checked(hands)
    hands.app.draw_now(hands.surface)
    place = sheet.list.findings[0].places[0]
    assert place.tool[0] == pytest.approx(0.180)
    view, left = sheet.shown.view, sheet._boxes(hands.app.look)[0]
    box = view.fitted(pygame.Rect(left.x, left.y, left.w, left.h - hands.app.look.px(24)))
    x, y = view.place(box.size).at(np.array(place.point))
    middle = hands.surface.get_at((round(box.x + x), round(box.y + y)))[:3]
    assert middle == DARK.alarm
    ring = [
        hands.surface.get_at((round(box.x + x + 14 * np.cos(a)), round(box.y + y + 14 * np.sin(a))))[:3]
        for a in np.linspace(0.8, 5.4, 12)
    ]
    assert sum(np.abs(np.array(c) - DARK.alarm).max() < 40 for c in ring) >= 9


def test_it_judges_the_changed_settings(open_window, desk):
    hands = open_window([desk])
    hands.app.session.change({"belts.pretension_n": 1.0}, True)
    hands.settle()
    sheet = checked(hands)
    assert "pretension-slack" in {f.rule for f in sheet.list.findings if f.severity == "stop"}


@pytest.mark.parametrize(("size", "scale"), [((1024, 680), 1.0), ((1920, 1080), 1.5), ((1280, 800), 1.0)])
@pytest.mark.parametrize("theme", ["dark", "light"])
def test_words_stay_in_the_sheet(open_window, rubbing, size, scale, theme):
    hands = open_window([rubbing], size=size, scale=scale, theme=theme)
    sheet = checked(hands)
    for _ in range(4):
        with text.Log() as log:
            sheet.draw(pygame.Surface(size, 0, 32), hands.app.look)
        assert len(log.words) > 10
        for word in log.words:
            assert sheet.rect.contains(word.rect), f"{word.text!r} leaves the sheet"
            assert word.size >= round(SMALL * hands.app.look.scale)
        hands.key(pygame.K_DOWN)
