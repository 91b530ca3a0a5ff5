"""Motion programs for these tests, and scenarios that follow them."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from beltspring.sim.scenario.load import load_scenario, with_changes
from beltspring.sim.scenario.schema import Scenario


@pytest.fixture
def following(tmp_path: Path) -> Callable[..., Scenario]:
    """A shipped machine that follows a program given as text, with keys changed."""

    def made(text: str, machine: str = "desk-corexy", **changes: Any) -> Scenario:
        path = tmp_path / "program.gcode"
        path.write_text(text)
        keys = {"move.gcode": str(path), **{k.replace("__", "."): v for k, v in changes.items()}}
        return with_changes(load_scenario(machine), keys)

    return made


def rings(count: int, levels: int, feed: int = 6000) -> str:
    """Wavy rings of short lines, a level each, with a stop of 0.3 s after every ring."""
    out = ["G21 G90", "M83", "G0 X130 Y90 Z0.2"]
    for level in range(levels):
        out.append(f"G0 Z{0.2 * (level + 1):.2f}")
        for k in range(count + 1):
            a = 2 * math.pi * k / count
            r = 40 + 3 * math.sin(9 * a)
            out.append(f"G1 X{90 + r * math.cos(a):.4f} Y{90 + r * math.sin(a):.4f} E0.01 F{feed}")
        out.append("G4 P0.3")
    return "\n".join(out) + "\n"
