"""Compare: two or three designs under the same move, one clock, equal scales, one overlaid plot."""

from __future__ import annotations

import pygame
from beltspring.sim import OFF_LINE

from ...charts.overlay import OverlayPlot, leg_name, leg_window
from ...charts.panels import panel
from ...charts.printed import PrintCanvas
from ...charts.shown import Shown
from ...draw import text
from ...draw.theme import Look
from ...pages.compare import Scales, column_rects, draw_column, strip_rect
from ...pages.settings_line import detail_words
from ..controls.buttons import Button, Choice
from ..controls.control import Control
from ..controls.dropdown import DropDown
from ..differences import Difference, differences, equal_words
from ..fleet import Column, Fleet
from ..sheets.designs import DesignsSheet
from ..stage import Stage
from .screen import PlotArea, Screen, inside, veil

PAIRS = ((0, 1), (0, 2), (1, 2))


class CompareScreen(Screen):
    """A strip that says what differs, equal columns, one plot over the whole width."""

    name = "compare"
    title = "Compare"

    def __init__(self, stage: Stage) -> None:
        super().__init__(stage)
        self.differences: list[Difference] = differences(stage.sessions)
        self.fleet = Fleet(stage.runner, lambda k: stage.sessions[k].scenario)
        self.pick = DropDown(
            "differ in",
            "Designs differ in",
            [d.name for d in self.differences],
            0,
            self._picked,
            "What is not the same in the designs.",
        )
        self.change = Button(
            "change designs",
            "Change designs",
            self._change,
            "Choose the value of each design, and two or three of them.",
        )
        self.pair = Choice(
            "pair",
            ["1 and 2", "1 and 3", "2 and 3"],
            0,
            lambda _: None,
            "Which two of three designs are side by side in a narrow window.",
        )
        self.plot = OverlayPlot()
        self.area = PlotArea("sideways error", self.plot, stage.clock.go, self._tip)
        self.canvases = [PrintCanvas() for _ in range(3)]
        self.rects: list[pygame.Rect] = []
        self.lower = pygame.Rect(0, 0, 0, 0)
        self.strip = pygame.Rect(0, 0, 0, 0)
        self._scales: tuple[tuple[object, ...], Scales] | None = None
        self._begun = False

    @property
    def difference(self) -> Difference:
        return self.differences[self.pick.value]

    def entered(self) -> None:
        if not self._begun and self.differences:
            self._begun = True
            self.fleet.set(self.difference.start())
        self._set_end()

    def result_changed(self) -> None:
        """Settings changed on another screen: the designs start from them."""
        if self._begun and self.difference.name not in ("Variants in the file",):
            self._begun = False
            if self.in_view:
                self.entered()

    def _picked(self, index: int) -> None:
        self.fleet.set(self.difference.start())

    def _change(self) -> None:
        self.stage.open_sheet(DesignsSheet(self.stage, self.difference, self.fleet))

    def advance(self, dt: float) -> bool:
        if self.fleet.poll():
            self._set_end()
            return True
        return False

    def _set_end(self) -> None:
        ready = self.fleet.ready()
        if self.in_view and ready:
            self.stage.clock.set_end(max(c.shown.end_s for c in ready if c.shown is not None))

    @property
    def clock_shown(self) -> Shown | None:
        """Whose legs the clock bar shows: the slowest design's."""
        ready = [c.shown for c in self.fleet.ready() if c.shown is not None]
        return max(ready, key=lambda s: s.end_s) if ready else None

    @property
    def running(self) -> bool:
        return self.fleet.running

    def panels(self) -> dict[str, pygame.Rect]:
        columns = {f"design {k + 1}": rect for (k, _), rect in zip(self.visible(), self.rects, strict=False)}
        return {**columns, "sideways error": self.lower}

    def like(self, other: Screen) -> None:
        if isinstance(other, CompareScreen):
            self.pick.value = other.pick.value
            self._begun = True
            self.fleet.columns = [Column(c.design, c.shown, c.failed, c.fresh) for c in other.fleet.columns]
            self.fleet.cancel()
            self._set_end()

    def visible(self) -> list[tuple[int, Column]]:
        """The columns side by side now, with their numbers."""
        numbered = list(enumerate(self.fleet.columns))
        if self.stage.narrow and len(numbered) == 3:
            return [numbered[k] for k in PAIRS[self.pair.value]]
        return numbered

    def left(self) -> None:
        for canvas in self.canvases:
            canvas.forget()

    def layout(self, rect: pygame.Rect, look: Look) -> list[Control]:
        gap = look.px(18)
        self.strip = pygame.Rect(rect.x, rect.y - look.px(6), rect.w, look.px(40))
        right = rect.right
        w = self.change.natural_width(look)
        self.change.rect = pygame.Rect(right - w, self.strip.y + look.px(3), w, look.px(34))
        wide = text.width(look, "Designs differ in", 16) + look.px(14) + look.px(196)
        self.pick.rect = pygame.Rect(rect.x, self.strip.y + look.px(3), wide, look.px(34))
        controls: list[Control] = [self.pick]
        if self.stage.narrow and len(self.fleet.columns) == 3:
            w = self.pair.natural_width(look)
            self.pair.rect = pygame.Rect(
                self.change.rect.x - look.px(12) - w, self.strip.y + look.px(4), w, look.px(32)
            )
            controls.append(self.pair)
        controls.append(self.change)
        top = self.strip.bottom + look.px(10)
        height = rect.bottom - top
        upper = round((height - gap) * (0.69 if not self.stage.low else 0.64))
        self.rects = column_rects(pygame.Rect(rect.x, top, rect.w, height), upper, max(1, len(self.visible())), gap)
        self.lower = pygame.Rect(rect.x, top + upper + gap, rect.w, height - upper - gap)
        self.area.rect = self.lower.inflate(-look.px(40), -look.px(40)).move(0, look.px(10))
        return [*controls, self.area]

    def scales(self, look: Look) -> Scales | None:
        """What all columns share; the same object as long as the same results are shown in the same size."""
        ready = [c.shown for c in self.fleet.ready() if c.shown is not None]
        if not ready or not self.rects:
            return None
        key = (tuple(s.serial for s in ready), self.rects[0].size, look)
        if self._scales is None or self._scales[0] != key:
            self._scales = (key, Scales(ready, strip_rect(look, self.rects[0])))
        return self._scales[1]

    def draw(self, target: pygame.Surface, look: Look) -> None:
        theme = look.theme
        scales = self.scales(look)
        right = (self.pair if self.stage.narrow and len(self.fleet.columns) == 3 else self.change).rect.x
        room = right - self.pick.rect.right - look.px(40)
        words = self._equal(look, room)
        if words:
            x, baseline = self.pick.rect.right + look.px(20), self.strip.centery + look.px(5)
            text.draw(target, look, words, x, baseline, 16, colour=theme.dim)
        controls: list[Control] = [self.pick, self.change]
        if self.stage.narrow and len(self.fleet.columns) == 3:
            controls.append(self.pair)
        self.draw_controls(target, look, controls)
        for rect, (k, column) in zip(self.rects, self.visible(), strict=False):
            with inside(target, rect):
                self._column(target, look, rect, k, column, scales)
        with inside(target, self.lower):
            self._plot(target, look)

    def _equal(self, look: Look, room: float) -> str:
        """What is equal in all designs, as much of it as there is room for."""
        if self.difference.name == "Scenarios as opened":
            return text.fit(look, "each with its own move, on one clock", room, 16)
        words = ""
        ready = [column.shown.result for column in self.fleet.columns if column.shown is not None]
        if len(ready) < len(self.fleet.columns):
            return ""
        for part in equal_words(ready):
            longer = f"{words}, {part}" if words else f"all else equal: {part}"
            if text.width(look, longer, 16) > room:
                break
            words = longer
        return words

    def window(self, now_s: float) -> tuple[float, float] | None:
        """What the plot shows: the leg of the clock and its ring-down; None for the whole move if legs are many."""
        shown = self.clock_shown
        return leg_window(shown, now_s) if shown is not None else None

    def _column(
        self, target: pygame.Surface, look: Look, rect: pygame.Rect, k: int, column: Column, scales: Scales | None
    ) -> None:
        if column.shown is None or scales is None:
            box = panel(target, look, rect, "")
            target.fill(look.theme.designs[k % 3], (box.x, rect.y, box.w, look.px(4)))
            words = "running" if not column.failed else "could not be run"
            text.draw(target, look, words, rect.centerx, rect.centery, 16, colour=look.theme.dim, align="center")
        else:
            fresh = column.fresh or not column.failed
            remark = (
                f"detail {column.shown.result.design.detail}"
                if column.fresh
                else "running"
                if fresh
                else "last good result"
            )
            draw_column(
                target,
                look,
                rect,
                column.shown,
                column.design.label,
                remark,
                k,
                scales,
                self.stage.clock.time_s,
                frame_s=self.stage.frame_s,
                canvas=self.canvases[k % 3],
            )
            if column.failed:
                veil(target, look, rect.inflate(-look.px(12), -look.px(12)))
        if column.failed:
            self._trouble(target, look, rect, column.failed)

    @staticmethod
    def _trouble(target: pygame.Surface, look: Look, rect: pygame.Rect, words: str) -> None:
        lines = text.wrap(look, f"! {words}", rect.w - look.px(40), 14)[:6]
        for n, line in enumerate(lines):
            text.draw(
                target,
                look,
                line,
                rect.x + look.px(20),
                rect.bottom - look.px(16 + 19 * (len(lines) - 1 - n)),
                14,
                colour=look.theme.alarm,
            )

    def _plot(self, target: pygame.Surface, look: Look) -> None:
        numbered = [(k, c) for k, c in enumerate(self.fleet.columns) if c.shown is not None]
        detail = self.stage.session.shown.result.design.detail
        whole = detail_words(self.stage.session.shown.result)
        shown = self.clock_shown
        window = self.window(self.stage.clock.time_s)
        leg = f"; {leg_name(shown, self.stage.clock.time_s)}" if shown is not None and window is not None else ""
        many = {2: "both", 3: "all three"}.get(len(numbered), "it")
        box = panel(
            target,
            look,
            self.lower,
            OFF_LINE.capitalize(),
            [
                f"µm from the asked line, to its left positive; one clock for {many}{leg}; {whole}",
                f"µm from the asked line, to its left positive; one clock for {many}{leg}; detail {detail}",
                f"µm; {detail}",
            ],
            "shaded: speeding up or slowing down",
        )
        if numbered:
            designs = [(c.design.label.replace("\t", " "), c.shown) for _, c in numbered if c.shown is not None]
            now = self.stage.clock.time_s
            colours = [k for k, _ in numbered]
            self.plot.draw(target, box, look, designs, now, window=self.window(now), colours=colours)

    def _tip(self, time_s: float) -> str:
        values = [
            f"{c.design.label.replace(chr(9), ' ')}: {_signed_um(c.shown, time_s)}"
            for c in self.fleet.ready()
            if c.shown is not None and 0 <= time_s <= c.shown.end_s
        ]
        return f"{'; '.join(values)} at {text.number(time_s * 1e3, 1)} ms" if values else ""

    def close(self) -> None:
        self.fleet.close()


def _signed_um(shown: Shown, time_s: float) -> str:
    return f"{text.number(float(shown.at(time_s, shown.sideways_m)) * 1e6, 1, signed=True)} µm"
