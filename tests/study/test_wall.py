"""The wall after a corner: the tool's deviation along the next leg, worked by hand on a move whose ringing is written."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim.practice import INVISIBLE_M
from beltspring.sim.scenario.load import scenario_of

from tests.viz.conftest import DESK
from tests.viz.drawn import RINGS, drawn_result


@pytest.fixture(scope="module")
def drawn():
    return drawn_result(scenario_of(DESK, "desk.toml"), {})


def test_heights_are_the_deviation_at_right_angles(drawn):
    """After the first leg, along +X, the second goes along +Y: what stands out is X, a sine written by hand."""
    wall = drawn.wall(0)
    leg = drawn.plan.legs[1]
    hz, ratio, size = RINGS["x"]
    later = wall.time_s - leg.start_s
    written = -size * np.exp(-ratio * 2 * np.pi * hz * later) * np.sin(2 * np.pi * hz * later)
    # The start of the first leg's slowing down rings on too.
    before = drawn.plan.legs[0]
    early = wall.time_s - before.cruise_to_s
    written += size * np.exp(-ratio * 2 * np.pi * hz * early) * np.sin(2 * np.pi * hz * early)
    late = wall.along_m > 0.002
    assert -wall.height_m[late] == pytest.approx(written[late], abs=3e-6)


def test_ridges_stand_a_swing_apart(drawn):
    """v / f of the leg's cruise: 150 mm/s at 71 Hz make 2.1 mm; the tool rings along the wall too, by a tenth of that."""
    wall = drawn.wall(0)
    assert wall.spacing_m == pytest.approx(0.150 / RINGS["x"][0], abs=0.25e-3)
    assert wall.speed_m_s == pytest.approx(0.150)


def test_beyond_the_calm_nothing_is_seen(drawn):
    calm = 0
    for number in range(3):
        wall = drawn.wall(number)
        assert wall.peak_m == pytest.approx(np.abs(wall.height_m).max())
        if wall.calm_from_m is not None:
            calm += 1
            assert np.abs(wall.height_m[wall.along_m > wall.calm_from_m + 1e-9]).max() <= INVISIBLE_M
            (at,) = np.flatnonzero(np.abs(wall.along_m - wall.calm_from_m) < 1e-9)
            assert abs(wall.height_m[at]) > INVISIBLE_M, "it is calm from the last place that is seen"
    assert calm


def test_after_the_last_leg_there_is_no_wall(drawn):
    assert drawn.wall(len(drawn.plan.legs) - 1) is None
