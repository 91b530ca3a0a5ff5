"""Where the bearings of a guide sit, by hand: a line apart, a bearing apart along it, wheels at both edges of a profile."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.machine.machine import GuidePlace
from beltspring.sim.model.guides import bearings, wheel_facing
from beltspring.sim.parts.design import GuideSpec

X, Y, Z = np.eye(3)
APART, SPACING, EDGE = 0.050, 0.040, 0.012


def guide(kind: str, **more: float) -> GuideSpec:
    return GuideSpec("by hand", kind, 2.0, 3.0, 0.005, 1e-5, 0.1, 1.0, **more)


def place(across: int, **more: object) -> GuidePlace:
    made = GuidePlace((0.1, 0.2, 0.3), across, APART, SPACING, 0.4, 0.2)
    return replace(made, edge_m=EDGE, **more)


def same(found: list[np.ndarray], wanted: list[np.ndarray]) -> bool:
    """Whether both are the same places, in whatever order."""
    return sorted(tuple(np.round(r, 12) + 0.0) for r in found) == sorted(tuple(np.round(r, 12) + 0.0) for r in wanted)


@pytest.mark.parametrize(("slide", "across"), [(0, 1), (0, 2), (1, 0), (2, 0)])
def test_two_bushings_on_each_of_two_rods(slide: int, across: int) -> None:
    axis, side = np.eye(3)[slide], np.eye(3)[across]
    found = bearings(guide("rods"), place(across), slide)
    assert same(found, [s * APART / 2 * side + t * SPACING / 2 * axis for s in (-1, 1) for t in (-1, 1)])
    # The two of one rod stand one after the other.
    assert np.allclose(found[1] - found[0], SPACING * axis)
    assert np.allclose(found[3] - found[2], SPACING * axis)
    assert same(bearings(guide("rods", lines=1), place(across), slide), [-SPACING / 2 * axis, SPACING / 2 * axis])


def test_one_or_two_blocks_on_a_rail() -> None:
    assert same(bearings(guide("rail"), place(1), 0), [-APART / 2 * Y, APART / 2 * Y])
    assert same(bearings(guide("rail", lines=1), place(1), 0), [np.zeros(3)])
    two = bearings(guide("rail", lines=1, blocks=2), place(1), 0)
    assert same(two, [-SPACING / 2 * X, SPACING / 2 * X])


@pytest.mark.parametrize(
    ("slide", "flat", "facing"), [(0, False, Z), (1, False, Z), (0, True, Y), (2, False, X)],
    ids=["a beam along X", "a beam along Y", "under a bed", "a column"],
)  # fmt: skip
def test_four_wheels_above_and_below_a_profile(slide: int, flat: bool, facing: np.ndarray) -> None:
    """Two along either edge, `edge_m` from its middle: above and below a beam, beside it where it is a column or lies flat."""
    across = 0 if slide in (1, 2) else 1
    where = place(across, flat=flat)
    assert np.array_equal(wheel_facing(where, slide), facing)
    axis = np.eye(3)[slide]
    wheels = [s * EDGE * facing + t * SPACING / 2 * axis for s in (-1, 1) for t in (-1, 1)]
    assert same(bearings(guide("wheels", lines=1), where, slide), wheels)
    side = np.eye(3)[across]
    both = [s * APART / 2 * side + w for s in (-1, 1) for w in wheels]
    assert same(bearings(guide("wheels"), where, slide), both)
