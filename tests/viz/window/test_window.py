"""The window as a whole, worked by events: keys, mouse, runs, undo, sheets."""

from __future__ import annotations

import itertools
import threading
import time

import numpy as np
import pygame
import pytest
from beltspring.sim.errors import RunError
from beltspring.viz.charts.shown import Shown
from beltspring.viz.window.app import App
from beltspring.viz.window.controls.slider import Slider
from beltspring.viz.window.keys import CAUTIONS
from beltspring.viz.window.run import fits, suits
from beltspring.viz.window.runs import run_changed
from beltspring.viz.window.sheets.check import grouped

from tests.viz.words import assert_words

CTRL, SHIFT = pygame.KMOD_CTRL, pygame.KMOD_SHIFT
SCREENS = ("mixing", "ringing", "moves", "compare", "print")


class TestClockKeys:
    def test_play_pause_step_and_legs(self, hands):
        clock = hands.app.clock
        clock.go(0.0)
        hands.key(pygame.K_SPACE)
        assert clock.playing
        hands.step(dt=0.5)
        assert clock.time_s == pytest.approx(0.05 + 0.001)  # 1/10 speed, and the step that carried the key
        hands.key(pygame.K_RIGHT)
        assert not clock.playing
        before = clock.time_s
        hands.key(pygame.K_RIGHT)
        assert clock.time_s == pytest.approx(before + 0.001)
        hands.key(pygame.K_RIGHT, SHIFT)
        assert clock.time_s == pytest.approx(hands.app.session.shown.result.plan.legs[1].start_s)
        hands.key(pygame.K_END)
        assert clock.time_s == clock.end_s
        hands.key(pygame.K_HOME)
        assert clock.time_s == 0.0

    def test_speed(self, hands):
        assert hands.app.clock.speed == 0.1
        hands.key(pygame.K_LEFTBRACKET)
        assert hands.app.clock.speed == 0.01
        hands.key(pygame.K_RIGHTBRACKET)
        hands.key(pygame.K_RIGHTBRACKET)
        assert hands.app.clock.speed == 1.0

    def test_bar_buttons(self, hands):
        hands.press("play")
        assert hands.app.clock.playing
        hands.press("play")
        assert not hands.app.clock.playing
        hands.press("step forward")
        assert hands.app.clock.time_s > 0
        hands.press("to start")
        assert hands.app.clock.time_s == 0
        hands.click(hands.control("speed").cells()[2].center)
        assert hands.app.clock.speed == 0.01

    def test_space_still_plays_after_a_click_on_a_button(self, hands):
        hands.press("to start")
        hands.key(pygame.K_SPACE)
        assert hands.app.clock.playing

    def test_a_plot_and_the_scrubber_move_the_clock(self, hands):
        plot = hands.app.screen.corner
        wanted = hands.app.clock.time_s + 0.02
        hands.click((round(plot.time(wanted)), plot.area.centery))
        assert hands.app.clock.time_s == pytest.approx(wanted, abs=0.003)
        scrubber = hands.control("scrubber")
        hands.drag((scrubber.x(0.2), scrubber.rect.y + 16), (scrubber.x(1.1), scrubber.rect.y + 16))
        assert hands.app.clock.time_s == pytest.approx(1.1, abs=0.005)

    def test_arrows_belong_to_a_focused_slider(self, hands):
        hands.app.input.focus_on(hands.control("carriage.mass_g"), by_key=True)
        before = hands.app.clock.time_s
        hands.key(pygame.K_RIGHT)
        assert hands.app.clock.time_s == before
        assert hands.app.session.changes


class TestSettings:
    def test_a_drag_reruns_and_the_newest_value_wins(self, hands):
        slider = hands.control("carriage.mass_g")
        before = hands.app.session.shown
        y = slider.track().centery
        hands.down((slider.handle_x(), y))
        for x in range(slider.handle_x(), slider.rect.right, 6):
            hands.move((x, y), (1, 0, 0))
        assert hands.app.session.running
        hands.up((slider.rect.right, y))
        hands.settle()
        shown = hands.app.session.shown
        assert shown is not before
        assert shown.result.design.carriage.mass_kg == pytest.approx(slider.range.high * 1e-3)
        assert hands.app.session.changes == {"carriage.mass_g": slider.range.high}
        # A heavier carriage rings lower: f = sqrt(k / m) / 2 pi.
        ringing = {k: r.analysis.ringing["x"].frequency_hz for k, r in (("old", before.result), ("new", shown.result))}
        assert ringing["new"] < ringing["old"]

    def test_one_gesture_is_one_step_of_undo(self, hands):
        slider = hands.control("carriage.mass_g")
        y = slider.track().centery
        hands.drag((slider.handle_x(), y), (slider.rect.x + 40, y))
        first = dict(hands.app.session.changes)
        other = hands.control("gantry.mass_g")
        hands.drag((other.handle_x(), other.track().centery), (other.rect.right - 9, other.track().centery))
        both = dict(hands.app.session.changes)
        assert len(both) == 2
        hands.key(pygame.K_z, CTRL)
        assert hands.app.session.changes == first
        hands.key(pygame.K_z, CTRL)
        assert hands.app.session.changes == {}
        hands.key(pygame.K_z, CTRL)
        hands.key(pygame.K_z, CTRL | SHIFT)
        assert hands.app.session.changes == first
        hands.key(pygame.K_y, CTRL)
        assert hands.app.session.changes == both
        hands.press("defaults")
        assert hands.app.session.changes == {}
        hands.press("undo")
        assert hands.app.session.changes == both
        hands.settle()
        assert hands.control("carriage.mass_g").value == pytest.approx(both["carriage.mass_g"])

    def test_the_default_needs_no_run(self, hands):
        base = hands.app.session.base
        slider = hands.control("motion.speed_mm_s")
        hands.app.input.focus_on(slider, by_key=True)
        hands.key(pygame.K_RIGHT)
        hands.settle()
        assert hands.app.session.shown is not base
        hands.key(pygame.K_BACKSPACE)
        hands.settle()
        assert hands.app.session.shown is base

    def test_typing_a_value_with_its_unit(self, hands):
        hands.app.input.focus_on(hands.control("motion.acceleration_mm_s2"), by_key=True)
        hands.key(pygame.K_RETURN)
        hands.type("2.5 m/s2")
        hands.key(pygame.K_RETURN)
        assert hands.app.session.changes == {"motion.acceleration_mm_s2": 2500.0}

    def test_letters_are_no_commands_while_typing(self, hands):
        hands.app.input.focus_on(hands.control("belts.pretension_n"), by_key=True)
        hands.key(pygame.K_RETURN)
        hands.key(pygame.K_t, words="t")
        hands.key(pygame.K_e, words="e")
        assert hands.app.stage.theme_name == "dark"
        assert hands.app.sheet is None
        hands.key(pygame.K_ESCAPE)
        hands.key(pygame.K_t, words="t")
        assert hands.app.stage.theme_name == "light"

    def test_another_path(self, hands):
        path = hands.control("move")
        hands.press("move")
        hands.click((path.list_rect().centerx, path.list_rect().y + 4 + path._row * 2 + 5))
        assert hands.app.session.changes["move.pattern"] == path_of(hands, 2)["move.pattern"]
        hands.settle()
        assert hands.app.session.shown.result.plan.description != hands.app.session.base.result.plan.description
        hands.key(pygame.K_z, CTRL)
        assert hands.control("move").value == 0

    def test_the_old_result_stays_until_the_new_one_arrives(self, open_window, desk):
        gate = threading.Event()

        def slow(scenario, changes):
            gate.wait(10)
            return run_changed(scenario, changes)

        hands = open_window(runner=slow)
        before = hands.app.session.shown
        hands.app.session.change({"carriage.mass_g": 900}, True)
        for _ in range(5):
            hands.step()
        assert hands.app.session.running
        assert hands.app.session.shown is before
        assert_words(hands, "running")
        gate.set()
        hands.settle()
        assert hands.app.session.shown is not before

    def test_curves_come_first_and_the_words_follow(self, open_window, monkeypatch):
        gate, work_out, drawing = threading.Event(), Shown.work_out, []

        def late(shown):
            drawing.append(threading.current_thread() is threading.main_thread())
            gate.wait(10)
            work_out(shown)

        monkeypatch.setattr(Shown, "work_out", late)
        hands = open_window()
        session, before = hands.app.session, hands.app.session.shown
        session.change({"carriage.mass_g": 450}, True)
        while session.shown is before:
            hands.step()
        assert session.told is before
        assert not session.ready
        for _ in range(3):  # the curves are drawn, and what was told stays beside them
            hands.step()
        assert session.told is before
        assert not session.running
        gate.set()
        hands.settle()
        assert session.told is session.shown
        assert drawing == [False]
        followed = hands.pixels()
        session.told = session.shown = Shown(session.shown.result)
        assert np.array_equal(hands.pixels(), followed)

    def test_words_that_cannot_be_found_are_told_and_the_old_ones_stay(self, open_window, monkeypatch):
        def broken(shown):
            raise ValueError("no words")

        monkeypatch.setattr(Shown, "work_out", broken)
        hands = open_window()
        before = hands.app.session.told
        hands.app.session.change({"carriage.mass_g": 450}, True)
        hands.settle()
        assert hands.app.session.told is before
        assert "no words" in hands.app.session.failed

    def test_overtaken_runs_are_dropped(self, open_window):
        asked = []

        def note(scenario, changes):
            asked.append(changes["carriage.mass_g"])
            time.sleep(0.05)
            return run_changed(scenario, changes)

        hands = open_window(runner=note)
        for mass in range(300, 400):
            hands.app.session.change({"carriage.mass_g": float(mass)}, False)
        hands.settle()
        assert len(asked) < 10
        assert hands.app.session.shown.result.design.carriage.mass_kg == pytest.approx(0.399)

    def test_a_failed_run_never_looks_fresh(self, open_window):
        def failing(scenario, changes):
            if changes.get("belts.pretension_n", 99) < 5:
                raise RunError("Pretension 4 N: belt B goes slack at 212 ms. Raise it above 9 N.")
            return run_changed(scenario, changes)

        hands = open_window(runner=failing)
        good = hands.app.session.shown
        clean = hands.pixels().astype(int)
        hands.app.session.change({"belts.pretension_n": 4.0}, True)
        hands.settle()
        assert hands.app.session.shown is good
        assert_words(hands, "Pretension 4 N: belt B goes slack at 212 ms. Raise it above 9 N.")
        assert_words(hands, "Last good result")
        panel = hands.app.screen.rects["spectrum"]
        inside = (slice(panel.x + 20, panel.right - 20), slice(panel.y + 20, panel.bottom - 80))
        contrast = [float(p[inside].std()) for p in (clean, hands.pixels().astype(int))]
        assert contrast[1] < 0.55 * contrast[0]  # drawn at 40 %
        hands.app.session.change({"belts.pretension_n": 16.0}, True)
        hands.settle()
        assert hands.app.session.failed == ""

    def test_a_fault_of_ours_reaches_the_person(self, open_window):
        def broken(scenario, changes):
            raise ZeroDivisionError("oops")

        hands = open_window(runner=broken)
        hands.app.session.change({"carriage.mass_g": 500.0}, True)
        hands.settle()
        assert "ZeroDivisionError" in hands.app.session.failed

    def test_a_value_the_schema_refuses_says_which_key(self, hands):
        hands.app.session.change({"belts.pretension_n": -3.0}, True)
        hands.settle()
        assert "pretension_n" in hands.app.session.failed


class TestWindowKeys:
    @pytest.mark.parametrize("k", range(5))
    def test_screens(self, hands, k):
        hands.key(pygame.K_1 + k, CTRL)
        assert hands.app.screen.name == SCREENS[k]
        hands.press(f"tab {SCREENS[4 - k]}")
        assert hands.app.screen.name == SCREENS[4 - k]

    def test_theme_and_scale(self, hands):
        hands.key(pygame.K_t, words="t")
        assert hands.app.look.theme.name == "light"
        hands.app.resize((1920, 1080))
        hands.key(pygame.K_PLUS, CTRL)
        assert hands.app.look.scale == pytest.approx(1.1)
        hands.key(pygame.K_MINUS, CTRL)
        hands.key(pygame.K_MINUS, CTRL)
        assert hands.app.look.scale == pytest.approx(1 / 1.1, abs=1e-3)
        hands.key(pygame.K_0, CTRL)
        assert hands.app.look.scale == 1.0

    def test_scale_stays_in_its_bounds_and_in_the_window(self, hands):
        for _ in range(40):
            hands.key(pygame.K_PLUS, CTRL)
        assert hands.app.stage.scale == 2.5
        assert hands.app.look.scale <= 800 / 680
        for _ in range(80):
            hands.key(pygame.K_MINUS, CTRL)
        assert hands.app.stage.scale == 0.8

    def test_full_screen(self, hands):
        told = []
        hands.app.on_full_screen = told.append
        hands.key(pygame.K_F11)
        hands.key(pygame.K_ESCAPE)
        assert told == [True, False]

    def test_keys_sheet_has_every_caution(self, hands):
        hands.key(pygame.K_SLASH, SHIFT, "?")
        assert_words(hands, "Keys and cautions")
        for caution in CAUTIONS:
            assert_words(hands, caution.split(";")[0].split(":")[0].split(",")[0].split(".")[0])
        hands.key(pygame.K_t, words="t")
        assert hands.app.stage.theme_name == "dark"  # a sheet takes all events
        hands.key(pygame.K_ESCAPE)
        assert hands.app.sheet is None

    def test_escape_drops_the_focus(self, hands):
        hands.key(pygame.K_TAB)
        assert hands.app.input.focus is not None
        hands.key(pygame.K_ESCAPE)
        assert hands.app.input.focus is None

    def test_a_drawer_in_a_narrow_window(self, open_window):
        hands = open_window(size=(1100, 800))
        assert "carriage.mass_g" not in {c.name for c in hands.app.input.controls}
        hands.key(pygame.K_s, words="s")
        assert hands.control("carriage.mass_g")
        hands.key(pygame.K_ESCAPE)
        hands.step()
        assert "carriage.mass_g" not in {c.name for c in hands.app.input.controls}
        hands.press("settings drawer")
        assert hands.control("carriage.mass_g")

    def test_a_low_window_has_two_tabs_for_spectrum_and_print(self, open_window):
        hands = open_window(size=(1280, 700))
        choice = hands.control("lower panel")
        before = hands.pixels()
        hands.click(choice.cells()[1].center)
        assert (hands.pixels() != before).any()

    def test_resizing(self, hands):
        hands.step(pygame.event.Event(pygame.VIDEORESIZE, w=1400, h=900, size=(1400, 900)))
        assert hands.app.size == (1400, 900)

    def test_quit(self, hands):
        hands.step(pygame.event.Event(pygame.QUIT))
        assert not hands.app.alive


@pytest.mark.parametrize("name", SCREENS)
@pytest.mark.parametrize("size", [(1600, 1000), (1024, 680)])
class TestFocus:
    def test_tab_reaches_every_control_and_wraps(self, open_window, name, size):
        hands = open_window(initial_screen=name, size=size)
        hands.settle()
        order = hands.app.input.focus_order()
        seen = []
        for _ in order:
            hands.key(pygame.K_TAB)
            seen.append(hands.app.input.focus)
        assert seen == order
        assert len({c.name for c in seen}) == len(seen)
        hands.key(pygame.K_TAB)
        assert hands.app.input.focus is order[0]
        hands.key(pygame.K_TAB, SHIFT)
        assert hands.app.input.focus is order[-1]

    def test_the_focus_is_seen(self, open_window, name, size):
        hands = open_window(initial_screen=name, size=size)
        hands.settle()
        plain = hands.pixels().astype(int)
        for control in hands.app.input.focus_order():
            hands.app.input.focus_on(control, by_key=True)
            changed = abs(hands.pixels().astype(int) - plain).max(axis=2) > 40
            assert changed.sum() > 60, control.name

    def test_every_control_has_a_tooltip(self, open_window, name, size):
        hands = open_window(initial_screen=name, size=size)
        hands.settle()
        for control in hands.app.input.focus_order():
            assert control.tip, control.name


class TestTooltips:
    def test_after_half_a_second_of_hover(self, hands):
        hands.move(hands.control("belts.pretension_n").rect.center)
        hands.step(dt=0.3)
        plain = hands.pixels()
        assert_words(hands, "Tension of a belt at rest", there=False)
        hands.step(dt=0.3)
        assert (hands.pixels() != plain).any()
        assert_words(hands, "Tension of a belt at rest")

    def test_f1_on_the_focus(self, hands):
        hands.app.input.focus_on(hands.control("belts.pretension_n"), by_key=True)
        hands.key(pygame.K_F1)
        assert_words(hands, "Tension of a belt at rest")
        hands.key(pygame.K_F1 + 1)
        assert_words(hands, "Tension of a belt at rest", there=False)

    def test_a_curve_tells_its_value(self, hands):
        plot = hands.app.screen.corner
        hands.move((round(plot.time(hands.app.clock.time_s + 0.02)), plot.area.centery))
        hands.step(dt=0.6)
        assert_words(hands, "Press to move the clock here")


class TestIdle:
    def test_nothing_is_drawn_when_nothing_changes(self, hands):
        hands.step()
        assert not hands.step()
        assert not hands.step(dt=0.2)
        hands.app.clock.playing = True
        assert hands.step()


def test_closing_in_the_middle_of_a_run(desk):
    started = threading.Event()

    def slow(scenario, changes):
        started.set()
        time.sleep(0.4)
        return run_changed(scenario, changes)

    before = {t for t in threading.enumerate() if t.name == "simulate"}
    app = App([desk], runner=slow)
    app.session.change({"carriage.mass_g": 700.0}, True)
    assert started.wait(5)
    begun = time.monotonic()
    app.close()
    assert time.monotonic() - begun < 2.5
    assert {t for t in threading.enumerate() if t.name == "simulate"} <= before


def path_of(hands, index):
    return hands.app.screen.settings.paths[index].keys


class TestMended:
    def test_a_tooltip_does_not_outlive_its_screen(self, hands):
        hands.move(hands.control("belts.pretension_n").rect.center)
        hands.step(dt=0.6)
        assert hands.app.input.tip_words()[0]
        hands.key(pygame.K_1, CTRL)
        hands.step(dt=1.0)
        assert hands.app.input.tip_words()[0] == ""

    def test_a_tooltip_does_not_cover_its_dial(self, open_window):
        h = open_window(initial_screen="mixing")
        dial = h.control("dial a")
        h.move(dial.circle()[0])
        h.step(dt=0.6)
        words, keep = h.app.input.tip_words()
        assert words.startswith("Motor A")
        assert keep.contains(dial.ring_rect().inflate(-2, -2))

    def test_time_stands_still_below_a_sheet(self, hands):
        hands.app.clock.playing = True
        hands.app.show_sheet("keys")
        before = hands.app.clock.time_s
        hands.step(dt=0.3)
        assert hands.app.clock.time_s == before

    def test_a_focus_ring_keeps_off_the_next_row(self, hands):
        rows = [c for c in hands.app.input.controls if isinstance(c, Slider)]
        for slider, following in itertools.pairwise(rows):
            ring = slider.ring_rect().inflate(10, 10)
            assert ring.bottom <= following.rect.y + 16 - 10


def test_the_scale_suits_the_screen():
    assert [suits(s) for s in ((1280, 800), (1920, 1080), (2560, 1440), (3840, 2160))] == [1.0, 1.0, 1.4, 2.1]
    assert fits((1280, 800), 1.0) == (1280, 760)
    assert fits((2560, 1440), 1.4) == (1792, 1120)


def test_notes_of_one_rule_are_one_row(desk):
    rows = grouped(desk.findings.findings)
    notes = [f.rule for f in rows if f.severity == "note"]
    assert len(notes) == len(set(notes))
    assert sum(f.words.count("\n") + 1 for f in rows) == len(desk.findings.findings)


class TestPresenting:
    def test_f5_fills_the_screen_without_settings_and_shows_keys(self, hands):
        asked = []
        hands.app.on_full_screen = asked.append
        hands.key(pygame.K_F5)
        assert asked == [True]
        assert_words(hands, "told to stop")
        assert_words(hands, "Pretension", there=False)
        assert_words(hands, "Export", there=False)
        hands.key(pygame.K_SPACE)
        assert hands.app.clock.playing
        assert_words(hands, "play or pause")
        hands.step(dt=2.5)
        assert_words(hands, "play or pause", there=False)
        hands.key(pygame.K_ESCAPE)
        assert not hands.app.stage.presenting
        assert asked == [True, False]

    @pytest.mark.parametrize("k", range(5))
    def test_every_screen_is_presented(self, hands, k):
        hands.key(pygame.K_F5)
        hands.key(pygame.K_1 + k, CTRL)
        hands.pixels()
        assert hands.app.stage.effective_scale == pytest.approx(min(1280 / 1024, 800 / 680))
