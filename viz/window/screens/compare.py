"""Compare: a verdict one can trust, a row a design, and one corner of the ticked ones at one clock."""

from __future__ import annotations

import pygame

from ...charts.design_bars import scale_top_m
from ...charts.design_rows import (
    HEAD,
    LOW_ROW,
    OPEN,
    ROW,
    Columns,
    RowShown,
    columns_in,
    draw_head,
    draw_open,
    draw_row,
)
from ...charts.panels import panel
from ...charts.shown import Shown
from ...charts.verdict_panel import draw_verdict
from ...draw import text
from ...draw.theme import Look
from ..controls.buttons import Button
from ..controls.control import Control
from ..controls.dropdown import DropDown
from ..controls.rows import RowsControl
from ..differences import Difference, differences, equal_words
from ..fleet import Column, Fleet
from ..sheets.check import CheckSheet
from ..sheets.designs import DesignsSheet
from ..sheets.search import SearchSheet, key_of
from ..stage import Stage
from ..verdicts import Verdicts
from .compare_lower import CornerBeside, label_of, speed_words
from .corner_view import show_ringing
from .screen import Screen, inside

VERDICT, LEAST_LOWER = 108, 165


class CompareScreen(Screen):
    """Verdict, rows, and below them curve, corner and machines of the ticked designs."""

    name = "compare"
    title = "Compare"

    def __init__(self, stage: Stage) -> None:
        super().__init__(stage)
        self.differences: list[Difference] = differences(stage.sessions)
        self.fleet = Fleet(stage.runner, lambda k: stage.sessions[k].scenario)
        self.verdicts = Verdicts(stage.prices)
        self.pick = DropDown(
            "differ in", "Designs differ in", [d.name for d in self.differences], 0, self._picked,
            "What is not the same in the designs.",
        )  # fmt: skip
        self.change = Button(
            "change designs", "Change designs", self._change, "Choose the value of each design, and how many there are."
        )
        self.search = Button(
            "search", "Search", self._search, "Judge many designs, and see those that none other beats."
        )
        self._sheet: SearchSheet | None = None
        self.rows = RowsControl(self.fleet.tick, self._check)
        self.lower = CornerBeside(stage, self.fleet, self._sped)
        self.rects: dict[str, pygame.Rect] = {}
        self._begun = False
        self._row, self._open = ROW, -1

    @property
    def difference(self) -> Difference:
        return self.differences[self.pick.value]

    # ---- what is compared

    def entered(self) -> None:
        show_ringing(self.stage.clock, self.stage.session.shown)
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
        self.verdicts.forget()
        self.lower.speed.value = 0
        self.fleet.set(self.difference.start())

    def _change(self) -> None:
        self.stage.open_sheet(DesignsSheet(self.stage, self.difference, self.fleet))

    def _search(self) -> None:
        """The search that was made for these settings, else a new one."""
        session = self.stage.session
        if self._sheet is None or self._sheet.found is None or self._sheet.made_for != key_of(session):
            self._sheet = SearchSheet(self.stage)
        self.stage.open_sheet(self._sheet)

    def _check(self, index: int) -> None:
        shown = self.fleet.rows[index].shown
        if shown is not None:
            self.stage.open_sheet(CheckSheet(self.stage, shown))

    def _sped(self) -> None:
        """Run the ticked designs at their worst speed, once it is asked for."""
        study = self.verdicts.study
        if self.lower.speed.value == 1 and study is not None:
            # What is known may still be that of designs before these, and of more of them.
            known = enumerate(zip(study.rows, self.fleet.rows, strict=False))
            judged = {k: told.judged for k, (told, row) in known if row.ticked and row.fresh}
            wanted = {k: float(j.most_at_m_s) for k, j in judged.items() if j is not None and j.most_at_m_s is not None}
            self.fleet.ask_at(wanted)

    def advance(self, dt: float) -> bool:
        news = self.fleet.poll()
        rows = self.fleet.rows
        if rows and all(r.fresh and r.shown is not None for r in rows):
            reports = [r.shown.result for r in rows if r.shown is not None]
            self.verdicts.ask([label_of(r) for r in rows], reports)
        busy = self.fleet.running or not self.in_view or self.stage.filming or self.stage.clock.playing
        news |= self.verdicts.advance(dt, busy)
        self._sped()
        if news:
            self._set_end()
        return news

    def _set_end(self) -> None:
        ready = self.fleet.ready()
        if self.in_view and ready:
            self.stage.clock.set_end(max(c.shown.end_s for c in ready if c.shown is not None))

    @property
    def clock_shown(self) -> Shown | None:
        """Whose corners the clock bar shows: the slowest ticked design's."""
        return self.lower.reference

    @property
    def running(self) -> bool:
        return self.fleet.running or self.verdicts.running

    def panels(self) -> dict[str, pygame.Rect]:
        return {**self.rects, **self.lower.rects}

    def like(self, other: Screen) -> None:
        if isinstance(other, CompareScreen):
            self.pick.value, self.lower.speed.value = other.pick.value, other.lower.speed.value
            self.rows.chosen, self.lower.view.zoom = other.rows.chosen, other.lower.view.zoom
            self._begun = True
            self.fleet.rows = [
                Column(c.design, c.shown, c.failed, c.fresh, c.worst, c.ticked) for c in other.fleet.rows
            ]
            self.verdicts.study = other.verdicts.study
            self.fleet.cancel()
            self._set_end()

    def left(self) -> None:
        self.lower.lens.forget()

    def close(self) -> None:
        self.fleet.close()
        self.verdicts.close()

    # ---- layout

    def layout(self, rect: pygame.Rect, look: Look) -> list[Control]:
        gap, pad = look.px(12), look.px(20)
        low = self.stage.low
        top, self._row = look.px(VERDICT if not low else 96), look.px(LOW_ROW if low else ROW)
        count = max(2, len(self.fleet.rows))
        table = look.px(HEAD + 26) + count * self._row
        # Where there is little height, more of a row is told only where the corner keeps its room.
        spare = rect.h - top - 2 * gap - table - look.px(LEAST_LOWER)
        self._open = self.rows.chosen if 0 <= self.rows.chosen < count and spare >= look.px(OPEN) else -1
        table += look.px(OPEN) if self._open >= 0 else 0
        verdict = pygame.Rect(rect.x, rect.y, rect.w, top)
        middle = pygame.Rect(rect.x, verdict.bottom + gap, rect.w, min(table, rect.h - top - gap))
        under = middle.bottom + gap
        lower = pygame.Rect(rect.x, under, rect.w, max(0, rect.bottom - under))
        self.rects = {"verdict": verdict, "designs": middle}
        room = max(self.change.natural_width(look), look.px(320))
        air, wide = look.px(10 if low else 14), self.change.natural_width(look)
        self.change.rect = pygame.Rect(verdict.right - pad - wide, verdict.y + air, wide, look.px(32))
        near = self.search.natural_width(look)
        self.search.rect = pygame.Rect(self.change.rect.x - look.px(8) - near, self.change.rect.y, near, look.px(32))
        y = verdict.bottom - air - look.px(32)
        self.pick.rect = pygame.Rect(verdict.right - pad - room, y, room, look.px(32))
        self._place_rows(look, middle.inflate(-2 * pad, 0))
        return [self.search, self.change, self.pick, self.rows, *self.lower.layout(look, lower)]

    def _place_rows(self, look: Look, inner: pygame.Rect) -> None:
        rows, y = [], inner.y + look.px(14 + HEAD)
        for k in range(len(self.fleet.rows)):
            rows.append(pygame.Rect(inner.x, y, inner.w, self._row))
            y += self._row + (look.px(OPEN) if k == self._open else 0)
        self.rows.rows = rows
        self.rows.rect = rows[0].unionall(rows) if rows else pygame.Rect(inner.x, y, inner.w, 1)
        at = self._columns(look, inner)
        self.rows.tick = pygame.Rect(at.tick - look.px(8), inner.y, look.px(30), inner.h)
        self.rows.check = at.check

    def _columns(self, look: Look, rect: pygame.Rect) -> Columns:
        names = [label_of(column) for column in self.fleet.rows]
        return columns_in(look, rect, self.stage.narrow, priced=self._priced, names=names)

    # ---- drawing

    def draw(self, target: pygame.Surface, look: Look) -> None:
        pad = look.px(20)
        with inside(target, self.rects["verdict"]):
            panel(target, look, self.rects["verdict"], "")
            box = self.rects["verdict"].inflate(-2 * pad, 0)
            box.w = self.pick.rect.x - look.px(24) - box.x
            wide = self.search.rect.x - look.px(24) - box.x
            draw_verdict(target, look, box, wide, self._headline(), self._waiting())
        self.draw_controls(target, look, [self.search, self.change, self.pick])
        with inside(target, self.rects["designs"]):
            panel(target, look, self.rects["designs"], "")
            self._table(target, look, self.rects["designs"].inflate(-2 * pad, -2 * look.px(14)))
        self.lower.draw(target, look)

    def _headline(self) -> object:
        study = self.verdicts.study
        return study.headline if study is not None else None

    def _waiting(self) -> str:
        """What is said where something is not known yet."""
        if self.fleet.running:
            return "The designs are running."
        if self.verdicts.running:
            return "Judging them at thirteen speeds."
        if self.verdicts.asked is not None:
            return f"being asked of 128 machines each, {100 * self.verdicts.asked:.0f} % done"
        return self.verdicts.trouble or "not asked yet"

    def rows_shown(self) -> list[RowShown]:
        """Every design as a row."""
        study, numbers, out = self.verdicts.study, 0, []
        shared = study.headline.shared if study is not None else ()
        for k, column in enumerate(self.fleet.rows):
            number = numbers if column.ticked else None
            numbers += column.ticked
            told = study.rows[k] if study is not None and k < len(study.rows) and column.fresh else None
            state = column.failed or ("running" if told is None else "")
            out.append(RowShown(label_of(column), told, number, state, bool(column.failed), shared))
        return out

    def _table(self, target: pygame.Surface, look: Look, rect: pygame.Rect) -> None:
        rows = self.rows_shown()
        at, top = self._columns(look, rect), scale_top_m([row.told for row in rows])
        draw_head(target, look, at, rect, top, self._legend(), self._equal(), self._price_head())
        for k, (place, row) in enumerate(zip(self.rows.rows, rows, strict=False)):
            draw_row(target, look, at, place, row, top, chosen=k == self.rows.chosen)
            if k == self._open:
                draw_open(target, look, at, pygame.Rect(place.x, place.bottom, place.w, look.px(OPEN)), row)

    @property
    def _priced(self) -> bool:
        """Whether anybody said what parts cost."""
        return self.stage.prices is not None

    def _price_head(self) -> str:
        """ "price EUR, invented"; "" without prices."""
        prices = self.stage.prices
        return "" if prices is None else f"price {prices.currency}{', invented' if prices.invented else ''}"

    def _legend(self) -> tuple[str, str, str, str]:
        study = self.verdicts.study
        judged = study.rows[0].judged if study is not None else None
        speeds = "speeds around it"
        if judged is not None and judged.speeds_m_s is not None:
            low, high = (text.number(v * 1e3) for v in judged.speeds_m_s)
            speeds = f"{low}–{high} mm/s"
        elif judged is not None and judged.by_corners:
            speeds = "its corners"
        asked = speed_words(self.stage.session.shown)
        draws = "8 of 10 machines" if study is not None and study.spreading is not None else ""
        own = f"at {asked.removesuffix(' mm/s')}" if asked else "as asked"
        starred = study is not None and any(study.comparison.starred)
        return speeds, draws, own, f"unbeaten in {study.comparison.unbeaten_in}" if study and starred else ""

    def _equal(self) -> str:
        """What is equal in all designs."""
        if self.difference.name == "Scenarios as opened":
            return "each with its own move, on one clock"
        ready = [row.shown.result for row in self.fleet.rows if row.shown is not None]
        if len(ready) < len(self.fleet.rows) or not ready:
            return ""
        equal = f"all else equal: {', '.join(equal_words(ready))}"
        study = self.verdicts.study
        if study is None or not study.headline.shared:
            return equal
        return f"check warns of {', '.join(study.headline.shared)} in all of them; {equal}"
