"""The machine drawing: wheels turn by the belt that passed them, teeth run with the belt, equal input gives equal pixels."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pygame
import pytest
from beltspring.sim.machine.routing import belt_path
from beltspring.viz.draw import text
from beltspring.viz.draw.belts import DrawnBelt, Place
from beltspring.viz.draw.machine import MachineView
from beltspring.viz.draw.order import belt_angles
from beltspring.viz.draw.state import MachineState
from beltspring.viz.draw.theme import look
from hypothesis import given
from hypothesis import strategies as st


@pytest.fixture(params=["desk", "bed"])
def machine(request):
    return request.getfixturevalue(request.param).machine


def away(machine, dx_m, dy_m):
    """The middle of the reach, moved."""
    return np.add(machine.middle, (dx_m, dy_m, 0.0))


def angles(machine, tool):
    offsets = machine.offsets(np.asarray(tool, float))
    out = {}
    for belt in machine.belts:
        out |= belt_angles(belt_path(machine, belt, offsets), belt_path(machine, belt))
    return out


def picture(machine, state, size=(400, 400), theme="dark"):
    target = pygame.Surface(size, 0, 32)
    target.fill(look(theme).theme.panel)
    MachineView(machine).draw(target, target.get_rect(), look(theme), state)
    return pygame.surfarray.array3d(target)


def test_a_turn_of_a_motor_is_forty_millimetres_of_belt(desk):
    # Geometry of synchronous belts: 20 teeth of 2 mm pass in a turn. CoreXY after I. E. Moyer, MIT, 2012 (from memory):
    # A moves by X + Y, B by X - Y, so 20 mm in both axes turn A once and leave B at rest.
    machine = desk.machine
    turned = angles(machine, away(machine, 0.020, 0.020))
    assert abs(turned["motor A"]) == pytest.approx(2 * math.pi, abs=1e-9)
    assert turned["motor B"] == pytest.approx(0.0, abs=1e-9)
    turned = angles(machine, away(machine, 0.020, -0.020))
    assert turned["motor A"] == pytest.approx(0.0, abs=1e-9)
    assert abs(turned["motor B"]) == pytest.approx(2 * math.pi, abs=1e-9)


def test_each_motor_of_a_moving_bed_serves_its_own_axis(bed):
    turned = angles(bed.machine, away(bed.machine, 0.040, 0.0))
    assert abs(turned["motor X"]) == pytest.approx(2 * math.pi, abs=1e-9)
    assert turned["motor Y"] == pytest.approx(0.0, abs=1e-9)


@given(st.lists(st.tuples(st.floats(0.01, 0.17), st.floats(0.01, 0.17)), min_size=1, max_size=6))
def test_wheels_come_back_with_the_tool(desk, places):
    """Rolling without slip depends on the place alone, so small steps along any way add up to the same angle."""
    machine = desk.machine
    way = [machine.middle[:2], *places]
    total = dict.fromkeys(angles(machine, machine.middle), 0.0)
    for (x0, y0), (x1, y1) in pairwise(way):
        for k in range(4):
            a = angles(machine, [x0 + (x1 - x0) * k / 4, y0 + (y1 - y0) * k / 4, 0.09])
            b = angles(machine, [x0 + (x1 - x0) * (k + 1) / 4, y0 + (y1 - y0) * (k + 1) / 4, 0.09])
            for wheel in total:
                total[wheel] += b[wheel] - a[wheel]
    end = angles(machine, [*way[-1], 0.09])
    for wheel, turned in total.items():
        assert turned == pytest.approx(end[wheel], abs=1e-9)


def test_the_model_and_the_drawing_turn_motors_alike(desk):
    """The motor angle of the trace (model) against the belt travel of the routing (drawing), away from ringing."""
    trace, machine = desk.trace, desk.machine
    start, end = angles(machine, trace.tool[0]), angles(machine, trace.tool[-1])
    middle = len(trace.t_s) // 2
    half = angles(machine, trace.tool[middle])
    for k, motor in enumerate(machine.motors):
        assert end[motor.wheel] - start[motor.wheel] == pytest.approx(trace.motor_rad[-1, k], abs=0.02)
        assert half[motor.wheel] - start[motor.wheel] == pytest.approx(trace.motor_rad[middle, k], abs=0.02)


@pytest.mark.parametrize("theme", ["dark", "light"])
def test_equal_input_gives_equal_pixels(machine, theme):
    state = MachineState(away(machine, 0.01, 0.02), motor_rad={machine.motors[0].name: 1.0})
    assert np.array_equal(picture(machine, state, theme=theme), picture(machine, state, theme=theme))
    other = MachineState(away(machine, 0.011, 0.02), motor_rad={machine.motors[0].name: 1.0})
    assert not np.array_equal(picture(machine, state, theme=theme), picture(machine, other, theme=theme))


def test_teeth_run_with_the_belt(desk):
    """Where a span keeps its place, moving its belt by one drawn pitch gives the same picture, by half a pitch another."""
    machine = desk.machine
    view = MachineView(machine)
    belt = machine.belts[0]
    pitch = view.tooth_pitch_m(belt, view.place((600, 600), 2))
    box = view.fitted(pygame.Rect(0, 0, 600, 600))
    rear = max(w.centre[1] for w in machine.wheels.values() if w.name.startswith("rear a"))
    row = round(float(view.place(box.size).at(np.array([0.09, rear]))[1])) + box.y

    def strip(moved_m):
        # Both axes by half: belt A moves by `moved_m`, belt B stays.
        tool = away(machine, moved_m / 2, moved_m / 2)
        return picture(machine, MachineState(tool), (600, 600))[200:400, row - 30 : row + 4].astype(int)

    same = np.abs(strip(pitch) - strip(0.0)).max(axis=(1, 2))
    other = np.abs(strip(pitch / 2) - strip(0.0)).max(axis=(1, 2))
    assert np.mean(same > 60) < 0.15  # edges may fall on another half pixel
    assert np.mean(other > 60) > 0.6


def test_thickness_follows_tension_and_slack_is_told_in_words(desk):
    machine = desk.machine
    belt = machine.belts[0]
    path = belt_path(machine, belt)
    place = Place(1000.0, (0.0, 400.0), 1.0)
    tight = DrawnBelt(path, place, True, {"left": 60.0, "right": 30.0}, 60.0)
    assert tight.widths == pytest.approx([2.0 + 4.6, 2.0 + 2.3])
    assert tight.slack == [False, False]
    loose = DrawnBelt(path, place, True, {"left": 1.9, "right": 2.1}, 60.0)
    assert loose.slack == [True, False]
    forces = dict.fromkeys([("a", "left"), ("a", "right"), ("b", "left"), ("b", "right")], 20.0) | {("a", "left"): 1.0}
    state = MachineState(machine.middle, tension_n=forces)
    with text.Log() as log:
        picture(machine, state)
    assert [w.text for w in log.words].count("slack") == 1


def test_a_mark_that_would_lie_is_blurred(desk):
    machine = desk.machine
    still = picture(machine, MachineState(machine.middle))
    for turned in (0.0, 2.0):
        a = picture(machine, MachineState(machine.middle, motor_rad={"a": turned}, blurred=frozenset({"a"})))
        b = picture(machine, MachineState(machine.middle, motor_rad={"a": turned + 0.5}, blurred=frozenset({"a"})))
        # The ring does not depend on the angle; only teeth of the pulley below may.
        assert np.count_nonzero(np.abs(a.astype(int) - b.astype(int)).max(axis=2) > 60) < 120
    assert not np.array_equal(still, a)


def test_nothing_is_drawn_outside_the_rectangle(machine):
    target = pygame.Surface((500, 400), 0, 32)
    target.fill((1, 2, 3))
    rect = pygame.Rect(60, 50, 300, 280)
    tool = np.array([machine.reach[0][1], machine.reach[1][0], machine.middle[2]])
    box = MachineView(machine).draw(target, rect, look("dark"), MachineState(tool), labels="full")
    assert rect.contains(box)
    pixels = pygame.surfarray.array3d(target)
    pixels[box.x : box.right, box.y : box.bottom] = (1, 2, 3)
    assert np.all(pixels == (1, 2, 3))
