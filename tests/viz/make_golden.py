"""Store the pictures that test_golden.py compares with. Look at each one before you commit it."""

from __future__ import annotations

import sys
from pathlib import Path

import pygame

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from beltspring.sim.scenario.load import scenario_of
from beltspring.viz.window.app import App

from tests.viz.conftest import DESK, Hands
from tests.viz.drawn import drawn_result
from tests.viz.test_golden import GOLDEN, SCREENS, pose


def main() -> None:
    """Draw every screen in both themes."""
    desk = drawn_result(scenario_of(DESK, "desk.toml"), {})
    GOLDEN.mkdir(exist_ok=True)
    for name in SCREENS:
        for theme in ("dark", "light"):
            hands = Hands(App([desk], size=(1280, 800), theme=theme, initial_screen=name, runner=drawn_result))
            pose(hands, name)
            hands.pixels()
            pygame.image.save(hands.surface, GOLDEN / f"{name}-{theme}.png")
            hands.app.close()
            print(f"stored {name}-{theme}.png")


if __name__ == "__main__":
    main()
