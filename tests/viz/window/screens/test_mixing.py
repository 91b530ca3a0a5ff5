"""The mixing bench: motors, dials, keys and the carriage under the hand."""

from __future__ import annotations

import math

import numpy as np
import pygame
import pytest
from beltspring.sim.machine.routing import belt_path
from beltspring.viz.draw.canvas import Layer
from beltspring.viz.draw.theme import look
from beltspring.viz.window.controls.dial import ZERO, _paint_face
from beltspring.viz.window.screens.bench import Bench, direction_words

from tests.viz.words import assert_words


@pytest.fixture
def bench(desk):
    return Bench(desk.machine)


def turn(bench, *degrees):
    bench.turn(np.radians(np.array(degrees, float)))


class TestCoreXY:
    """Facts of the trade (I. E. Moyer, MIT, 2012, from memory): the motors mix as X = (A + B) / 2, Y = (A - B) / 2."""

    def test_one_motor_alone_is_a_diagonal(self, bench):
        turn(bench, 360, 0)
        x, y = bench.moved_m
        assert (
            abs(x) == pytest.approx(abs(y)) == pytest.approx(0.020)
        )  # 20 teeth of 2 mm: 40 mm of belt, half to each axis
        assert bench.sentence() == "One motor alone: a 45° diagonal, each axis half as far as its belt goes."

    def test_both_the_same_way_is_pure_x(self, bench):
        turn(bench, 90, 90)
        assert abs(bench.moved_m[0]) == pytest.approx(0.010)
        assert bench.moved_m[1] == pytest.approx(0.0, abs=1e-12)
        assert bench.sentence().startswith("Both the same way")

    def test_opposite_ways_is_pure_y(self, bench):
        turn(bench, 90, -90)
        assert bench.moved_m[0] == pytest.approx(0.0, abs=1e-12)
        assert abs(bench.moved_m[1]) == pytest.approx(0.010)
        assert bench.sentence().startswith("Opposite ways")

    def test_the_words_tell_the_halves(self, bench):
        assert {bench.share_words(0), bench.share_words(1)} == {"half of A plus half of B", "half of A minus half of B"}

    def test_the_buttons(self, bench):
        outcomes = [m.outcome for m in bench.moves()]
        assert outcomes == ["to the right", "to the rear", "diagonal", "diagonal"]
        for k, move in enumerate(bench.moves()):
            bench.play(move, still=True)
            way = bench.moved_m / np.hypot(*bench.moved_m)
            assert way == pytest.approx(move.towards, abs=1e-9), k


def test_cartesian_motors_give_straight_lines(bed):
    bench = Bench(bed.machine)
    turn(bench, 90, 0)
    assert abs(bench.moved_m[0]) == pytest.approx(0.010)
    assert bench.moved_m[1] == 0
    assert [m.outcome for m in bench.moves()][2:] == ["to the right", "to the rear"]
    bench.rest()
    turn(bench, 0, 90)
    assert "bed moves" in bench.sentence()


@pytest.mark.parametrize("name", ["desk", "bed"])
def test_the_carriage_stops_at_its_limits_and_says_so(request, name):
    bench = Bench(request.getfixturevalue(name).machine)
    for _ in range(40):
        turn(bench, 200, 30)
    reach = bench.machine.reach
    for axis in range(2):
        assert reach[axis][0] - 1e-9 <= bench.tool[axis] <= reach[axis][1] + 1e-9
    assert "Limit of travel" in bench.sentence()
    turn(bench, -100, 0)
    assert bench.limit_words == ""


def test_placing_the_carriage_turns_the_motors(bench):
    bench.place(np.array([0.12, 0.05]))
    assert bench.tool[:2] == pytest.approx([0.12, 0.05])
    assert np.abs(bench.angle).max() > 1


def test_directions_in_words():
    assert direction_words(np.array([-1.0, 0.0])) == "to the left"
    assert direction_words(np.array([0.0, -1.0])) == "to the front"
    assert direction_words(np.zeros(2)) == "nothing moves"


class TestScreen:
    @pytest.fixture
    def bench_hands(self, open_window):
        return open_window(initial_screen="mixing", size=(1600, 1000))

    def test_held_keys_turn_both_motors_at_once(self, bench_hands):
        h = bench_hands
        h.key(pygame.K_q, words="q", up=False)
        h.key(pygame.K_o, words="o", up=False)
        for _ in range(10):
            h.step(dt=0.02)
        a, b = h.app.screen.bench.angle
        assert a > 0.5
        assert b > 0.5
        h.step(pygame.event.Event(pygame.KEYUP, key=pygame.K_q, mod=0))
        a = h.app.screen.bench.angle[0]
        h.step(dt=0.1)
        assert h.app.screen.bench.angle[0] == a
        assert h.app.screen.bench.angle[1] > b
        h.step(pygame.event.Event(pygame.KEYUP, key=pygame.K_o, mod=0))
        h.key(pygame.K_BACKSPACE)
        assert not h.app.screen.bench.angle.any()

    def test_shift_turns_slowly_and_lost_focus_stops(self, bench_hands):
        h = bench_hands
        h.key(pygame.K_w, pygame.KMOD_SHIFT, up=False)
        h.step(dt=1.0)
        assert math.degrees(h.app.screen.bench.angle[0]) == pytest.approx(-30.3, abs=1)
        h.step(pygame.event.Event(pygame.WINDOWFOCUSLOST))
        angle = h.app.screen.bench.angle[0]
        h.step(dt=1.0)
        assert h.app.screen.bench.angle[0] == angle

    @pytest.mark.parametrize("k", range(4))
    def test_the_four_moves_by_key_and_button(self, bench_hands, k):
        h = bench_hands
        h.key(pygame.K_1 + k, words=str(k + 1))
        for _ in range(200):
            h.step(dt=0.02)
        by_key = h.app.screen.bench.moved_m.copy()
        assert np.hypot(*by_key) > 0.01
        assert not h.app.screen.bench.playing
        h.key(pygame.K_BACKSPACE)
        h.press(f"move {k + 1}")
        for _ in range(200):
            h.step(dt=0.02)
        assert h.app.screen.bench.moved_m == pytest.approx(by_key)

    def test_still_images_with_reduced_motion(self, bench_hands):
        bench_hands.app.stage.reduce_motion = True
        bench_hands.key(pygame.K_1, words="1")
        assert not bench_hands.app.screen.bench.playing
        assert np.hypot(*bench_hands.app.screen.bench.moved_m) > 0.01

    def test_dragging_a_dial_and_its_wheel(self, bench_hands):
        h = bench_hands
        dial = h.control("dial a")
        (x, y), r = dial.circle()
        h.down((x + r - 5, y))
        for degrees in range(10, 460, 10):
            a = math.radians(degrees)
            h.move((round(x + (r - 5) * math.cos(a)), round(y - (r - 5) * math.sin(a))), (1, 0, 0))
        end = math.radians(450)
        h.up((round(x + (r - 5) * math.cos(end)), round(y - (r - 5) * math.sin(end))))
        assert math.degrees(h.app.screen.bench.angle[0]) == pytest.approx(450, abs=2)
        before = h.app.screen.bench.angle[1]
        h.wheel(h.control("dial b").circle()[0], 2)
        assert math.degrees(h.app.screen.bench.angle[1] - before) == pytest.approx(10)

    def test_dragging_the_carriage(self, bench_hands):
        h = bench_hands
        hand = h.control("carriage")
        at = hand.rect.center
        h.drag(at, (at[0] + 60, at[1] - 30))
        moved = h.app.screen.bench.moved_m
        assert moved == pytest.approx(np.array([60, 30]) / h.app.screen.px_m, rel=0.05)

    def test_changed_machines_arrive(self, bench_hands):
        h = bench_hands
        h.app.session.change({"motors.pulley_teeth": 16}, True)
        h.key(pygame.K_2, pygame.KMOD_CTRL)
        h.settle()
        h.key(pygame.K_1, pygame.KMOD_CTRL)
        assert h.app.screen.bench.radius_m[0] == pytest.approx(16 * 2e-3 / (2 * math.pi))


def test_dial_and_motor_point_the_same_way_and_rest_at_twelve_o_clock(open_window):
    screen = open_window(initial_screen="mixing").app.screen
    for turned in (0.0, 0.7, -2.0):
        screen.bench.rest()
        screen.bench.turn(np.array([turned, -0.3 * turned]))
        state = screen.bench.state()
        offsets = screen.view.machine.offsets(state.tool)
        paths = {b.name: belt_path(screen.view.machine, b, offsets) for b in screen.view.machine.belts}
        drawn = screen.view.wheel_angles(paths, state)
        for motor, angle in zip(screen.view.machine.motors, screen.bench.angle, strict=True):
            assert drawn[motor.wheel] == pytest.approx(ZERO + angle)
    face = Layer((121, 121), 1)
    _paint_face(face, look("dark"), 60.0, 0.0, 20, (255, 0, 0), False)
    red = np.argwhere((pygame.surfarray.array3d(face.surface) == (255, 0, 0)).all(axis=2))
    assert abs(red[:, 0].mean() - 60) < 1  # the mark of a motor at rest is upright,
    assert red[:, 1].mean() < 45  # and up


class TestGive:
    @pytest.fixture
    def give_hands(self, open_window):
        h = open_window(initial_screen="mixing")
        h.key(pygame.K_b, words="b")
        return h

    def test_a_push_tightens_and_letting_go_rings(self, give_hands):
        h, screen = give_hands, give_hands.app.screen
        start = h.control("carriage").rect.center
        h.down(start)
        h.move((start[0] + 30, start[1] + 10), (1, 0, 0))
        h.step()
        assert_words(h, "pushed")
        assert max(screen.give.tension_n.values()) > max(screen.give.rest_n.values()) + 0.5
        assert not np.any(screen.bench.angle)
        h.up((start[0] + 30, start[1] + 10))
        assert screen.give.rung is not None
        assert_words(h, "times a second")
        assert h.step(dt=0.1)
        assert screen.give.time_s == pytest.approx(0.1 / 50, rel=0.2)

    def test_shift_pulls_straight(self, give_hands):
        h, screen = give_hands, give_hands.app.screen
        screen.give.pull(np.array([0.02, 0.01]), True)
        h.step()
        assert screen.give.push.force_n[1] == 0.0
        assert screen.give.push.force_n[0] > 0.0

    def test_keys_push_and_come_to_rest(self, give_hands):
        h, screen = give_hands, give_hands.app.screen
        h.key(pygame.K_RETURN)
        assert screen.give.rung is not None
        h.key(pygame.K_BACKSPACE)
        assert screen.give.push is None
        h.key(pygame.K_q, words="q")
        assert not np.any(screen.bench.angle)
        h.key(pygame.K_b, words="b")
        assert not screen.gives

    def test_no_harder_than_a_motor_holds(self, give_hands):
        h, screen = give_hands, give_hands.app.screen
        screen.give.pull(np.array([2.0, 0.0]), False)
        h.step()
        assert_words(h, "a motor loses its step")
        assert screen.give.push is not None

    def test_with_less_motion_it_has_rung_at_once(self, give_hands):
        h, screen = give_hands, give_hands.app.screen
        h.app.stage.reduce_motion = True
        h.key(pygame.K_RETURN)
        h.step()
        assert screen.give.time_s == screen.give.ends_s


def test_a_new_window_greets_until_it_is_touched(open_window):
    h = open_window(initial_screen="mixing")
    h.app.stage.greeting = True
    h.step(dt=1.5)
    assert np.abs(h.app.screen.bench.angle).max() > 0.05
    h.key(pygame.K_F1)
    before = h.app.screen.bench.angle.copy()
    h.step(dt=0.5)
    assert np.array_equal(before, h.app.screen.bench.angle)
