"""A fit's folder in the window: its records before and after, what was learned, its scenario, and folders that are none."""

from __future__ import annotations

import json
import time
from types import SimpleNamespace

import numpy as np
import pytest
from beltspring.sim import FitCurves, InputError
from beltspring.viz.files.fit_read import FitSaved, read_fit, write_curves
from beltspring.viz.window.sheets.fit import FitSheet

from tests.viz.words import assert_words

FITTED = """title = "Fitted desk"
layout = "corexy"
detail = "simple"
space = {x_mm = 180, y_mm = 180, z_mm = 180}
frame = {part = "slot-2020"}
move = {pattern = "square", size_mm = 60}
"""


@pytest.fixture
def folder(tmp_path):
    """As `beltspring fit --out` leaves it, from curves of our own."""
    t = np.arange(0.0, 0.4, 1e-3)
    ring = np.exp(-8 * t) * np.sin(2 * np.pi * 60 * t)
    curves = FitCurves("x", t, ring, 0.6 * ring, 0.98 * ring)
    records = [
        SimpleNamespace(file=name, unexplained=0.021, unexplained_before=0.4, curves=curves)
        for name in ("step-x.csv", "square.csv")
    ]
    write_curves(records, tmp_path)
    told = {
        "parameters": [{"informed": True, "words": "Belts: 15 kN, now 12.1 kN"}, {"informed": False, "words": "no"}],
        "numbers": [{"name": "ripples x", "words": "ripples x: 1.94 mm; 1.8 → 1.92 mm"}],
    }
    (tmp_path / "fit.json").write_text(json.dumps(told))
    (tmp_path / "fitted.toml").write_text(FITTED)
    return tmp_path


def test_what_is_written_is_read_back(folder):
    saved = read_fit(folder)
    assert [r.file for r in saved.records] == ["step-x.csv", "square.csv"]
    assert saved.learned == ("Belts: 15 kN, now 12.1 kN",)
    assert saved.numbers == ("ripples x: 1.94 mm; 1.8 → 1.92 mm",)
    curves = saved.records[0].curves
    assert curves.after == pytest.approx(0.98 * curves.measured, abs=1e-4)
    assert saved.scenario == folder / "fitted.toml"


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda f: (f / "curves.json").unlink(), "not a fit's folder"),
        (lambda f: (f / "curves.json").write_text("[{"), "broken"),
        (lambda f: (f / "curves.json").write_text('[{"file": "a"}]'), "broken"),
        (lambda f: (f / "fit.json").write_text("[]"), "broken"),
    ],
)
def test_a_folder_that_is_none_is_told_in_the_sheet(open_window, folder, spoil, words):
    spoil(folder)
    with pytest.raises(InputError, match=words):
        read_fit(folder)
    hands = open_window(initial_screen="ringing")
    hands.app.show_sheet("open")
    hands.app.sheet._go(str(folder))
    assert_words(hands, words)


@pytest.mark.parametrize("theme", ["dark", "light"])
def test_before_and_after_are_shown_and_its_scenario_is_opened(open_window, folder, theme):
    hands = open_window(initial_screen="ringing", theme=theme)
    hands.app.show_sheet("open")
    hands.app.sheet._go(str(folder))
    assert isinstance(hands.app.sheet, FitSheet)
    for words in ("step-x.csv, before", "40.0 % unexplained", "2.1 % unexplained", "now 12.1 kN", "record 1 of 2"):
        assert_words(hands, words)
    hands.press("next record")
    assert_words(hands, "square.csv, after")
    hands.press("work on fitted")
    for _ in range(2000):
        hands.step(dt=0.01)
        if hands.app.sheet is None or hands.app.sheet.trouble:
            break
        time.sleep(0.01)
    assert hands.app.sheet is None, hands.app.sheet.trouble
    assert hands.app.session.shown.result.title == "Fitted desk"


def test_all_that_was_learned_is_told_in_two_columns(open_window):
    lines = tuple(f"belts.number_{k}: 1 → 2 N ± 3 % (before ± 40 %)" for k in range(36))
    hands = open_window(initial_screen="ringing", size=(1024, 680))
    stage = hands.app.stage
    stage.open_sheet(FitSheet(stage, FitSaved((), lines, None), lambda: None))
    for line in lines:
        assert_words(hands, line)
    stage.open_sheet(FitSheet(stage, FitSaved((), lines + lines, None), lambda: None))
    assert_words(hands, "more: `report.txt` has them all")
