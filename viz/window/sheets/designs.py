"""Choosing the designs to compare: how many, and the value of each."""

from __future__ import annotations

from typing import Any

import pygame

from ...draw import text
from ...draw.theme import Look
from ..controls.buttons import Choice
from ..controls.control import Control
from ..controls.dropdown import DropDown
from ..controls.slider import Slider
from ..differences import Design, Difference, number_design
from ..fleet import Fleet
from ..stage import Stage
from .sheet import Sheet


class DesignsSheet(Sheet):
    """One row for each design; changes run at once."""

    title = "Change designs"
    size = (620, 540)

    def __init__(self, stage: Stage, difference: Difference, fleet: Fleet) -> None:
        super().__init__(stage)
        self.fleet = fleet
        self.difference = difference
        self.designs: list[Design] = [c.design for c in fleet.rows]
        self.count = Choice(
            "how many", ["2", "3", "4", "5", "6"], len(self.designs) - 2, self._count, "How many designs are compared."
        )
        self.rows: list[Control] = []
        self._make_rows()

    def _make_rows(self) -> None:
        self.rows = []
        for k, design in enumerate(self.designs):
            row = self._row(k, design)
            if row is not None:
                self.rows.append(row)

    def _row(self, k: int, design: Design) -> Control | None:
        session, setting = self.stage.session, self.difference.setting
        if setting is not None:
            now = setting.shown(design.changes.get(setting.key, session.value(setting.key))) or setting.range.low
            default = setting.shown(session.default(setting.key))
            return Slider(
                f"design {k + 1}", f"Design {k + 1}", setting.range, now, default, self._number(k), setting.tip
            )
        if self.difference.choices:
            labels = [label for label, _ in self.difference.choices]
            now = next(
                (i for i, (_, v) in enumerate(self.difference.choices) if v == design.changes.get(self.difference.key)),
                -1,
            )
            return DropDown(
                f"design {k + 1}", f"Design {k + 1}", labels, now, self._part(k), "Which part this design has."
            )
        options = self._named()
        now = next((i for i, d in enumerate(options) if d == design), -1)
        return DropDown(
            f"design {k + 1}",
            f"Design {k + 1}",
            [d.label for d in options],
            now,
            self._pick(k, options),
            "Which one stands here.",
        )

    def _named(self) -> list[Design]:
        if self.difference.name == "Scenarios as opened":
            return [Design(s.base.result.title, dict(s.changes), base=k) for k, s in enumerate(self.stage.sessions)]
        names = tuple(getattr(self.stage.session.scenario, "variants", ()))
        return [Design("as written", {}), *(Design(n, {}, variant=n) for n in names)]

    def _number(self, k: int) -> Any:
        def change(value: float, done: bool) -> None:
            setting = self.difference.setting
            assert setting is not None
            self.designs[k] = number_design(setting, self.stage.session, value)
            self.fleet.set(list(self.designs))

        return change

    def _part(self, k: int) -> Any:
        def change(index: int) -> None:
            label, value = self.difference.choices[index]
            changes = {**self.designs[k].changes, self.difference.key: value}
            if self.difference.key == "carriage.guide":
                changes["gantry.guide"] = value
            self.designs[k] = Design(label, changes)
            self.fleet.set(list(self.designs))

        return change

    def _pick(self, k: int, options: list[Design]) -> Any:
        def change(index: int) -> None:
            self.designs[k] = options[index]
            self.fleet.set(list(self.designs))

        return change

    def _count(self, index: int) -> None:
        wanted = index + 2
        while len(self.designs) < wanted:
            self.designs.append(self.designs[-1])
        self.designs = self.designs[:wanted]
        self.fleet.set(list(self.designs))
        self._make_rows()

    def controls(self, look: Look) -> list[Control]:
        inner = self.inner(look)
        self.count.rect = pygame.Rect(inner.x, inner.y + look.px(30), look.px(200), look.px(34))
        y = inner.y + look.px(92)
        for row in self.rows:
            height = look.px(44) if isinstance(row, Slider) else look.px(36)
            row.rect = pygame.Rect(inner.x, y, inner.w, height)
            y += look.px(58)
        return [self.count, *self.rows]

    def draw_inner(self, target: pygame.Surface, look: Look, rect: pygame.Rect) -> None:
        words = f"They differ in: {self.difference.name.lower()}. Everything else is the same."
        text.draw(
            target, look, text.fit(look, words, rect.w, 16), rect.x, rect.y + look.px(14), 16, colour=look.theme.dim
        )
