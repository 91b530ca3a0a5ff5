"""Nothing is written outside its panel, and nothing smaller than 14 px, in every size a window may have."""

from __future__ import annotations

import pygame
import pytest
from beltspring.viz.draw import text
from beltspring.viz.draw.theme import SMALL

SIZES = [((1024, 680), 1.0), ((1920, 1080), 1.5), ((1280, 800), 1.0), ((2560, 1440), 2.5), ((1600, 1000), 0.8)]


def written(hands):
    hands.settle()
    hands.app.clock.go(0.6)
    hands.app._dirty = True
    with text.Log() as log:
        hands.step(dt=0.0)
    assert len(log.words) > 10
    return log.words


@pytest.mark.parametrize("theme", ["dark", "light"])
@pytest.mark.parametrize(("size", "scale"), SIZES)
@pytest.mark.parametrize("name", ["mixing", "ringing", "compare", "print"])
def test_words_stay_in_their_panels(open_window, name, size, scale, theme):
    hands = open_window(initial_screen=name, size=size, scale=scale, theme=theme)
    if name == "ringing":
        hands.app.stage.drawer_open = True
    for word in written(hands):
        assert word.clip.contains(word.rect), f"{word.text!r} at {word.rect} leaves {word.clip}"
        assert word.size >= round(SMALL * hands.app.look.scale)


@pytest.mark.parametrize("name", ["mixing", "ringing", "print"])
def test_words_of_another_layout_stay_in_their_panels(open_window, bed, name):
    hands = open_window([bed], initial_screen=name, size=(1024, 680))
    for word in written(hands):
        assert word.clip.contains(word.rect), f"{word.text!r} at {word.rect} leaves {word.clip}"


@pytest.mark.parametrize("sheet", ["keys", "check", "open", "save", "export"])
@pytest.mark.parametrize(("size", "scale"), [((1024, 680), 1.0), ((1920, 1080), 1.5)])
def test_words_of_sheets_stay_in_them(open_window, sheet, size, scale):
    hands = open_window(size=size, scale=scale)
    hands.app.show_sheet(sheet)
    hands.step()
    sheet = hands.app.sheet
    with text.Log() as log:
        surface = pygame.Surface(size, 0, 32)
        sheet.draw(surface, hands.app.look)
    for word in log.words:
        assert sheet.rect.contains(word.rect), f"{word.text!r} leaves the sheet"
        assert sheet.title != "Keys and cautions" or not word.text.endswith("…"), f"{word.text!r} is cut"


@pytest.mark.parametrize("size", [(1024, 680), (1920, 1080)])
def test_words_do_not_cover_each_other(open_window, size):
    """On the settings, where rows move together in low windows."""
    hands = open_window(size=size)
    hands.app.stage.drawer_open = True
    hands.app.session.change({"belts.pretension_n": 20.0, "carriage.mass_g": 400.0}, True)
    words = written(hands)
    panel = hands.app.screen.rects["settings"]
    mine = [w for w in words if panel.contains(w.rect)]
    assert len(mine) > 20
    for k, a in enumerate(mine):
        for b in mine[k + 1 :]:
            # Words cast onto the covered panels below the drawer are not of this panel.
            if a.clip == b.clip:
                assert not a.rect.inflate(-2, -4).colliderect(b.rect.inflate(-2, -4)), (a, b)
