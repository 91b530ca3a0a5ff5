"""The ringing test: the machine with its ringing drawn larger, one corner close, and the settings that change it."""

from __future__ import annotations

from functools import partial

import pygame

from ...charts.corner import CornerPlot, before_and_after_loss
from ...charts.curves import CURVES, colour_of, values_m
from ...charts.loop import CornerLoop
from ...charts.machine_larger import below_rect, draw_machine_larger, larger_words
from ...charts.panels import panel, wording
from ...charts.printed import magnification_words
from ...charts.shown import Shown
from ...charts.spectrum import SpectrumPlot, title_of
from ...charts.strip import StripPlot
from ...charts.torque import TorquePlot
from ...draw import text
from ...draw.theme import Look
from ..controls.buttons import Choice
from ..controls.control import Control, Pointer
from ..controls.strip import StripControl
from ..stage import Stage
from .corner_view import CornerView, show_ringing
from .kept import Kept
from .screen import PlotArea, Screen, inside, veil
from .settings_panel import SettingsPanel

STRIP = 72  # px of the strip of the whole move with its names


class CornerArea(PlotArea):
    """The plot of one corner: a press moves the clock, the wheel zooms."""

    view: CornerView

    def wheel(self, steps: int, pointer: Pointer) -> bool:
        self.view.zoomed(steps)
        return True


class PeaksControl(Control):
    """The spectrum: a press on a peak goes to what swings there."""

    def __init__(self, screen: RingingScreen) -> None:
        super().__init__("spectrum peaks", "Where it rings, by frequency. Press a peak to see what moves there.")
        self.screen = screen
        self.focusable = False

    def hit(self, pos: tuple[int, int]) -> bool:
        return self.rect.collidepoint(pos) and self.screen.spectrum.peak_at(pos) is not None

    def press(self, pointer: Pointer) -> None:
        hz = self.screen.spectrum.peak_at(pointer.pos)
        if hz is not None:
            self.screen.stage.show_way(hz)


class RingingScreen(Screen):
    """Three columns 41 / 36 / 21; narrow windows fold the settings into a drawer, low ones share a panel."""

    name = "ringing"
    title = "Ringing test"

    def __init__(self, stage: Stage) -> None:
        super().__init__(stage)
        self.view, self.kept = CornerView(stage.clock), Kept()
        self._drawn, self._behind = 0, False
        self.corner, self.spectrum, self.strip, self.loop = CornerPlot(), SpectrumPlot(), StripPlot(), CornerLoop()
        self.settings = SettingsPanel(stage, stage.session)
        self.plot = CornerArea("deviation", self.corner, stage.clock.go, self._tip)
        self.plot.view = self.view
        self.strips = StripControl(
            lambda x: self.strip.corner_at(self.shown.corners, x),
            lambda k: self.view.choose(self.shown, k),
            lambda way: self.view.step(self.shown, way),
        )
        self.peaks = PeaksControl(self)
        self.size = Choice(
            "how large", ["1×", "larger"], 1, lambda _: None,
            "The machine as it is, or with what the tool is off its place, and what belts pull more or less, drawn larger.",
        )  # fmt: skip
        self.below, self.torque = Choice(
            "belts or motors", ["belts", "motors"], 0, lambda _: None,
            "How every run of belt pulls, or every motor's torque against the most it has at its speed.",
        ), TorquePlot()  # fmt: skip
        self.curve = Choice(
            "curve", list(CURVES), 0, lambda _: None,
            "Which way off: across the line, ahead or behind along the line, or in X or Y. Off the line is what a print shows.",
        )  # fmt: skip
        self.half = Choice(
            "lower panel", ["Spectrum", "This corner"], 0, lambda _: None, "Which of the two the lower panel shows."
        )
        self.rects: dict[str, pygame.Rect] = {}

    @property
    def shown(self) -> Shown:
        return self.stage.session.shown

    @property
    def chosen_curve(self) -> str:
        """Name of the curve shown."""
        return CURVES[self.curve.value]

    def panels(self) -> dict[str, pygame.Rect]:
        names = {"corner": "this corner", "lower": "lower panel", "deviation": "off the line"}
        return {names.get(k, k): r for k, r in self.rects.items() if k != "settings" or not self.stage.narrow}

    def like(self, other: Screen) -> None:
        if isinstance(other, RingingScreen):
            self.size.value, self.curve.value, self.half.value = other.size.value, other.curve.value, other.half.value
            self.below.value = other.below.value
            self.view.zoom = other.view.zoom

    def entered(self) -> None:
        """A clock that has not moved begins where there is something to see."""
        show_ringing(self.stage.clock, self.shown)

    def beside_settings(self, area: pygame.Rect) -> pygame.Rect:
        if self.stage.narrow:
            return area
        return pygame.Rect(area.x, area.y, self.rects["settings"].x - self.stage.look.px(16) - area.x, area.h)

    def left(self) -> None:
        self.loop.forget()
        self.kept.forget()

    # ---- layout

    def layout(self, rect: pygame.Rect, look: Look) -> list[Control]:
        gap = look.px(16)
        narrow, low = self.stage.narrow, self.stage.low
        side = max(look.px(272), round(rect.w * 0.21)) if not narrow else look.px(320)
        rest = rect.w - (side + gap if not narrow else 0) - gap
        left = round(rest * (0.53 if not narrow else 0.45))
        middle, x = rest - left, rect.x + left + gap
        upper = round((rect.h - gap) * (0.62 if not low else 0.6))
        lower = pygame.Rect(x, rect.y + upper + gap, middle, rect.h - upper - gap)
        self.rects = {
            "machine": pygame.Rect(rect.x, rect.y, left, rect.h),
            "deviation": pygame.Rect(x, rect.y, middle, upper),
        }
        if low:
            self.rects["lower"] = lower
        else:
            half = round((middle - gap) * 0.45)
            self.rects["corner"] = pygame.Rect(x, lower.y, half, lower.h)
            self.rects["spectrum"] = pygame.Rect(x + half + gap, lower.y, middle - half - gap, lower.h)
        self.rects["settings"] = pygame.Rect(rect.right - side, rect.y, side, rect.h)
        controls = [*self._place_choices(look), self.strips, self.plot]
        self.peaks.rect = self.rects["lower" if low else "spectrum"]
        controls.append(self.peaks)
        if low:
            at = (lower.x + look.px(18), lower.y + look.px(14))
            self.half.rect = pygame.Rect(*at, self.half.natural_width(look), look.px(30))
            controls.append(self.half)
        inner = self.settings.layout(self.rects["settings"], look)
        return controls + (inner if self.stage.drawer_open or not narrow else [])

    def _place_choices(self, look: Look) -> list[Control]:
        """The two switches, at the right of their panels' titles, and what they belong to."""
        pad = look.px(20)
        for choice, name in ((self.size, "machine"), (self.curve, "deviation")):
            rect = self.rects[name]
            wide = min(choice.natural_width(look), rect.w - 2 * pad)
            choice.rect = pygame.Rect(rect.right - pad - wide, rect.y + look.px(14), wide, look.px(30))
        box = self.rects["deviation"].inflate(-2 * pad, -2 * pad)
        # Where the switch takes the whole width, the title goes and the switch alone says what is shown.
        top = box.y + look.px(34)
        self.strips.rect = pygame.Rect(box.x, top, box.w, look.px(STRIP))
        under = self.strips.rect.bottom + look.px(6)
        self.plot.rect = pygame.Rect(box.x, under, box.w, box.bottom - under)
        if self.size.value != 1:
            return [self.size, self.curve]
        below = below_rect(look, self._below_title(self.rects["machine"].inflate(-2 * pad, -2 * pad), look), self.shown)
        wide = self.below.natural_width(look)
        self.below.rect = pygame.Rect(below.right - wide, below.y - look.px(6), wide, look.px(26))
        return [self.size, self.below, self.curve]

    @staticmethod
    def _below_title(box: pygame.Rect, look: Look) -> pygame.Rect:
        """The room of the machine in its panel."""
        return pygame.Rect(box.x, box.y + look.px(34), box.w, box.h - look.px(34))

    # ---- drawing

    def draw(self, target: pygame.Surface, look: Look) -> None:
        # The first frame with a new run shows its curves; the other panels follow in the next one.
        serial, before = self.shown.serial, self._drawn
        for name, rect in self.rects.items():
            if name == "settings":
                continue
            key = self._drawn_from(name, look, serial)
            old = self._drawn_from(name, look, before) if name != "deviation" else None
            with inside(target, rect):
                self.kept.draw(target, name, rect, key, partial(self._panel, target, look, name), old)
        self._drawn, self._behind = serial, before != serial
        self.draw_controls(target, look, self.switches())
        if self.stage.drawer_open or not self.stage.narrow:
            if self.stage.narrow:
                shadow = self.rects["settings"].inflate(look.px(16), look.px(16))
                target.fill(look.theme.page, shadow.clip(target.get_rect()))
            self.settings.draw(target, look)

    def advance(self, dt: float) -> bool:
        return self._behind

    def _drawn_from(self, name: str, look: Look, serial: int) -> tuple[object, ...] | None:
        """Everything a panel is drawn from with the run of a serial number; None while it moves."""
        stage, session = self.stage, self.stage.session
        if stage.clock.playing or stage.filming:
            return None
        lower = self.half.value if name == "lower" else 1
        if name == "spectrum" or lower == 0:
            return look, lower, session.told.serial, bool(session.failed)
        choices = (self.size.value, self.below.value, self.curve.value, self.view.zoom, lower)
        return look, serial, bool(session.failed), stage.clock.time_s, stage.frame_s, *choices

    def _panel(self, target: pygame.Surface, look: Look, name: str) -> None:
        """One of the panels beside the settings, veiled where its result no longer belongs to them."""
        shown, now, rect = self.shown, self.stage.clock.time_s, self.rects[name]
        if name == "machine":
            self._machine(target, look, rect, shown, now)
        elif name == "deviation":
            self._corner(target, look, rect, shown, now)
        elif name == "spectrum" or (name == "lower" and self.half.value == 0):
            told = self.stage.session.told
            title, words = title_of(told.result.analysis)
            box = self._lower(target, look, rect, name, title, [words, "µm"])
            self.spectrum.draw(target, box, look, told)
        else:
            self._loop(target, look, rect, name, shown, now)
        if self.stage.session.failed:
            veil(target, look, rect.inflate(-look.px(12), -look.px(12)))

    def switches(self) -> list[Control]:
        """Those shown in the panels."""
        below = [self.below] if self.size.value == 1 else []
        return [self.size, *below, self.curve, *([self.half] if self.stage.low else [])]

    def _machine(self, target: pygame.Surface, look: Look, rect: pygame.Rect, shown: Shown, now: float) -> None:
        box = panel(target, look, rect, "")
        used = text.draw(target, look, "Machine", box.x, box.y + look.px(16), 18, bold=True)
        larger = self.size.value == 1
        room = self.size.rect.x - used.right - look.px(24)
        title = shown.result.title
        meaning = [larger_words(shown), larger_words(shown).removeprefix("ringing ")] if larger else [title]
        words = wording(look, meaning, room)
        if len(words) > 1:
            text.draw(target, look, words, used.right + look.px(12), box.y + look.px(16), 14, colour=look.theme.dim)
        draw_machine_larger(
            target, look, self._below_title(box, look), shown, now, larger=larger, frame_s=self.stage.frame_s,
            motors=self.torque if self.below.value == 1 else None, switch=0 if self.stage.filming else self.below.rect.w,
        )  # fmt: skip

    def _corner(self, target: pygame.Surface, look: Look, rect: pygame.Rect, shown: Shown, now: float) -> None:
        box = panel(target, look, rect, "")
        corner, curve = self.view.corner(shown), self.chosen_curve
        title = curve.capitalize() if curve in CURVES[:2] else f"Deviation in {curve}"
        if self.curve.rect.x - box.x > text.width(look, title, 18, True) + look.px(10):
            text.draw(target, look, title, box.x, box.y + look.px(16), 18, bold=True)
        if corner is None:
            words = "This move has no corners."
            text.draw(target, look, words, box.centerx, box.centery, 16, colour=look.theme.dim, align="center")
            return
        span = self.view.span(shown)
        lines = before_and_after_loss(shown, values_m(shown, curve), colour_of(look, curve), look)
        key = (shown.serial, curve)
        self.strip.draw(target, self.strips.rect, look, lines, shown, span, corner, now, key=key)
        self.corner.draw(target, self.plot.rect, look, shown, curve, corner, now, span=span)

    def _loop(self, target: pygame.Surface, look: Look, rect: pygame.Rect, name: str, shown: Shown, now: float) -> None:
        corner = self.view.corner(shown)
        box = self._lower(target, look, rect, name, "This corner", "")
        if corner is None:
            return
        line = look.px(20)
        paper = pygame.Rect(box.x, box.y + line, box.w, box.h - line)
        larger = magnification_words(self.loop.draw(target, paper, look, shown, corner, now))
        words = [f"off the line drawn {larger} larger", f"off the line {larger} larger", f"{larger} larger"]
        text.draw(target, look, wording(look, words, box.w), box.x, box.y + look.px(12), 14, colour=look.theme.dim)

    def _lower(
        self, target: pygame.Surface, look: Look, rect: pygame.Rect, name: str, title: str, meaning: str | list[str]
    ) -> pygame.Rect:
        """A lower panel; where two share it, their switch is the title."""
        if name != "lower":
            return panel(target, look, rect, title, meaning)
        box = panel(target, look, rect, "")
        room = box.right - self.half.rect.right - look.px(16)
        words = wording(look, meaning, room)
        text.draw(target, look, words, box.right, box.y + look.px(15), 14, colour=look.theme.dim, align="right")
        drop = look.px(34)
        return pygame.Rect(box.x, box.y + drop, box.w, box.h - drop)

    def _tip(self, time_s: float) -> str:
        shown = self.shown
        if not 0 <= time_s <= shown.end_s:
            return ""
        value = float(shown.at(time_s, values_m(shown, self.chosen_curve)))
        what = self.chosen_curve if self.curve.value < 2 else f"in {self.chosen_curve}"
        said = f"{text.length(value, signed=True)} {what} at {text.number(time_s * 1e3, 1)} ms"
        return f"{said}. Press to move the clock here; the wheel zooms."
