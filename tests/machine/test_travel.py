"""Travel against the belts themselves: angles by the belt that passes, slopes by differences, free lengths by the routing."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim.errors import MachineError
from beltspring.sim.machine.routing import belt_path
from beltspring.sim.machine.travel import LinearTravel, rigid_travel

from tests.support import ALL_LAYOUTS, LINEAR_LAYOUTS, bare, machine_of, model_of, workshop


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_runs_tell_the_length_that_the_routing_measures(layout):
    # Geometry of tangents at another place, against one number and one row taken at the middle of the reach.
    scenario = bare(layout)
    machine, system = machine_of(scenario), model_of(scenario)
    for share in (0.1, 0.6, 0.93):
        tool = np.array([low + share * (high - low) for low, high in machine.reach])
        tool[2] = system.middle[2]
        q, offsets = system.rest(tool), machine.offsets(tool)
        paths = {b.name: belt_path(machine, b, offsets) for b in machine.belts}
        for run in system.runs:
            path = paths[run.belt]
            assert run.length(q) == pytest.approx(path.run_length_m(path.runs.index(run.name)), abs=1e-12)
            assert run.stiffness(q) * run.length(q) == pytest.approx(run.ea_n, rel=1e-12)


@pytest.mark.parametrize("layout", ALL_LAYOUTS)
def test_slopes_are_differences(layout):
    system = model_of(workshop(layout))
    tool, step = system.middle + np.array([0.011, -0.007, 0.0]), 5e-4
    # Central differences of fourth order: exact where travel is in proportion, else wrong by step^4 / 30 times the fifth
    # derivative, 15 nrad a metre for angles of arms as long as these.
    near = 1e-9 if layout in LINEAR_LAYOUTS else 2e-8
    for axis in range(3):
        way = step * np.eye(3)[axis]
        for slopes, places in ((system.motor_travel_at, system.motor_command), (system.travel_at, system.rest)):
            one, two = ((places(tool + k * way) - places(tool - k * way)) / (2 * k * step) for k in (1, 2))
            assert slopes(tool)[:, axis] == pytest.approx((4 * one - two) / 3, abs=near)


def test_many_places_at_once():
    travel = LinearTravel(np.array([1.0, 2.0, 3.0]), np.eye(3), np.array([[1.0, 1.0, 0.0], [1.0, -1.0, 0.0]]))
    places = np.array([[1.0, 2.0, 3.0], [1.5, 2.25, 9.0]])
    assert travel.angles(places) == pytest.approx(np.array([[0.0, 0.0], [0.75, 0.25]]))
    assert travel.coordinates(places[1]) == pytest.approx([0.5, 0.25, 6.0])


def test_a_motor_that_moves_no_belt_is_refused():
    # Two belts along X and Y, a third angle that strains neither.
    slides = np.vstack([np.eye(3)[:2], np.zeros((3, 3))])
    rows = np.array([[1.0, 0.0, 0.006, 0.0, 0.0], [0.0, 1.0, 0.0, 0.006, 0.0]])
    found = rigid_travel("invented", slides[:4], rows[:, :4], [2, 3], ())
    assert found[2:, :2] == pytest.approx(-np.eye(2) / 0.006)
    with pytest.raises(MachineError, match="a motor can turn without moving any belt"):
        rigid_travel("invented", slides, rows, [2, 3, 4], ())
