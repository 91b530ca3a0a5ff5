"""The motors' strips: what is said is the report's, against the curve of the data sheet, on every kind of machine."""

from __future__ import annotations

import numpy as np
import pygame
import pytest

from tests.viz.words import assert_words


def test_the_share_is_torque_over_what_the_motor_has(desk):
    torque = desk.torque
    assert list(torque) == [m.name for m in desk.machine.motors]
    for motor in desk.motors:
        one = torque[motor.name]
        assert len(one.given_nm) == len(one.limit_nm) == len(one.share) == len(desk.trace.t_s)
        # Standing still it has what its current gives; moving never more.
        assert one.limit_nm.max() == pytest.approx(motor.torque_limit_nm, rel=1e-6)
        assert np.abs(one.given_nm).max() <= motor.peak_torque_nm * (1 + 1e-9)
        assert one.share == pytest.approx(np.abs(one.given_nm) / one.limit_nm)
        assert one.share.max() <= one.most < 1.0


def test_the_strip_says_what_the_report_says(open_window, desk):
    hands = open_window(initial_screen="ringing")
    hands.app.clock.go(0.2)
    assert_words(hands, "pull more or less")
    hands.control("belts or motors")
    choice = hands.app.screen.below
    hands.click(choice.cells()[1].center)
    assert choice.value == 1
    for one in desk.torque.values():
        assert_words(hands, f"most {100 * one.most:.0f} %")
    shown = hands.app.session.shown
    first = next(iter(desk.torque.values()))
    assert_words(hands, f"now {100 * float(shown.at(hands.app.clock.time_s, first.share)):.0f} %")


def test_it_is_there_only_where_the_machine_is_drawn_larger(open_window):
    hands = open_window(initial_screen="ringing")
    hands.click(hands.app.screen.size.cells()[0].center)
    hands.step()
    assert all(c.name != "belts or motors" for c in hands.app.input.controls)


def test_ideal_motors_are_told_as_such(open_window):
    from beltspring.sim.scenario.load import scenario_of
    from beltspring.viz.charts.shown import Shown
    from beltspring.viz.charts.torque import TorquePlot
    from beltspring.viz.draw import text
    from beltspring.viz.draw.theme import look
    from beltspring.viz.window.runs import run_changed

    from tests.viz.conftest import DESK

    shown = Shown(run_changed(scenario_of({**DESK, "motors": {"part": "ideal"}}, "ideal.toml"), {}))
    assert shown.result.torque == {}
    target = pygame.Surface((480, 120), 0, 32)
    with text.Log() as log:
        TorquePlot().draw(target, target.get_rect(), look("dark", 1.0), shown, 0.1)
    assert any("Ideal motors" in w.text for w in log.words)
