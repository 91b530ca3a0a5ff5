"""One table of keys: what the sheet prints is what the keys do."""

from __future__ import annotations

import pygame
import pytest
from beltspring.viz.draw import text
from beltspring.viz.window.keys import BENCH, CLOCK, KEYS, LESSONS, PRINT, SLIDERS, WINDOW, Chord, Group, Key, Row
from beltspring.viz.window.screens.printed import WAYS
from beltspring.viz.window.sheets import keys as sheet

CHORDS = [(group, row, chord) for group in KEYS for row in group.rows for chord in row.chords]


def key_of(chord, code):
    return Key(code, bool(chord.shift), bool(chord.ctrl), bool(chord.alt))


@pytest.mark.parametrize(
    ("group", "row", "chord"), CHORDS, ids=lambda v: getattr(v, "command", None) and str(v.command)
)
def test_every_chord_is_found_under_its_command(group, row, chord):
    for code in chord.codes:
        assert group.command(key_of(chord, code)) == chord.command


def test_every_row_has_keys_behind_it():
    assert all(row.chords for group in KEYS for row in group.rows)


def test_every_command_is_done_by_someone(hands):
    """The window does those of clock and window; sliders, bench and lens do theirs; Tab and F1 are the input's."""
    done = set(hands.app.commands.does) | {"next control", "previous control", "tip"}
    told = {chord.command for group in (CLOCK, WINDOW) for row in group.rows for chord in row.chords}
    assert told <= done
    assert done - told == {"undo", "redo"}
    sliders = {chord.command for row in SLIDERS.rows for chord in row.chords}
    assert sliders == {"less", "more", "lowest", "highest", "default", "type", "undo", "redo"}
    assert {chord.command.split()[0] for row in LESSONS.rows for chord in row.chords} == {"lesson", "answer"}
    assert {chord.command for row in PRINT.rows for chord in row.chords} == {*WAYS, "wall"}
    assert {chord.command.split()[0] for row in BENCH.rows for chord in row.chords} == {
        "hold",
        "move",
        "rest",
        "give",
        "push",
        "draw",
    }


def test_a_row_put_into_the_table_is_printed_and_works(hands, monkeypatch):
    told = Group(1, "Window", (*WINDOW.rows, Row("F9", "an added row", (Chord("theme", (pygame.K_F9,)),))))
    monkeypatch.setattr(sheet, "KEYS", (told,))
    monkeypatch.setattr("beltspring.viz.window.commands.WINDOW", told)
    before = hands.app.stage.theme_name
    hands.key(pygame.K_F9)
    assert hands.app.stage.theme_name != before
    hands.app.show_sheet("keys")
    with text.Log() as log:
        hands.step()
    assert {"F9", "an added row"} <= {word.text for word in log.words}


@pytest.mark.parametrize("mod", [pygame.KMOD_ALT, pygame.KMOD_CTRL])
def test_letters_with_alt_or_ctrl_are_not_commands(hands, mod):
    hands.key(pygame.K_t, mod)
    assert hands.app.stage.theme_name == "dark"


def test_what_needs_the_screen_waits_while_a_sheet_lies_above(hands):
    hands.app.show_sheet("keys")
    hands.key(pygame.K_2, pygame.KMOD_CTRL)
    hands.key(pygame.K_3, pygame.KMOD_CTRL)
    assert hands.app.screen.name == "ringing"
    hands.key(pygame.K_PLUS, pygame.KMOD_CTRL)
    assert hands.app.stage.scale == pytest.approx(1.1)
