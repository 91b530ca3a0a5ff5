"""A small scenario, and the drives of its layout."""

from __future__ import annotations

import copy
from typing import Any

import pytest

SMALL: dict[str, Any] = {
    "title": "Bench",
    "layout": "corexy",
    "space": {"x_mm": 180, "y_mm": 160, "z_mm": 150},
    "move": {"pattern": "square"},
}


@pytest.fixture
def small() -> dict[str, Any]:
    """The least a scenario must say, as a tree of its own."""
    return copy.deepcopy(SMALL)
