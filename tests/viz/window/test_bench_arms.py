"""The bench of a machine on arms: motors lift carriages, the tool follows, and the edge of the reach holds."""

from __future__ import annotations

import numpy as np
import pygame
import pytest
from beltspring.sim.machine.build import build_machine
from beltspring.viz.draw.arms import ArmsView, view_of
from beltspring.viz.draw.machine import MachineView
from beltspring.viz.draw.state import MachineState
from beltspring.viz.draw.theme import look
from beltspring.viz.window.controls.dial import Dial
from beltspring.viz.window.keys import LETTERS, letters_of
from beltspring.viz.window.screens.bench import Bench
from beltspring.viz.window.screens.bench_arms import ArmsBench, bench_of
from beltspring.viz.window.screens.bench_layout import place_dials, place_moves
from beltspring.viz.window.screens.give import Give
from beltspring.viz.window.screens.hand import MoveButton

from tests.support import shipped


@pytest.fixture
def bench() -> ArmsBench:
    found = bench_of(build_machine(shipped("small-delta")))
    assert isinstance(found, ArmsBench)
    return found


def test_other_machines_keep_their_bench_and_drawing():
    machine = build_machine(shipped("desk-corexy"))
    assert type(bench_of(machine)) is Bench
    assert type(view_of(machine)) is MachineView


def test_turned_evenly_all_motors_lift_the_tool_straight(bench):
    bench.turn(np.full(3, 0.010) / bench.radius_m)
    assert bench.moved_m == pytest.approx([0, 0, 0.010], abs=1e-12)
    assert bench.slid_m == pytest.approx([0.010] * 3, abs=1e-12)


def test_places_come_back_from_their_angles(bench):
    place = bench.machine.middle + np.array([0.031, -0.022, 0.014])
    bench.place(place)
    assert bench.tool == pytest.approx(place, abs=1e-12)


def test_b_down_and_c_up_goes_right_on_a_bent_way(bench):
    bench.play(bench.moves()[1], still=True)
    x, y, _ = bench.moved_m
    assert x > 0.02
    assert abs(y) < 0.2 * x
    assert abs(y) > 1e-5  # carriages even, the tool's way bends
    assert "ight" in bench.sentence()


def test_the_edge_of_the_reach_holds(bench):
    for way in np.vstack([np.eye(3), -np.eye(3), [[0, -1, 1]]]):
        bench.rest()
        for _ in range(40):
            bench.turn(way)
        level = float(np.hypot(*bench.moved_m[:2]))
        assert level <= 0.080 + 1e-9
        assert -1e-9 <= bench.tool[2] <= 0.160 + 1e-9
        assert bench.limit_words
    bench.place(np.array([1.0, 1.0, 1.0]))
    assert np.hypot(*bench.moved_m[:2]) == pytest.approx(0.080, abs=1e-12)


def test_the_belts_carry_the_weight(bench):
    assert bench.statics().force_n == pytest.approx([0, 0, 0], abs=1e-3)


def test_a_hand_in_front_pushes_along_x_and_up(bench):
    give = Give(bench.machine, bench)
    give.pull_with(np.array([3.0, 2.0]))
    assert give.push.force_n == pytest.approx([3.0, 0.0, 2.0])
    assert give.push.gives_m[0] > 1e-5
    assert give.push.gives_m[2] > 1e-6
    give.let_go()
    assert give.rung is not None


def test_the_same_state_gives_the_same_picture_and_another_another():
    machine = build_machine(shipped("small-delta"))
    view = ArmsView(machine)
    pictures = []
    for shift in (0.0, 0.0, 0.03):
        target = pygame.Surface((600, 500), 0, 32)
        state = MachineState(tool=machine.middle + np.array([shift, 0.0, 0.0]), started_at=machine.middle)
        box = view.draw(target, target.get_rect(), look("dark"), state, labels="full")
        assert target.get_rect().contains(box)
        pictures.append(pygame.image.tobytes(target, "RGB"))
    assert pictures[0] == pictures[1] != pictures[2]


def test_the_nozzle_is_drawn_where_the_tool_is():
    machine = build_machine(shipped("small-delta"))
    view, box = view_of(machine), pygame.Rect(0, 0, 800, 700)
    box = view.fitted(box)
    x0, y0 = view.tool_at(box, machine.middle)
    x1, y1 = view.tool_at(box, machine.middle + np.array([0.02, 0.05, 0.03]))
    scale = view.place(box.size).scale
    assert (x1 - x0, y0 - y1) == pytest.approx((0.02 * scale, 0.03 * scale), abs=1e-9)


@pytest.mark.parametrize("size", [(473, 289), (373, 241)], ids=["wide", "narrow"])
def test_three_dials_have_keys_of_their_own_that_stand_apart(size):
    panel, motors = pygame.Rect(40, 60, *size), ("a", "b", "c")
    assert [letters_of(n) for n in (2, 3)] == [(("Q", "W"), ("O", "P")), (("Q", "W"), ("F", "G"), ("O", "P"))]
    assert not {letter for pair in LETTERS for letter in pair} & set("ESTRKB")  # these do something else
    dials = [Dial(n, f"Motor {n.upper()}", keys, 20, print, "") for n, keys in zip(motors, letters_of(3), strict=True)]
    place_dials(dials, panel, look("dark"))
    caps = [cap for dial in dials for cap in dial.caps(look("dark"))]
    arrows = [cap.inflate(2 * 19, 0) for cap in caps]  # a turning arrow stands outside each
    for k, cap in enumerate(caps):
        assert panel.contains(cap)
        assert cap.collidelist(caps[:k]) < 0
    for one, next_one in zip(arrows[1:4:2], arrows[2::2], strict=True):
        assert one.centerx < next_one.centerx
    assert min(dial.circle()[1] for dial in dials) >= 28


def test_moves_of_three_carriages_stand_two_by_two(bench):
    buttons = [MoveButton(f"{k}", k, move, print, bench.machine) for k, move in enumerate(bench.moves())]
    place_moves(buttons, pygame.Rect(0, 0, 373, 156), look("light"))
    assert len({b.rect.y for b in buttons}) == len({b.rect.x for b in buttons}) == 2
    target = pygame.Surface((400, 200), 0, 32)
    for button in buttons:
        button.draw(target, look("light"), focused=False, hovered=False)
