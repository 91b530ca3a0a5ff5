"""Colours by belt and motor: a belt that both motors pull has neither's, and its motors are told apart by letter."""

from __future__ import annotations

import numpy as np
import pygame
import pytest
from beltspring.sim import build_machine
from beltspring.sim.scenario.load import scenario_of
from beltspring.viz.draw import text
from beltspring.viz.draw.arms import view_of
from beltspring.viz.draw.belt_colours import belt_colour, motor_colour
from beltspring.viz.draw.state import MachineState
from beltspring.viz.draw.theme import THEMES, look

from tests.viz.conftest import DESK


def machine(layout):
    return build_machine(scenario_of({**DESK, "layout": layout, "variant": []}, "desk.toml"))


@pytest.mark.parametrize("name", ["dark", "light"])
def test_the_belt_of_an_h_frame_is_neutral(name):
    theme, built = THEMES[name], machine("hframe")
    assert len(built.belts) == 1
    assert belt_colour(theme, built, 0) not in theme.belts
    assert {motor_colour(theme, built, k) for k in range(2)} == {theme.text}
    target = pygame.Surface((300, 300))
    with text.Log() as log:
        view_of(built).draw(target, target.get_rect(), look(name), MachineState(tool=built.middle))
    assert {"A", "B"} <= {w.text for w in log.words}
    pixels = pygame.surfarray.array3d(target).reshape(-1, 3)
    for colour in theme.belts[:2]:
        assert not (pixels == np.array(colour)).all(axis=1).any()


@pytest.mark.parametrize("name", ["dark", "light"])
def test_belts_of_their_own_motor_keep_its_colour(name):
    theme = THEMES[name]
    for built in (machine("corexy"), machine("moving-bed")):
        for k in range(2):
            assert belt_colour(theme, built, k) == motor_colour(theme, built, k) == theme.belts[k]
