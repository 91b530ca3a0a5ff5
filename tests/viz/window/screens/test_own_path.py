"""A path drawn by hand: the motors follow, it becomes a program, the machine runs it."""

from __future__ import annotations

import numpy as np
import pygame
import pytest
from beltspring.sim import load
from beltspring.viz.window.runs import run_changed
from beltspring.viz.window.screens.own_path import simplified
from beltspring.viz.window.sheets.save import SaveSheet
from scipy.spatial.distance import directed_hausdorff

from tests.viz.words import assert_words


def draw(hands, count=60):
    screen = hands.app.screen
    x, y = screen.machine_rect.center
    points = [(x - 60 + 2 * k, y - 30 + int(24 * np.sin(k / 9))) for k in range(count)]
    hands.down(points[0])
    for point in points:
        hands.move(point, (1, 0, 0))
    hands.up(points[-1])
    return points


@pytest.fixture
def pen(open_window):
    hands = open_window(initial_screen="mixing")
    hands.key(pygame.K_d, words="d")
    return hands


def test_motors_follow_the_pen(pen):
    points = draw(pen)
    screen = pen.app.screen
    path = screen.own.path
    drawn = np.array(path.points)
    asked = np.array([(points[-1][0] - points[0][0]), (points[0][1] - points[-1][1])]) / screen.px_m
    assert drawn[-1] - drawn[0] == pytest.approx(asked, abs=1.5e-3)
    # The tool stands where its motors' angles put it.
    assert screen.bench.tool[:2] == pytest.approx(drawn[-1], abs=1e-3)
    assert np.ptp(np.array(path.angles), axis=0).min() > 0.3
    assert_words(pen, "Motor angles")


def test_what_was_drawn_is_run(pen):
    draw(pen)
    path = np.array(pen.app.screen.own.path.points)
    pen.key(pygame.K_RETURN)
    assert pen.app.screen.name == "ringing"
    pen.settle()
    session = pen.app.session
    assert session.failed == ""
    asked = session.shown.trace.asked[:, :2]
    assert np.hypot(*(asked[-1] - path[-1])) < 1e-4
    assert directed_hausdorff(asked[np.abs(asked - path[0]).sum(axis=1).argmin() :], dense(path))[0] < 1e-3
    assert directed_hausdorff(path, asked)[0] < 1e-3


def test_it_is_saved_beside_the_scenario(pen, tmp_path):
    draw(pen)
    pen.key(pygame.K_RETURN)
    pen.settle()
    sheet = SaveSheet(pen.app.stage)
    sheet._save(str(tmp_path / "mine.toml"))
    assert sheet.trouble == ""
    assert (tmp_path / "mine-path.gcode").is_file()
    assert load(tmp_path / "mine.toml").file.move.gcode == "mine-path.gcode"


def test_too_short_a_path_is_not_run(pen):
    x, y = pen.app.screen.machine_rect.center
    pen.click((x + 5, y + 5))
    assert not pen.app.screen.own.path.ready
    pen.key(pygame.K_RETURN)
    assert pen.app.screen.name == "mixing"


@pytest.fixture(scope="module")
def delta():
    return run_changed(load("small-delta"), {"detail": "simple"})


def test_on_arms_three_motors_follow_and_it_is_run(open_window, delta):
    """Carriages by the closed form of arms on upright guides: h = z + sqrt(l^2 - (x - X)^2 - (y - Y)^2)."""
    hands = open_window([delta], initial_screen="mixing")
    hands.key(pygame.K_d, words="d")
    screen = hands.app.screen
    bed = screen.own.bed.rect
    assert screen.rects["view"].contains(bed)
    turn = np.linspace(0.0, 5.0, 60)
    at = np.rint(np.c_[np.cos(turn), np.sin(turn)] * 0.6 * bed.w / 2 + bed.center).astype(int).tolist()
    hands.down(at[0])
    for place in at:
        hands.move(place, (1, 0, 0))
    hands.up(at[-1])
    path, machine, given = screen.own.path, screen.bench.machine, load("small-delta").file.delta
    drawn = np.array(path.points)
    asked = (np.array(at) - bed.center) * [1, -1] / (bed.w / 2) * 0.080
    assert directed_hausdorff(drawn, asked)[0] < 1.5e-3
    radius = 1e-3 * (given.tower_radius_mm - given.carriage_offset_mm - given.effector_radius_mm)
    towers = radius * np.c_[np.cos(np.radians([90, 210, 330])), np.sin(np.radians([90, 210, 330]))]

    def heights(places):
        return np.sqrt((1e-3 * given.arm_mm) ** 2 - ((places[:, None] - towers) ** 2).sum(axis=2))

    slid = heights(drawn) - heights(machine.middle[None, :2])
    assert np.abs(np.array(path.angles) * screen.bench.radius_m - slid).max() < 1e-9
    assert np.ptp(np.array(path.angles), axis=0).min() > 0.3
    hands.key(pygame.K_RETURN)
    hands.settle()
    assert hands.app.session.failed == ""
    assert directed_hausdorff(drawn, hands.app.session.shown.trace.asked[:, :2])[0] < 1e-3
    assert hands.control("move").words == "drawn by hand"
    hands.control("move")._pick(1)
    assert not {"move.gcode", "motion.corner_tolerance_mm"} & set(hands.app.session.changes)


def test_the_rim_of_a_round_bed_holds(open_window, delta):
    hands = open_window([delta], initial_screen="mixing")
    hands.key(pygame.K_d, words="d")
    screen = hands.app.screen
    bed = screen.own.bed.rect
    hands.drag(bed.center, (bed.right - 1, bed.bottom - 1), 12)
    end = screen.own.path.points[-1]
    assert 0.0799 < np.hypot(*end) < 0.080
    assert screen.bench.limit_words
    lines = screen.own.path.program(80.0).splitlines()[2:]
    written = np.array([[float(word[1:]) for word in line.split()[1:3]] for line in lines])
    assert np.hypot(*written.T).max() <= 80.0


def dense(points):
    """A polyline's points, many between each two."""
    s = np.linspace(0, len(points) - 1, 40 * len(points))
    return np.column_stack([np.interp(s, np.arange(len(points)), points[:, k]) for k in (0, 1)])


def test_simplified_stays_near_and_keeps_corners():
    """Distances by scipy's Hausdorff distance."""
    t = np.linspace(0, 6, 400)
    points = np.column_stack([t, np.abs(np.sin(t))])
    mine = simplified(points, 0.01)
    assert len(mine) < 40
    assert directed_hausdorff(points, dense(mine))[0] <= 0.012
    corner = points[np.argmin(np.abs(t - np.pi))]
    assert np.abs(mine - corner).sum(axis=1).min() < 0.02
    square = np.array([[0, 0], [0.5, 0], [1, 0], [1, 0.5], [1, 1], [0.5, 1], [0, 1.0]])
    assert simplified(square, 1e-6).tolist() == [[0, 0], [1, 0], [1, 1], [0, 1]]
