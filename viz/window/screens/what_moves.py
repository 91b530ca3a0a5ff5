"""What moves: the ways the machine swings, each drawn larger from four sides, with what gives way and what would help."""

from __future__ import annotations

import math

import numpy as np
import pygame
from beltspring.sim import Way

from ...charts.panels import panel, wording
from ...charts.shares import PITCH, draw_shares, rest_words
from ...charts.tool_strip import ToolStrip
from ...draw import text
from ...draw.side_views import PLANES
from ...draw.swing import Swing
from ...draw.swing_panel import draw_near, draw_side, near_of
from ...draw.theme import Colour, Look
from ..controls.buttons import Button, Choice
from ..controls.control import Control, Key, Pointer
from ..controls.ways import WaysList
from ..keys import MOVES
from ..stage import Stage
from .screen import Screen, inside

SIZES = (("small", 0.45), ("fits", 1.0), ("large", 1.9))
SPEEDS = (("1/2 a s", 0.5), ("1 a s", 1.0), ("2 a s", 2.0))
BAR = ["bar: how far the tool swings after a stop, µm", "bar: tool's swing after a stop, µm", "bar: its swing, µm"]
FITS, MOST_TURN = 0.05, 0.42  # of the machine's size; rad


class StripControl(Control):
    """The spectrum at the foot: a press chooses the way to swing nearest to a frequency."""

    def __init__(self, screen: WhatMovesScreen) -> None:
        super().__init__("tool spectrum", "What the tool shows, by frequency: press near a peak, or left and right.")
        self.screen = screen

    def press(self, pointer: Pointer) -> None:
        hz = self.screen.strip.axis.back(pointer.pos[0])
        ways = self.screen.ways
        if ways:
            near = [abs(math.log(max(hz, 0.1) / w.seen_hz)) for w in ways]
            self.screen.list.choose(int(np.argmin(near)))

    def drag(self, pointer: Pointer) -> None:
        self.press(pointer)

    def key(self, key: Key) -> bool:
        return self.screen.key(key)


class WhatMovesScreen(Screen):
    """Three columns 27 / 45 / 22 and the tool's spectrum at the foot. No clock: the shown swing has its own time."""

    name = "moves"
    title = "What moves"
    uses_clock = False

    def __init__(self, stage: Stage) -> None:
        super().__init__(stage)
        self.list = WaysList(lambda _: self._chosen())
        self.size = Choice("size", [s for s, _ in SIZES], 1, lambda _: None, "How large the swing is drawn.")
        self.speed = Choice("swings", [s for s, _ in SPEEDS], 1, lambda _: None, "Swings a second, as shown.")
        tip = "With frame, guides and feet as springs; the simple model leaves them out."
        self.full = Button("full detail", "Run in full detail", self._full, tip)
        self.strip = ToolStrip()
        self.foot = StripControl(self)
        self.phase = 0.25
        self.moving = True
        self.rects: dict[str, pygame.Rect] = {}
        self.swing: Swing | None = None
        self._of = -1

    # ---- what is shown

    @property
    def ways(self) -> tuple[Way, ...]:
        return tuple(self.list.ways)

    @property
    def way(self) -> Way:
        """The one chosen."""
        return self.list.ways[self.list.chosen]

    @property
    def needs_full(self) -> bool:
        """Whether parts cannot turn here, and could."""
        machine = self.stage.session.shown.result.machine
        return machine.design.detail != "full" and not machine.arms

    def _full(self) -> None:
        self.stage.session.change({"detail": "full"}, True)

    def _fetch(self) -> None:
        """The ways of the newest result; the one that swings the tool most is chosen first."""
        shown = self.stage.session.shown
        if shown.serial == self._of or self.needs_full:
            return
        kept = self.list.ways[self.list.chosen].mode.words if self.list.ways else ""
        ways = shown.result.ways
        self.list.ways = ways
        loudest = max(range(len(ways)), key=lambda k: max(ways[k].swing_m), default=0)
        self.list.chosen = next((k for k, w in enumerate(ways) if w.mode.words == kept), loudest)
        self._of = shown.serial
        self._chosen()

    def _chosen(self) -> None:
        result = self.stage.session.shown.result
        if self.list.ways:
            self.swing = Swing(result.machine, result.middle, self.way.twist)
            self.phase = 0.25

    def choose_near(self, hz: float) -> None:
        """The way nearest to a frequency: what a peak on another screen leads to."""
        self._fetch()
        if self.list.ways:
            self.list.choose(min(range(len(self.ways)), key=lambda k: abs(self.ways[k].seen_hz - hz)))

    def entered(self) -> None:
        self._fetch()

    def result_changed(self) -> None:
        if self.in_view:
            self._fetch()

    @property
    def amplitude(self) -> float:
        """Largest amplitude drawn, of the shape's own: what fits, times the size chosen."""
        swing = self.swing
        assert swing is not None
        every = np.vstack([p.points for p in swing.pieces])
        span = float(np.linalg.norm(every.max(axis=0) - every.min(axis=0)))
        fits = FITS * span / max(swing.farthest_m(), 1e-12)
        return SIZES[self.size.value][1] * min(fits, MOST_TURN / max(swing.turning(), 1e-12))

    @property
    def now(self) -> float:
        """Amplitude at this moment."""
        if self.stage.reduce_motion:
            return self.amplitude
        return self.amplitude * math.sin(2 * math.pi * self.phase)

    @property
    def show_s(self) -> float:
        return 4.0 / SPEEDS[self.speed.value][1]

    def like(self, other: Screen) -> None:
        if isinstance(other, WhatMovesScreen):
            self._fetch()
            self.list.choose(other.list.chosen)
            self.size.value, self.speed.value = other.size.value, other.speed.value

    def panels(self) -> dict[str, pygame.Rect]:
        names = {
            "list": "ways to swing",
            "views": "the swing",
            "facts": "what gives way",
            "foot": "what the tool shows",
        }
        return {names[k]: r for k, r in self.rects.items()}

    # ---- keys and time

    def key(self, key: Key) -> bool:
        command = MOVES.command(key)
        if command == "swing or stand":
            self.moving = not self.moving
        elif command in ("way up", "way down"):
            self.list.choose(self.list.chosen + (1 if command == "way up" else -1))
        else:
            return False
        return True

    def advance(self, dt: float) -> bool:
        if self.swing is None or not self.moving or self.stage.reduce_motion:
            return False
        self.phase = (self.phase + dt * SPEEDS[self.speed.value][1]) % 1.0
        return dt > 0

    # ---- layout and drawing

    def layout(self, rect: pygame.Rect, look: Look) -> list[Control]:
        if self.needs_full:
            self.rects = {"views": rect}
            w = self.full.natural_width(look)
            self.full.rect = pygame.Rect(rect.centerx - w // 2, rect.centery + look.px(20), w, look.px(40))
            return [self.full]
        self._fetch()
        gap, foot = look.px(16), max(look.px(96), self.stage.foot_px)
        height = rect.h - foot - gap
        left, right = round((rect.w - 2 * gap) * 0.31), max(look.px(268), round((rect.w - 2 * gap) * 0.22))
        middle = rect.w - 2 * gap - left - right
        self.rects = {
            "list": pygame.Rect(rect.x, rect.y, left, height),
            "views": pygame.Rect(rect.x + left + gap, rect.y, middle, height),
            "facts": pygame.Rect(rect.right - right, rect.y, right, height),
            "foot": pygame.Rect(rect.x, rect.bottom - foot, rect.w, foot),
        }
        pad = look.px(20)
        box = self.rects["list"].inflate(-2 * pad, -2 * pad)
        self.list.place(pygame.Rect(box.x, box.y + look.px(58), box.w, box.bottom - box.y - look.px(58)), look)
        facts = self.rects["facts"].inflate(-2 * pad, -2 * pad)
        label = max(text.width(look, w, 14) for w in ("Size", "Swings")) + look.px(10)
        for k, choice in enumerate((self.speed, self.size)):
            y = facts.bottom - look.px(32) - k * look.px(40)
            choice.rect = pygame.Rect(facts.x + label, y, facts.w - label, look.px(32))
        self.foot.rect = self.rects["foot"]
        return [self.list, self.size, self.speed, self.foot]

    def draw(self, target: pygame.Surface, look: Look) -> None:
        if self.needs_full or self.swing is None:
            self._empty(target, look)
            return
        with inside(target, self.rects["list"]):
            box = panel(target, look, self.rects["list"], "Ways to swing", "", "lowest first")
            y = box.y + look.px(12)
            used = text.draw(target, look, "damping", box.right, y, 14, colour=look.theme.dim, align="right")
            words = wording(look, BAR, used.x - box.x - look.px(12))
            text.draw(target, look, words, box.x, y, 14, colour=look.theme.dim)
            self.draw_controls(target, look, [self.list])
        with inside(target, self.rects["views"]):
            self._views(target, look)
        with inside(target, self.rects["facts"]):
            self._facts(target, look)
        with inside(target, self.rects["foot"]):
            panel(target, look, self.rects["foot"], "")
            area = self.rects["foot"].inflate(-look.px(40), -look.px(20))
            self.strip.draw(target, area, look, self.stage.session.shown, self.way.seen_hz)

    def _empty(self, target: pygame.Surface, look: Look) -> None:
        rect = self.rects["views"]
        panel(target, look, rect, "What moves", self.stage.session.shown.result.title)
        running = self.stage.session.running
        still = "At detail simple parts slide but do not turn: only belts and motors are springs."
        words = "running in full detail" if running else still
        for k, line in enumerate(text.wrap(look, words, rect.w * 0.6, 16)):
            y = rect.centery - look.px(30) + k * look.px(24)
            text.draw(target, look, line, rect.centerx, y, 16, colour=look.theme.dim, align="center")
        if self.needs_full and not running:
            self.draw_controls(target, look, [self.full])

    def _colour(self, look: Look) -> Colour:
        return look.theme.axis(self.way.towards) if self.way.towards else look.theme.text

    def _views(self, target: pygame.Surface, look: Look) -> None:
        assert self.swing is not None
        way, theme = self.way, look.theme
        rate = SPEEDS[self.speed.value][0].removesuffix(" a s")
        hz = text.sensible(way.mode.frequency_hz, 3)
        title = text.fit(look, way.title, self.rects["views"].w - look.px(40), 18, True)
        box = panel(target, look, self.rects["views"], title)
        machine = self.stage.session.shown.result.title
        plural = "" if rate in ("1", "1/2") else "s"
        swings = f"{hz} Hz, shown at {rate} swing{plural} a second"
        below = wording(look, [f"{machine}; {swings}", swings], box.w)
        text.draw(target, look, below, box.x, box.y + look.px(10), 14, colour=theme.dim)
        foot = look.px(26)
        area = pygame.Rect(box.x, box.y + look.px(20), box.w, box.h - look.px(20) - foot)
        gap = look.px(14)
        w, h = (area.w - gap) // 2, (area.h - gap) // 2
        cells = [pygame.Rect(area.x + i * (w + gap), area.y + j * (h + gap), w, h) for j in (0, 1) for i in (0, 1)]
        still = (-self.amplitude,) if self.stage.reduce_motion else ()
        near = near_of(self.swing, way.named, way.towards)
        how = (self.swing, self.now, self.amplitude, way.named, self._colour(look), still)
        marked = None
        for cell, name in zip((cells[0], cells[2], cells[3]), PLANES, strict=True):
            draw_side(target, cell, look, name, *how)
        draw_near(target, cells[1], look, near, way.towards, *how)
        source = (cells[0], cells[2], cells[3])[list(PLANES).index(near)]
        marked = source
        draw_side(target, marked, look, near, *how, marked=True)
        baseline = box.bottom - look.px(4)
        used = text.draw(target, look, "dashed: at rest", box.x, baseline, 14, colour=theme.dim)
        larger = self._larger()
        words = text.fit(look, larger, box.right - used.right - look.px(16), 14)
        text.draw(target, look, words, box.right, baseline, 14, colour=theme.dim, align="right")

    def _larger(self) -> str:
        """How much larger it is drawn than it swings after a stop."""
        after = self.way.after_stop
        if after <= 0 or not self.way.towards:
            return "drawn at will: a stop hardly starts it"
        times = self.amplitude / after
        power = 10.0 ** max(0, math.floor(math.log10(max(times, 1.0))) - 1)
        return f"drawn {text.number(round(times / power) * power)}× larger than after a stop"

    def _facts(self, target: pygame.Surface, look: Look) -> None:
        way, theme = self.way, look.theme
        rect = self.rects["facts"]
        box = panel(target, look, rect, "What gives way")
        bottom = self.size.rect.y - look.px(12)
        heard = f"Heard in the ringing test {way.heard}." if way.heard else ""
        for size, pitch in ((16, look.px(22)), (14, look.px(18))):
            lines = [line for words in (heard, way.helps, way.will_not) for line in text.wrap(look, words, box.w, size)]
            room = bottom - box.y - pitch * len(lines) - look.px(94)
            if room >= 2 * look.px(PITCH):
                break
        rows = max(2, room // look.px(PITCH))
        holds = min(len(way.holds), max(1, (rows + 1) // 2, rows - len(way.moves)))
        moves = max(1, min(len(way.moves), rows - holds))
        area = pygame.Rect(box.x, box.y, box.w, bottom - box.y)
        y = draw_shares(target, look, area, [(s.name, s.share) for s in way.holds[:holds]])
        words = wording(look, rest_words("of the springs' energy", [s.share for s in way.holds[:holds]]), box.w)
        text.draw(target, look, words, box.x, y + look.px(8), 14, colour=theme.dim)
        y += look.px(42)
        text.draw(target, look, "What moves", box.x, y, 18, bold=True)
        area = pygame.Rect(box.x, y + look.px(10), box.w, max(0, bottom - y - look.px(10)))

        def colour(name: str) -> Colour | None:
            told = [s.name for s in way.moves[: len(way.named)]]
            return self._colour(look) if name in told else None

        y = draw_shares(target, look, area, [(s.name, s.share) for s in way.moves[:moves]], colour)
        words = wording(look, rest_words("of the motion's energy", [s.share for s in way.moves[:moves]]), box.w)
        text.draw(target, look, words, box.x, y + look.px(8), 14, colour=theme.dim)
        y += look.px(34)
        for line in lines:
            if y > bottom:
                break
            text.draw(target, look, line, box.x, y, size)
            y += pitch
        for words, choice in (("Size", self.size), ("Swings", self.speed)):
            text.draw(target, look, words, box.x, choice.rect.centery + look.px(5), 14, colour=theme.dim)
        self.draw_controls(target, look, [self.size, self.speed])
