"""Words and numbers: how they are written, and that the typeface has every sign."""

from __future__ import annotations

import ast
from pathlib import Path

import pygame
import pytest
from beltspring.viz.draw import text
from beltspring.viz.draw.theme import look
from hypothesis import given
from hypothesis import strategies as st

VIZ = Path(text.__file__).parents[1]


@pytest.mark.parametrize(
    ("value", "decimals", "signed", "written"),
    [
        (0.0, 0, False, "0"),
        (-0.04, 1, True, "0.0"),
        (-12.34, 1, False, "−12.3"),
        (12.34, 1, True, "+12.3"),
        (6000, 0, False, "6\u202f000"),
        (1234567.8, 1, False, "1\u202f234\u202f567.8"),
        (999.96, 1, False, "1\u202f000.0"),
        (float("nan"), 0, False, "–"),
        (float("inf"), 0, False, "–"),
    ],
)
def test_number(value, decimals, signed, written):
    assert text.number(value, decimals, signed=signed) == written


@pytest.mark.parametrize(
    ("value", "written"), [(15.0, "15"), (0.5, "0.5"), (12345.0, "12\u202f345"), (2.50, "2.5"), (0, "0"), (-3.0, "−3")]
)
def test_plain(value, written):
    assert text.plain(value) == written


def test_micrometres_show_a_decimal_only_where_it_means_something():
    assert text.micrometres(9.44e-6) == "9.4"
    assert text.micrometres(119.4e-6) == "119"
    assert text.micrometres(-35.9e-6, signed=True) == "−36"


@given(st.floats(-1e9, 1e9), st.integers(0, 4))
def test_a_written_number_reads_back(value, decimals):
    written = text.number(value, decimals).replace("\u202f", "").replace("−", "-")
    assert float(written) == pytest.approx(round(value, decimals), abs=10.0**-decimals)


def test_every_sign_we_write_is_in_the_typeface():
    """A missing glyph is drawn as the same box as a code point that no font has."""
    letters = set()
    terminal = {"console.py", "tables.py", "output.py"}  # these write to a terminal, in its own typeface
    for path in (p for p in VIZ.rglob("*.py") if p.name not in terminal and p.parent.name != "commands"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                letters |= {c for c in node.value if ord(c) > 126 and c.isprintable()}
    face = text.font(20)
    box = pygame.image.tobytes(face.render("\U0010fffe", True, (0, 0, 0)), "RGBA")
    assert "µ" in letters
    missing = {c for c in letters if pygame.image.tobytes(face.render(c, True, (0, 0, 0)), "RGBA") == box}
    assert missing == set()


@given(st.text(st.characters(codec="ascii", exclude_categories=["C"]), max_size=40), st.integers(20, 400))
def test_fit_never_needs_more_than_its_room(words, room):
    style = look("dark")
    fitted = text.fit(style, words, room)
    assert fitted == "" or text.width(style, fitted) <= room


@given(st.lists(st.text("abcdefgh", min_size=1, max_size=9), min_size=1, max_size=20), st.integers(90, 300))
def test_wrap_keeps_every_word_and_the_width(words, room):
    style = look("light")
    lines = text.wrap(style, " ".join(words), room)
    assert " ".join(lines).split() == words
    assert all(text.width(style, line) <= room for line in lines)


def test_the_cache_is_bounded():
    surface = pygame.Surface((50, 50), 0, 32)
    for k in range(text._CACHE_LIMIT + 50):
        text.draw(surface, look("dark"), str(k), 0, 20)
    assert len(text._cache) <= text._CACHE_LIMIT
