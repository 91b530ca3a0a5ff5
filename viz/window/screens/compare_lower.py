"""The lower part of Compare: the ticked designs at one corner, as curves, as lines on paper and as machines."""

from __future__ import annotations

from collections.abc import Callable

import pygame
from beltspring.sim import OFF_LINE

from ...charts.corner_overlay import CornerLens, CornerOverlay, Entry
from ...charts.machines_beside import draw_machines, machines_fit
from ...charts.panels import panel
from ...charts.printed import magnification_words
from ...charts.shown import Shown
from ...charts.strip import StripPlot
from ...draw import text
from ...draw.theme import Look
from ..controls.buttons import Choice
from ..controls.control import Control
from ..controls.strip import StripControl
from ..fleet import Column, Fleet
from ..stage import Stage
from .corner_view import CornerView
from .ringing import CornerArea
from .screen import inside

STRIP, HIGH = 66, 250


class CornerBeside:
    """Three panels under the rows. on_speed: called when another speed is chosen."""

    def __init__(self, stage: Stage, fleet: Fleet, on_speed: Callable[[], None]) -> None:
        self.stage = stage
        self.fleet = fleet
        self.view = CornerView(stage.clock)
        self.speed = Choice(
            "which speed", ["as asked", "at its worst speed"], 0, lambda _: on_speed(),
            "Each design at the speed asked for, or at the one of the judged speeds at which it rings most.",
        )  # fmt: skip
        self.overlay, self.lens, self.strip = CornerOverlay(), CornerLens(), StripPlot()
        self.area = CornerArea("off the line", self.overlay, self._go, self._tip)
        self.area.view = self.view
        self.strips = StripControl(self._nearest, self._choose, self._step)
        self.rects: dict[str, pygame.Rect] = {}

    @property
    def reference(self) -> Shown | None:
        """Whose corners the clock counts: the slowest ticked design's."""
        ready = [s for c in self.fleet.ready() if (s := self.run_of(c)) is not None]
        return max(ready, key=lambda s: s.end_s) if ready else None

    def run_of(self, column: Column) -> Shown | None:
        """A design's run at the speed chosen."""
        return column.worst[1] if self.speed.value == 1 and column.worst is not None else column.shown

    def entries(self) -> list[Entry]:
        """The ticked designs at the corner looked at."""
        reference = self.reference
        number = self.view.number(reference) if reference is not None else None
        if number is None:
            return []
        out = []
        for k, column in enumerate(self.fleet.columns):
            shown = self.run_of(column)
            if shown is not None and shown.corners:
                corner = shown.corners[min(number, len(shown.corners) - 1)]
                out.append(Entry(label_of(column), shown, corner, k, speed_words(shown)))
        return out

    def _stop_s(self) -> float:
        """The stop from which the clock counts."""
        corner = self.view.corner(self.reference) if self.reference is not None else None
        return corner.stop_s if corner is not None else 0.0

    def _go(self, since_stop_s: float) -> None:
        self.stage.clock.go(self._stop_s() + since_stop_s)

    def _nearest(self, x: float) -> int | None:
        reference = self.reference
        return self.strip.corner_at(reference.corners, x) if reference is not None else None

    def _choose(self, number: int) -> None:
        if self.reference is not None:
            self.view.choose(self.reference, number)

    def _step(self, way: int) -> None:
        if self.reference is not None:
            self.view.step(self.reference, way)

    # ---- layout

    def layout(self, look: Look, lower: pygame.Rect) -> list[Control]:
        """Place the panels in `lower`; none where it is too low."""
        self.rects = {}
        if lower.h < look.px(100):
            return []
        pad, gap = look.px(20), look.px(12)
        machines = machines_fit(look, lower.h)
        left = round(lower.w * (0.45 if machines else 0.64))
        right = round(lower.w * 0.30) if machines else 0
        self.rects["off the line"] = pygame.Rect(lower.x, lower.y, left, lower.h)
        x = lower.x + left + gap
        self.rects["the corner"] = pygame.Rect(x, lower.y, lower.right - x - (right + gap if machines else 0), lower.h)
        if machines:
            self.rects["machines"] = pygame.Rect(lower.right - right, lower.y, right, lower.h)
        box = self.rects["off the line"].inflate(-2 * pad, -2 * look.px(16))
        wide = self.speed.natural_width(look)
        self.speed.rect = pygame.Rect(box.right - wide, box.y - look.px(2), wide, look.px(30))
        title = text.width(look, OFF_LINE.capitalize(), 18, True) + look.px(44)
        if lower.h >= look.px(HIGH):
            self.strips.rect = pygame.Rect(box.x, box.y + look.px(36), box.w, look.px(STRIP))
            under = self.strips.rect.bottom + look.px(4)
        else:
            # Where there is little height the strip stands in the title's line.
            room = self.speed.rect.x - look.px(20) - box.x - title
            self.strips.rect = pygame.Rect(box.x + title, box.y - look.px(8), max(0, room), look.px(50))
            under = box.y + look.px(42)
        self.area.rect = pygame.Rect(box.x, under, box.w, box.bottom - under)
        strips = [self.strips] if self._strip_there(look) else []
        return [self.speed, *strips, self.area]

    def _strip_there(self, look: Look) -> bool:
        return self.strips.rect.w >= look.px(120)

    # ---- drawing

    def draw(self, target: pygame.Surface, look: Look) -> None:
        """All three panels."""
        entries = self.entries()
        for name, rect in self.rects.items():
            with inside(target, rect):
                self._panel(target, look, name, rect, entries)

    def _panel(self, target: pygame.Surface, look: Look, name: str, rect: pygame.Rect, entries: list[Entry]) -> None:
        panel(target, look, rect, "")
        box = rect.inflate(-2 * look.px(20), -2 * look.px(16))
        title = {"off the line": OFF_LINE.capitalize(), "the corner": "The corner", "machines": "Machines"}[name]
        used = text.draw(target, look, title, box.x, box.y + look.px(18), 18, bold=True)
        if not entries:
            return
        inner = pygame.Rect(box.x, box.y + look.px(34), box.w, box.h - look.px(34))
        now = self.stage.clock.time_s - self._stop_s()
        if name == "off the line":
            text.draw(target, look, "µm", used.right + look.px(10), box.y + look.px(18), 14, colour=look.theme.dim)
            self._curves(target, look, entries, now)
            return
        if name == "the corner":
            larger = magnification_words(self.lens.draw(target, inner, look, entries))
            wordings = [f"{OFF_LINE} drawn {larger} larger", f"{OFF_LINE} {larger} larger", f"{larger} larger"]
        else:
            larger = magnification_words(draw_machines(target, look, inner, entries, now))
            wordings = [f"ringing drawn {larger} larger", f"drawn {larger} larger", f"{larger} larger"]
        room = box.right - used.right - look.px(12)
        words = next((w for w in wordings if text.width(look, w, 14) <= room), "")
        text.draw(target, look, words, box.right, box.y + look.px(18), 14, colour=look.theme.dim, align="right")

    def _curves(self, target: pygame.Surface, look: Look, entries: list[Entry], now: float) -> None:
        reference = self.reference
        assert reference is not None
        span, stop, clock_s = self.view.span(reference), self._stop_s(), self.stage.clock.time_s
        self.stage.draw_controls(target, look, [self.speed])
        if self._strip_there(look):
            lines = [(e.shown.t_s, e.shown.sideways_m, e.colour(look)) for e in entries]
            key = tuple((e.shown.serial, e.number) for e in entries)
            corner = self.view.corner(reference)
            self.strip.draw(target, self.strips.rect, look, lines, reference, span, corner, clock_s, key=key)
        since = (span[0] - stop, span[1] - stop)
        self.overlay.draw(target, self.area.rect, look, entries, since, now, still=clock_s <= 0.0)

    def _tip(self, since_s: float) -> str:
        said = []
        for e in self.entries():
            at = e.corner.stop_s + since_s
            if 0 <= at <= e.shown.end_s:
                said.append(f"{e.label}: {text.length(float(e.shown.at(at, e.shown.sideways_m)), signed=True)}")
        return f"{'; '.join(said)}, {text.number(since_s * 1e3, 1)} ms after the stop" if said else ""


def label_of(column: Column) -> str:
    """A design's name on one line."""
    return column.design.label.replace("\t", " ")


def speed_words(shown: Shown) -> str:
    """ "150 mm/s" of a pattern's run; "" for a program, whose pieces have their own."""
    value = next((o.value for o in shown.result.design.origins if o.key == "motion.speed_mm_s"), None)
    return f"{text.number(float(value))} mm/s" if isinstance(value, (int, float)) else ""
