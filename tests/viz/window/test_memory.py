"""What the window keeps is bounded: runs that are put away go, and so do pictures of another size or screen."""

from __future__ import annotations

import gc
import weakref

import numpy as np
import pygame
import pytest
from beltspring.sim import prepare, run
from beltspring.sim.scenario.load import scenario_of
from beltspring.viz.charts.printed import PrintCanvas, draw_line, fit_path
from beltspring.viz.charts.shown import Shown
from beltspring.viz.draw import belts, canvas, still
from beltspring.viz.draw.theme import look
from beltspring.viz.window import memory
from beltspring.viz.window.differences import Design
from beltspring.viz.window.fleet import MOST, MOST_TICKED, Column, Fleet

from tests.viz.conftest import DESK


@pytest.fixture(autouse=True)
def _nothing_of_other_tests():
    """The pictures are kept for the whole process: those of the tests before are let go."""
    memory.give_back()


def pixels_kept() -> int:
    """Pixels of the pictures that the drawing of machines keeps."""
    scratch = getattr(canvas._scratch, "kept", None)
    at_work = scratch.get_width() * scratch.get_height() if scratch is not None else 0
    return at_work + sum(one.pixels for one in still._stills.values())


def test_runs_that_are_put_away_are_gone(hands):
    session, seen = hands.app.session, []
    for mass in (410.0, 420.0, 430.0):
        session.change({"carriage.mass_g": mass}, True)
        hands.settle()
        seen.append(weakref.ref(session.shown))
    session.undo()
    hands.settle()
    session.defaults()
    hands.settle()
    gc.collect()
    # Undo keeps what was set, not what came of it; screens keep pictures of one run, workers nothing.
    assert [one() is not None for one in seen] == [False, False, False]


def test_pictures_go_with_the_size_and_the_screen(hands):
    app = hands.app
    for size in ((1280, 800), (1600, 1000), (1024, 680), (1280, 800)) * 2:
        app.resize(size)
        hands.surface = pygame.Surface(size, 0, 32)
        hands.pixels()
        # One machine in two sizes of drawing: twice as fine, its copy, and itself.
        assert len(still._stills) == 1
        assert pixels_kept() < (4 + 4 + 1 + 4) * size[0] * size[1]
    app.clock.go(0.3)
    hands.pixels()
    app.stage.show("mixing")
    assert pixels_kept() == 0
    assert belts._tooth_strip.cache_info().currsize == 0
    assert not any(screen.kept._pictures for screen in app.screens if screen.name == "ringing")


def test_stills_keep_no_more_than_they_may():
    style = look("dark")
    for k in range(6):
        still.still_image([], (500 + k, 500), belts.Place(1000.0, (0.0, 0.0), 1.0), style, 2)
    assert sum(one.pixels for one in still._stills.values()) <= still.STILL_PIXELS
    still.forget_stills()


def test_brief_layers_share_one_surface():
    canvas.forget_scratch()
    small, large = canvas.Layer((40, 30), 2, brief=True), canvas.Layer((100, 20), 2, brief=True)
    assert small.surface.get_size() == (80, 60)
    assert large.surface.get_size() == (200, 40)
    assert canvas._scratch.kept.get_size() == (200, 60)
    assert canvas.scratch((10, 10)).get_parent() is canvas._scratch.kept
    target = canvas.surface((100, 20))
    large.surface.fill((10, 20, 30))
    large.onto(target, (0, 0))
    assert target.get_at((99, 19))[:3] == (10, 20, 30)
    canvas.forget_scratch()


def test_designs_that_are_not_shown_keep_the_run_they_are_judged_by_alone(desk):
    fleet = Fleet(lambda scenario, changes: desk, lambda index: desk.scenario)
    fleet.rows = [Column(Design("", {"carriage.mass_g": 300.0 + k}), ticked=k < MOST_TICKED) for k in range(MOST)]
    for row in fleet.rows:
        row.worst = (0.1, object())
    fleet.tick(MOST - 1)
    assert sum(row.ticked for row in fleet.rows) == MOST_TICKED
    assert [row.worst is not None for row in fleet.rows] == [row.ticked for row in fleet.rows]


def test_designs_in_another_order_are_ticked_as_their_places_were(desk):
    """Three lenses and curves there are: a row that has moved takes the tick of the place it comes to, and none of its own."""
    fleet = Fleet(lambda scenario, changes: desk, lambda index: desk.scenario)
    designs = [Design("", {"carriage.mass_g": 300.0 + k}) for k in range(MOST)]
    fleet.rows = [Column(design, fresh=True, ticked=k < MOST_TICKED) for k, design in enumerate(designs)]
    fleet.set(designs[::-1])
    assert [row.design for row in fleet.rows] == designs[::-1]
    assert [row.ticked for row in fleet.rows] == [True] * MOST_TICKED + [False] * (MOST - MOST_TICKED)


def test_memory_is_handed_back_while_the_window_is_used(hands, monkeypatch):
    calls = []
    monkeypatch.setattr(memory, "trim", lambda: calls.append(1))
    for _ in range(100):
        hands.step(dt=0.1)
    assert 16 <= len(calls) <= 20  # every half second


def test_what_is_loaded_is_not_looked_through_again_while_the_window_is_open():
    with memory.settled():
        assert gc.get_freeze_count() > 10_000
        ring: list = []
        ring.append(ring)
        del ring
        assert gc.collect() >= 1  # what came after is
    assert gc.get_freeze_count() == 0


def test_the_printed_lines_images_take_a_byte_a_pixel_and_lose_no_colour(desk):
    shown, style, rect = Shown(desk), look("light"), pygame.Rect(10, 10, 300, 280)
    kept, whole = PrintCanvas(), fit_path(rect, shown, 50.0, 20)
    for now_s in (0.1, 0.3):
        pictures = [canvas.surface((320, 300)) for _ in range(2)]
        kept.draw(pictures[0], rect, style, shown, whole, now_s)
        draw_line(pictures[1], rect, style, shown, whole, now_s)
        assert np.array_equal(*[pygame.surfarray.array3d(picture) for picture in pictures])
    images = [one for one in vars(kept).values() if isinstance(one, pygame.Surface)]
    assert sum(one.get_bytesize() * one.get_width() * one.get_height() for one in images) == 3 * 4 * rect.w * rect.h


def test_a_run_for_looking_at_leaves_the_coordinates_and_tells_the_same():
    """Coordinates and their rates are two thirds of a trace, and nothing drawn or told asks for them but the rotors' speeds."""
    full, slim = (run(prepare(scenario_of(DESK, "desk.toml"))) for _ in range(2))
    size = full.trace.q.nbytes + full.trace.speeds.nbytes
    assert slim.for_looking_at() is slim
    assert slim.for_looking_at().trace.q.nbytes == slim.trace.speeds.nbytes == 0 < size
    assert {k: v.most for k, v in slim.torque.items()} == {k: v.most for k, v in full.torque.items()}
    assert [f.words for f in slim.findings.findings] == [f.words for f in full.findings.findings]
    assert slim.analysis.reading == full.analysis.reading
    assert slim.judged.judged_m == full.judged.judged_m
