"""Controls by themselves: values, keys, the mouse, typed numbers."""

from __future__ import annotations

import math

import pygame
import pytest
from beltspring.viz.draw.theme import look
from beltspring.viz.window.clock import Clock
from beltspring.viz.window.controls.buttons import Button, Choice
from beltspring.viz.window.controls.control import Key, Pointer
from beltspring.viz.window.controls.dial import Dial
from beltspring.viz.window.controls.dropdown import DropDown
from beltspring.viz.window.controls.field import Line, TextField
from beltspring.viz.window.controls.slider import Range, Slider
from beltspring.viz.window.settings import SETTINGS
from hypothesis import given
from hypothesis import strategies as st

SPAN = Range(10.0, 1000.0, "g", 1.0, 0, True, (("kg", 1000.0),))


def slider(value=100.0, default=100.0, span=SPAN):
    told = []
    control = Slider("mass", "Mass", span, value, default, lambda v, done: told.append((v, done)))
    control.rect = pygame.Rect(50, 20, 200, 44)
    return control, told


class TestRange:
    @given(st.floats(0, 1))
    def test_a_place_on_the_way_and_back(self, share):
        value = SPAN.value(share)
        assert SPAN.low <= value <= SPAN.high
        assert SPAN.value(SPAN.share(value)) == value

    @pytest.mark.parametrize(
        ("words", "value"),
        [
            ("250", 250),
            ("250 g", 250),
            ("0.25kg", 250),
            ("0,25 kg", 250),
            ("1 000", 1000),
            (" 1\u202f000 g ", 1000),
            ("2.5e2", 250),
        ],
    )
    def test_typed_numbers(self, words, value):
        assert SPAN.parse(words) == pytest.approx(value)

    @pytest.mark.parametrize("words", ["", "g", "ten", "12 mm", "nan", "inf", "1e999", "--3", "1 2 x"])
    def test_what_is_no_number(self, words):
        assert SPAN.parse(words) is None

    def test_a_square_may_be_typed_plainly(self):
        span = next(s.range for s in SETTINGS if s.label == "Acceleration")
        assert span.parse("6 000 mm/s²") == span.parse("6000mm/s2") == span.parse("6 m/s2") == 6000

    @pytest.mark.parametrize("setting", SETTINGS, ids=lambda s: s.key)
    def test_every_setting_goes_to_the_file_and_back(self, setting):
        value = setting.range.value(0.37)
        assert setting.shown(setting.file_value(value)) == pytest.approx(value)


class TestSlider:
    def test_drag_tells_while_it_moves_and_at_the_end(self):
        control, told = slider()
        control.press(Pointer((150, 40)))
        control.drag(Pointer((250, 40)))
        control.drag(Pointer((900, 40)))
        control.release(Pointer((900, 40)))
        assert told[0] != told[-1]
        assert [done for _, done in told] == [False] * (len(told) - 1) + [True]
        assert told[-1] == (1000.0, True)

    def test_click_on_the_track_goes_there(self):
        control, told = slider()
        control.press(Pointer((50, 40)))
        control.release(Pointer((50, 40)))
        assert told[-1] == (10.0, True)

    @pytest.mark.parametrize(
        ("key", "shift", "more"),
        [
            (pygame.K_RIGHT, False, 0.01),
            (pygame.K_LEFT, False, -0.01),
            (pygame.K_UP, True, 0.1),
            (pygame.K_DOWN, True, -0.1),
        ],
    )
    def test_arrows_go_one_or_ten_percent(self, key, shift, more):
        control, told = slider()
        assert control.key(Key(key, shift=shift))
        assert told[-1] == (SPAN.value(SPAN.share(100.0) + more), True)
        assert told[-1][0] != 100.0

    def test_a_step_smaller_than_the_rounding_still_moves(self):
        control, _ = slider(10.0, span=Range(10.0, 20.0, "N", 1.0))
        control.key(Key(pygame.K_RIGHT))
        assert control.value == 11.0

    def test_home_end_and_backspace(self):
        control, told = slider()
        for key, value in ((pygame.K_HOME, 10.0), (pygame.K_END, 1000.0), (pygame.K_BACKSPACE, 100.0)):
            assert control.key(Key(key))
            assert told[-1] == (value, True)

    def test_double_click_is_the_default(self):
        control, told = slider(700.0)
        control.press(Pointer((60, 40), clicks=2))
        assert told == [(100.0, True)]

    def test_wheel(self):
        control, told = slider()
        assert control.wheel(1, Pointer((0, 0)))
        assert told[-1][0] > 100
        control.wheel(-1, Pointer((0, 0), shift=True))
        assert told[-1][0] < 100

    def test_enter_types_a_value(self):
        control, told = slider()
        control.key(Key(pygame.K_RETURN))
        assert control.typing
        control.typed("0.5 kg")  # the old value was selected and is replaced
        control.key(Key(pygame.K_RETURN))
        assert not control.typing
        assert told == [(500.0, True)]

    @pytest.mark.parametrize(("words", "note"), [("many", "not a number"), ("5000", "10 to 1\u202f000")])
    def test_a_refused_value_says_why_and_changes_nothing(self, words, note):
        control, told = slider()
        control.key(Key(pygame.K_RETURN))
        control.typed(words)
        control.key(Key(pygame.K_RETURN))
        assert (told, control.value, control.refused) == ([], 100.0, note)

    def test_escape_leaves_the_field(self):
        control, told = slider()
        control.key(Key(pygame.K_RETURN))
        control.typed("7")
        control.key(Key(pygame.K_ESCAPE))
        assert (told, control.typing) == ([], False)

    def test_the_handle_is_where_the_value_is(self):
        control, _ = slider(10.0)
        assert control.handle_x() == 50
        control.value = 1000.0
        assert control.handle_x() == 250
        control.value = 100.0  # the middle of equal ratios
        assert control.handle_x() == 150


class TestLine:
    def test_editing(self):
        line = Line("abc")
        line.key(Key(pygame.K_LEFT))
        line.insert("X")
        assert line.words == "abXc"
        line.key(Key(pygame.K_BACKSPACE))
        line.key(Key(pygame.K_DELETE))
        assert line.words == "ab"
        line.key(Key(pygame.K_HOME))
        line.insert("0")
        assert line.words == "0ab"
        line.key(Key(pygame.K_a, ctrl=True))
        line.insert("new")
        assert line.words == "new"

    def test_control_characters_do_not_get_in(self):
        line = Line()
        line.insert("a\nb\x00c")
        assert line.words == "abc"

    def test_a_text_field_reports_enter(self):
        said = []
        field = TextField("path", "", said.append)
        field.typed("x.toml")
        field.key(Key(pygame.K_RETURN))
        assert said == ["x.toml"]


class TestDropDown:
    def make(self):
        told = []
        control = DropDown("pick", "", ["one", "two", "three"], 0, told.append)
        control.rect = pygame.Rect(10, 10, 160, 30)
        control.bounds = pygame.Rect(0, 0, 400, 300)
        return control, told

    def test_keys(self):
        control, told = self.make()
        control.key(Key(pygame.K_RETURN))
        assert control.opened
        control.key(Key(pygame.K_DOWN))
        control.key(Key(pygame.K_END))
        control.key(Key(pygame.K_RETURN))
        assert (told, control.words, control.opened) == ([2], "three", False)
        control.key(Key(pygame.K_UP))
        assert told == [2, 1]

    def test_mouse(self):
        control, told = self.make()
        control.press(Pointer((20, 20)))
        row = control.list_rect()
        control.press(Pointer((row.x + 20, row.y + 4 + control._row + 3)))
        assert (told, control.opened) == ([1], False)

    def test_a_press_elsewhere_closes_it(self):
        control, told = self.make()
        control.open()
        control.press(Pointer((390, 290)))
        assert (told, control.opened) == ([], False)

    def test_escape_and_tab_close_it(self):
        control, told = self.make()
        control.open()
        assert control.key(Key(pygame.K_ESCAPE))
        control.open()
        assert not control.key(Key(pygame.K_TAB))  # the focus may move on
        assert (told, control.opened) == ([], False)

    @pytest.mark.parametrize("y", [10, 265])
    def test_the_list_stays_in_the_window(self, y):
        control, _ = self.make()
        control.rect.y = y
        control.open()
        assert control.bounds.contains(control.list_rect())


class TestChoiceAndButton:
    def test_choice(self):
        told = []
        control = Choice("speed", ["a", "b", "c"], 1, told.append)
        control.rect = pygame.Rect(0, 0, 90, 30)
        control.press(Pointer((80, 10)))
        control.key(Key(pygame.K_LEFT))
        control.key(Key(pygame.K_HOME))
        control.key(Key(pygame.K_LEFT))
        control.key(Key(pygame.K_END))
        assert told == [2, 1, 0, 2]

    def test_a_button_acts_on_release_inside(self):
        count = []
        button = Button("b", "Go", lambda: count.append(1))
        button.rect = pygame.Rect(0, 0, 50, 20)
        button.press(Pointer((5, 5)))
        button.release(Pointer((500, 5)))
        assert count == []
        button.press(Pointer((5, 5)))
        button.release(Pointer((6, 6)))
        button.key(Key(pygame.K_RETURN))
        assert count == [1, 1]


class TestDial:
    def make(self):
        turned = []
        dial = Dial("dial a", "Motor A", ("Q", "W"), 20, turned.append, "")
        dial.rect = pygame.Rect(0, 0, 200, 266)
        return dial, turned

    def at(self, dial, degrees):
        (x, y), r = dial.circle()
        return Pointer(
            (round(x + r * 0.8 * math.cos(math.radians(degrees))), round(y - r * 0.8 * math.sin(math.radians(degrees))))
        )

    def test_the_angle_goes_on_past_a_turn(self):
        dial, turned = self.make()
        dial.press(self.at(dial, 0))
        for degrees in range(15, 765, 15):  # twice round and a bit, counter-clockwise
            dial.drag(self.at(dial, degrees))
        assert math.degrees(sum(turned)) == pytest.approx(750, abs=2)

    def test_clockwise_counts_down(self):
        dial, turned = self.make()
        dial.press(self.at(dial, 10))
        for degrees in range(0, -200, -10):
            dial.drag(self.at(dial, degrees))
        assert math.degrees(sum(turned)) == pytest.approx(-200, abs=2)

    def test_wheel_and_keys(self):
        dial, turned = self.make()
        dial.wheel(1, Pointer((0, 0)))
        dial.wheel(-1, Pointer((0, 0), shift=True))
        dial.key(Key(pygame.K_LEFT))
        dial.key(Key(pygame.K_RIGHT, shift=True))
        assert [round(math.degrees(t)) for t in turned] == [5, -1, 5, -1]

    def test_it_draws_without_a_screen(self):
        dial, _ = self.make()
        dial.angle = math.radians(495)
        target = pygame.Surface((220, 280), 0, 32)
        dial.draw(target, look("dark"), focused=False, hovered=False)
        assert tuple(target.get_at(dial.circle()[0]))[:3] == look("dark").theme.belts[0]  # the hub


class TestClock:
    def test_it_follows_real_time_not_frames(self):
        a, b = Clock(2.0), Clock(2.0)
        a.playing = b.playing = True
        for _ in range(10):
            a.advance(0.1)
        b.advance(1.0)
        assert a.time_s == pytest.approx(b.time_s) == pytest.approx(0.1)

    def test_it_stops_at_the_end_and_plays_again_from_the_start(self):
        clock = Clock(1.0)
        clock.speed_index = 0
        clock.toggle()
        clock.advance(5.0)
        assert (clock.time_s, clock.playing) == (1.0, False)
        clock.toggle()
        assert (clock.time_s, clock.playing) == (0.0, True)

    def test_steps_go_to_whole_milliseconds(self):
        clock = Clock(1.0)
        clock.go(0.0124)
        clock.step(1)
        assert clock.time_s == pytest.approx(0.013)
        clock.go(0.0124)
        clock.step(-1)
        assert clock.time_s == pytest.approx(0.012)
        clock.step(-1)
        assert clock.time_s == pytest.approx(0.011)

    def test_legs(self):
        clock = Clock(1.0)
        starts = [0.0, 0.25, 0.5]
        seen = []
        for way in (1, 1, 1, 1, -1, -1):
            clock.leg(way, starts)
            seen.append(clock.time_s)
        assert seen == [0.25, 0.5, 1.0, 1.0, 0.5, 0.25]

    def test_a_shorter_result_pulls_it_back(self):
        clock = Clock(1.0)
        clock.go(0.9)
        clock.set_end(0.4)
        assert clock.time_s == 0.4
