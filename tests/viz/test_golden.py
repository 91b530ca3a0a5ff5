"""Stored pictures of every screen in both themes: what was looked at and found good stays as it is.

Their curves are written by hand (drawn.py), so they change when the drawing does, not when the physics does.

These pin us to ourselves. When a change of the looks is meant, look at the new pictures and store them:
    python tests/viz/make_golden.py
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pygame
import pytest
from beltspring.sim.scenario.load import scenario_of
from PIL import Image

from tests.viz.conftest import DESK
from tests.viz.drawn import drawn_result

GOLDEN = Path(__file__).parent / "golden"
SCREENS = ("mixing", "ringing", "moves", "compare", "print")
#: At most this share of pixels may differ by more than OFF in any channel.
SHARE, OFF = 0.001, 8


def pose(hands, name):
    """The instant each stored picture shows."""
    hands.settle()
    hands.app.clock.go(0.884)
    if name == "mixing":
        hands.app.screen.bench.turn(np.radians([300.0, -60.0]))


@pytest.fixture(scope="module")
def drawn():
    """The desk machine with curves written by hand."""
    return drawn_result(scenario_of(DESK, "desk.toml"), {})


@pytest.mark.parametrize("theme", ["dark", "light"])
@pytest.mark.parametrize("name", SCREENS)
def test_screen(open_window, drawn, name, theme, tmp_path):
    hands = open_window([drawn], initial_screen=name, theme=theme, size=(1280, 800), runner=drawn_result)
    pose(hands, name)
    now = hands.pixels().transpose(1, 0, 2).astype(int)
    with Image.open(GOLDEN / f"{name}-{theme}.png") as image:
        stored = np.asarray(image.convert("RGB")).astype(int)
    assert now.shape == stored.shape
    off = np.abs(now - stored).max(axis=2) > OFF
    if off.mean() > SHARE:
        kept = tmp_path / f"{name}-{theme}.png"
        pygame.image.save(hands.surface, kept)
        rows, columns = np.nonzero(off)
        raise AssertionError(
            f"{100 * off.mean():.2f} % of the pixels differ, x {columns.min()} to {columns.max()}, "
            f"y {rows.min()} to {rows.max()}; the new picture is {kept}"
        )


def test_the_two_themes_are_two_pictures():
    for name in SCREENS:
        pictures = [np.asarray(Image.open(GOLDEN / f"{name}-{t}.png").convert("L")).mean() for t in ("dark", "light")]
        assert pictures[1] > pictures[0] + 100
