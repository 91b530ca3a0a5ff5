"""The two readers alone, without the planner behind them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from beltspring.sim.plan.program import Program
from beltspring.sim.scenario.load import load_scenario

REACH = np.array([[0.0, 0.2], [0.0, 0.2], [0.0, 0.2]])


def scenario(path: Path) -> None:
    """From bytes to a checked scenario."""
    load_scenario(path)


def program(path: Path) -> None:
    """From bytes to segments."""
    read = Program(path, REACH, 0.2, 3.0, 0.0)
    for _ in read.chunks():
        pass
    read.notes()
