"""Printed line: the whole path with its line, and a lens that shows a piece of it for every design."""

from __future__ import annotations

import numpy as np
import pygame
from beltspring.sim import OFF_LINE

from ...charts.panels import below_title, panel, print_key, result_rows
from ...charts.printed import (
    PaperScale,
    PrintCanvas,
    best_magnification,
    fit_path,
    lens_scale,
    magnification_words,
    nice_magnification,
    scale_bar,
)
from ...charts.shown import Shown
from ...draw import text
from ...draw.canvas import ring
from ...draw.theme import Look
from ..controls.buttons import Choice
from ..controls.control import Control, Key, Pointer
from ..controls.slider import Range, Slider
from ..fleet import Fleet
from ..keys import PRINT
from ..stage import Stage
from .screen import Screen, inside, veil
from .wall_view import WallView

WAYS = {"lens left": (-1, 0), "lens right": (1, 0), "lens up": (0, 1), "lens down": (0, -1)}


class Lens(Control):
    """The circle on the path. Drag it, or move it with the arrow keys; it holds a place in metres."""

    def __init__(self, screen: PrintScreen) -> None:
        super().__init__("lens", "The lens: drag it along the line, or use the arrow keys (with Shift further).")
        self.screen = screen
        self.paper = pygame.Rect(0, 0, 0, 0)

    def hit(self, pos: tuple[int, int]) -> bool:
        return self.paper.collidepoint(pos)

    def press(self, pointer: Pointer) -> None:
        self.drag(pointer)

    def drag(self, pointer: Pointer) -> None:
        scale = self.screen.whole
        if scale is not None:
            x = (pointer.pos[0] - scale.origin[0]) / scale.px_m
            y = (scale.origin[1] - pointer.pos[1]) / scale.px_m
            self.screen.move_lens(np.array([x, y]))

    def key(self, key: Key) -> bool:
        way = WAYS.get(PRINT.command(key))
        if way is None:
            return False
        step = self.screen.lens_width_m * (0.5 if key.shift else 0.1)
        self.screen.move_lens(self.screen.lens_m + np.array(way) * step)
        return True


USUAL_LENS_MM, LENS_SHARE = 12.0, 0.3


class PrintScreen(Screen):
    """Left the whole path, right one lens for every design compared (or for the one at hand)."""

    name = "print"
    title = "Printed line"

    def __init__(self, stage: Stage, fleet: Fleet) -> None:
        super().__init__(stage)
        self.fleet = fleet
        self.lens = Lens(self)
        self.magnify = Slider(
            "magnification", "Error drawn larger", Range(1.0, 200.0, "×", 1.0, 0, True), 50.0, None, self._magnified,
            "How much larger the error is drawn; the path itself stays at true scale.",
        )  # fmt: skip
        self.span = Slider(
            "lens width",
            "Lens width",
            Range(2.0, 60.0, "mm", 0.5, 1, True),
            USUAL_LENS_MM,
            USUAL_LENS_MM,
            self._spanned,
            "How much of the path the lens shows.",
        )
        self.paper = PrintCanvas()
        self.lenses: list[PrintCanvas] = [PrintCanvas() for _ in range(3)]
        self.lens_m = np.zeros(2)
        self.whole: PaperScale | None = None
        self.rects: dict[str, pygame.Rect] = {}
        self.seen = Choice(
            "seen", ["from above", "as a wall"], 0, lambda _: None, "The line from above, or the wall that layers of it make."
        )  # fmt: skip
        self.wall = WallView(stage, self.designs)
        self._fresh(stage.session.shown)

    @property
    def lens_width_m(self) -> float:
        """Width of the piece under the lens, m."""
        return self.span.value * 1e-3

    def _fresh(self, shown: Shown) -> None:
        """Start at the worst place, at a magnification that shows it, under a lens that leaves most of the path beside it."""
        size_mm = 1e3 * float(np.ptp(shown.asked_m, axis=0).max()) if len(shown.asked_m) else 0.0
        usual = min(USUAL_LENS_MM, LENS_SHARE * size_mm) if size_mm else USUAL_LENS_MM
        self.span.value = self.span.default = self.span.range.rounded(usual)
        best = best_magnification(shown)
        self.magnify.value = self.magnify.default = self.magnify.range.rounded(best)
        worst = float(shown.result.analysis.path.worst_s)
        self.lens_m = np.asarray(shown.at(worst, shown.feet_m), float)

    def _magnified(self, value: float, done: bool) -> None:
        pass

    def _spanned(self, value: float, done: bool) -> None:
        pass

    def move_lens(self, place_m: np.ndarray) -> None:
        """Bring the lens to a place; it stays over the path's own rectangle."""
        path = self.stage.session.shown.asked_m
        if len(path):
            margin = self.lens_width_m / 2
            self.lens_m = np.clip(place_m, path.min(axis=0) - margin, path.max(axis=0) + margin)

    def designs(self) -> list[tuple[str, Shown, int, bool]]:
        """(label, run, colour number, stale): what is under lenses."""
        columns = [(k, c) for k, c in enumerate(self.fleet.columns) if c.shown is not None]
        if len(columns) > 1:
            return [
                (c.design.label.replace("\t", " "), c.shown, k, not c.fresh) for k, c in columns if c.shown is not None
            ]
        session = self.stage.session
        return [("Under the lens", session.shown, -1, bool(session.failed))]

    @property
    def as_wall(self) -> bool:
        return self.seen.value == 1

    def panels(self) -> dict[str, pygame.Rect]:
        if self.as_wall:
            return {f"wall {k + 1}": r for k, r in enumerate(self.wall.columns)}
        return {"whole path": self.rects["whole"], "lenses": self.rects["lens"]}

    def like(self, other: Screen) -> None:
        if isinstance(other, PrintScreen):
            self.lens_m = other.lens_m.copy()
            self.magnify.value, self.span.value = other.magnify.value, other.span.value
            self.seen.value = other.seen.value
            self.wall.like(other.wall)

    def left(self) -> None:
        for canvas in (self.paper, *self.lenses):
            canvas.forget()
        self.wall.forget()

    def layout(self, rect: pygame.Rect, look: Look) -> list[Control]:
        head = look.px(46)
        row = pygame.Rect(rect.x, rect.y, rect.w, look.px(34))
        words = text.width(look, "Seen", 16) + look.px(12)
        self.seen.rect = pygame.Rect(rect.x + words, row.y, self.seen.natural_width(look) + look.px(24), row.h)
        self._head = row
        rect = pygame.Rect(rect.x, rect.y + head, rect.w, rect.h - head)
        if self.as_wall:
            right = pygame.Rect(self.seen.rect.right + look.px(28), row.y, 0, row.h)
            right.w = row.right - right.x
            return [self.seen, *self.wall.layout(right, rect, look)]
        gap = look.px(16)
        left = round((rect.w - gap) * 0.5)
        self.rects = {
            "whole": pygame.Rect(rect.x, rect.y, left, rect.h),
            "lens": pygame.Rect(rect.x + left + gap, rect.y, rect.w - left - gap, rect.h),
        }
        pad = look.px(20)
        whole = self.rects["whole"]
        foot = look.px(56)
        half = (whole.w - 2 * pad - look.px(28)) // 2
        y = whole.bottom - pad - look.px(44)
        self.magnify.rect = pygame.Rect(whole.x + pad, y, half, look.px(44))
        self.span.rect = pygame.Rect(whole.right - pad - half, y, half, look.px(44))
        key = look.px(168)
        top = whole.y + pad + look.px(30)
        self.lens.paper = pygame.Rect(whole.x + pad, top, whole.w - 2 * pad - key, whole.bottom - pad - foot - top)
        shown = self.stage.session.shown
        margin = look.px(26)
        self.whole = fit_path(self.lens.paper, shown, self.magnify.value, margin)
        at = self.whole.path(self.lens_m)
        radius = max(look.px(12), round(self.lens_width_m / 2 * self.whole.px_m))
        self.lens.rect = pygame.Rect(round(float(at[0])) - radius, round(float(at[1])) - radius, 2 * radius, 2 * radius)
        return [self.seen, self.lens, self.magnify, self.span]

    def draw(self, target: pygame.Surface, look: Look) -> None:
        text.draw(target, look, "Seen", self._head.x, self._head.centery + look.px(5), 16, colour=look.theme.dim)
        self.draw_controls(target, look, [self.seen])
        if self.as_wall:
            self.wall.draw(target, look)
            return
        shown, now = self.stage.session.shown, self.stage.clock.time_s
        assert self.whole is not None
        rect = self.rects["whole"]
        missing = ", ".join(shown.result.left_out)
        left_out = f"; without {missing}" if missing else ""
        with inside(target, rect):
            words = str(shown.result.plan.description).split(" at ")[0].rstrip(", ")
            panel(
                target,
                look,
                rect,
                "Whole path",
                [f"{words}, at true scale{left_out}", f"{words}, at true scale", words],
            )
            self.paper.draw(target, self.lens.paper, look, shown, self.whole, min(now, shown.end_s))
            with inside(target, pygame.Rect(rect.x, rect.y, self.lens.paper.right + look.px(8) - rect.x, rect.h)):
                ring(target, self.lens.rect.center, self.lens.rect.w / 2, look.theme.text, look.px(2))
            x = rect.right - look.px(20) - look.px(152)
            print_key(target, look, x, self.lens.paper.y + look.px(4), self.whole, to_come=True, room=look.px(152))
            self._facts(
                target,
                look,
                pygame.Rect(x, self.lens.paper.y + look.px(204), look.px(152), self.lens.paper.h - look.px(204)),
                shown,
            )
            if self.stage.session.failed:
                veil(target, look, self.lens.paper)
            self.draw_controls(target, look, [self.magnify, self.span])
        self._lenses(target, look)

    def _facts(self, target: pygame.Surface, look: Look, rect: pygame.Rect, shown: Shown) -> None:
        rows = [(w if w[1:2] == " " else w.lower(), value, unit) for w, value, unit in result_rows(shown)]
        spacing = shown.result.analysis.ripple_spacing_m
        if spacing is not None:
            axis = (shown.result.analysis.ringing_axis or "").upper()
            rows.append((f"{axis} ripples every".lstrip(), text.number(spacing * 1e3, 1), "mm"))
        y = rect.y
        for what, value, unit in rows:
            if y + look.px(52) > rect.bottom:
                return
            text.draw(target, look, what, rect.x, y + look.px(14), 14, colour=look.theme.dim)
            text.draw_pair(target, look, value, unit, rect.x, y + look.px(40), 26, 16)
            y += look.px(60)

    def _lenses(self, target: pygame.Surface, look: Look) -> None:
        designs = self.designs()
        area, gap = self.rects["lens"], look.px(16)
        height = (area.h - gap * (len(designs) - 1)) / len(designs)
        for k, (label, shown, colour, stale) in enumerate(designs):
            rect = pygame.Rect(area.x, round(area.y + k * (height + gap)), area.w, round(height))
            with inside(target, rect):
                self._lens(target, look, rect, k, label, shown, colour, stale)

    def _lens_larger(self, paper: pygame.Rect, px_m: float) -> float:
        """How much larger a lens draws the error, in every lens alike: as the whole path does, but to begin with no larger
        than there is room for; from there it follows the slider."""
        worst = max(shown.result.analysis.path.across_max_m for _, shown, _, _ in self.designs())
        begins = self.magnify.default or self.magnify.value
        fits = nice_magnification(0.5 * paper.h / px_m / worst) if worst > 0 else begins
        return nice_magnification(self.magnify.value * fits / begins) if fits < begins else self.magnify.value

    def _lens(
        self,
        target: pygame.Surface,
        look: Look,
        rect: pygame.Rect,
        k: int,
        label: str,
        shown: Shown,
        colour: int,
        stale: bool,
    ) -> None:
        span = f"{text.plain(self.span.value, 3)} mm wide"
        foot, inner = look.px(26), below_title(look, rect)
        px_m = inner.w / self.lens_width_m
        n = self._lens_larger(pygame.Rect(inner.x, inner.y, inner.w, inner.h - foot), px_m)
        larger = magnification_words(n)
        box = panel(
            target, look, rect, text.fit(look, label, rect.w * 0.4, 18, True),
            [f"{span}, error drawn {larger} larger", f"{span}, error {larger}"],
        )  # fmt: skip
        if colour >= 0:
            target.fill(look.theme.designs[colour % 3], (box.x, rect.y, box.w, look.px(4)))
        paper = pygame.Rect(box.x, box.y, box.w, box.h - foot)
        scale = lens_scale(paper.center, self.lens_m, px_m, n)
        width = max(2.0 * look.scale, min(shown.trace.line_width_m * px_m, 5.0 * look.scale))
        self.lenses[k].draw(
            target, paper, look, shown, scale, min(self.stage.clock.time_s, shown.end_s), width_px=width
        )
        baseline = box.bottom - look.px(2)
        used = scale_bar(target, look, box.x, baseline, scale.px_m * n, room=90)
        now = float(shown.at(min(self.stage.clock.time_s, shown.end_s), shown.sideways_m)) * 1e6
        words = f"{OFF_LINE} now {text.number(now, 1, signed=True)} µm"
        if box.right - used.right > text.width(look, words, 14) + look.px(16):
            text.draw(target, look, words, box.right, baseline, 14, colour=look.theme.dim, align="right")
        if stale:
            veil(target, look, paper)

    def key(self, key: Key) -> bool:
        if PRINT.command(key) == "wall":
            self.seen.value = 1 - self.seen.value
            return True
        return not self.as_wall and PRINT.command(key) in ("lens up", "lens down") and self.lens.key(key)
