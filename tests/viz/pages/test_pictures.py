"""Still pictures: written with no screen at all, whole or not at all, with the settings that made them."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest
from beltspring.viz.draw.png import read_words
from beltspring.viz.pages.compare import MOST_DESIGNS, compare_picture
from beltspring.viz.pages.run import picture
from PIL import Image


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_a_picture_of_one_run(desk, tmp_path, theme):
    path = picture(desk, tmp_path / "picture.png", theme)
    with Image.open(path) as image:  # Pillow reads what our own writer added
        image.load()
        assert image.size == (1600, 1000)
        assert "Test desk machine" in image.text["Title"]
        assert "belts.pretension_n = 16" in image.text["Settings"]
        assert len(image.convert("RGB").getcolors(1 << 24)) > 500
    assert read_words(path.read_bytes())["Software"] == "beltspring"
    assert [p.name for p in tmp_path.iterdir()] == ["picture.png"]


def test_twice_the_scale_is_twice_the_size(desk, tmp_path):
    with Image.open(picture(desk, tmp_path / "large.png", scale=2, size=(1200, 760))) as image:
        assert image.size == (2400, 1520)


@pytest.mark.parametrize("count", [2, 3, 5])
def test_compared_designs(desk, bed, tmp_path, count):
    results = [desk, bed, desk, bed, desk][:count]
    path = compare_picture(results, tmp_path / "compare.png", labels=[f"design {k}" for k in range(count)])
    with Image.open(path) as image:
        assert image.size == (1600, 1000)
        assert image.text["Description"].count("\n") == count - 1
    assert MOST_DESIGNS == 3


def test_an_unwritable_place_leaves_nothing(desk, tmp_path):
    with pytest.raises(OSError):
        picture(desk, tmp_path / "no such folder" / "picture.png")
    assert list(tmp_path.iterdir()) == []


def test_no_screen_is_needed_and_none_is_touched(tmp_path):
    """A fresh interpreter without a display; the person's own driver choice stays as it was."""
    code = f"""
import os
from beltspring.sim.scenario.load import load_scenario
from beltspring.viz.window.runs import run_changed
from beltspring.viz.pages.run import picture
picture(run_changed(load_scenario("spring-mass"), {{}}), {str(tmp_path / "p.png")!r})
import pygame
assert not pygame.display.get_init(), "a still picture opened a display"
assert pygame.mixer.get_init() is None, "audio was opened"
assert os.environ.get("SDL_VIDEODRIVER") == "x11"
"""
    env = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY")}
    done = subprocess.run(
        [sys.executable, "-c", code], env={**env, "SDL_VIDEODRIVER": "x11"}, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout == ""  # pygame's greeting would spoil --json
    assert (tmp_path / "p.png").stat().st_size > 10_000
