"""The compared designs and their runs: computed off the drawing thread, shown one by one as they arrive."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from beltspring.sim import Report

from ..charts.shown import Shown
from .differences import Design
from .jobs import Worker
from .session import Runner, words_of


@dataclass
class Column:
    """One design: its newest result, and why the last run failed ("" if it did not)."""

    design: Design
    shown: Shown | None = None
    failed: str = ""
    fresh: bool = False


class Fleet:
    """Two or three designs. run_base(index) gives the scenario a design starts from."""

    def __init__(self, runner: Runner, scenario_of: Callable[[int], Any]) -> None:
        self.runner = runner
        self.scenario_of = scenario_of
        self.columns: list[Column] = []
        self.worker: Worker[Report] = Worker(words_of)
        self._todo: list[int] = []
        self._asked: tuple[int, int] | None = None

    def set(self, designs: list[Design]) -> None:
        """Compare these; a column whose design is unchanged keeps its result."""
        old = self.columns
        self.columns = []
        for k, design in enumerate(designs):
            same = next((c for c in old if c.design == design), None)
            # The old picture of the same place stays, marked as not fresh, until the new one arrives.
            self.columns.append(same or Column(design, old[k].shown if k < len(old) else None))
        self._todo = [k for k, c in enumerate(self.columns) if not c.fresh]
        self._asked = None
        self._next()

    def _next(self) -> None:
        if not self._todo:
            return
        index = self._todo.pop(0)
        design, runner = self.columns[index].design, self.runner
        scenario = self.scenario_of(design.base)

        def job() -> Report:
            base = scenario
            if design.variant:
                from beltspring.sim import with_variant

                base = with_variant(scenario, design.variant)
            return runner(base, design.changes)

        self._asked = (self.worker.ask(job), index)

    @property
    def running(self) -> bool:
        return bool(self._todo) or self._asked is not None

    def poll(self) -> bool:
        """Take finished runs; True if something changed."""
        news = False
        for done in self.worker.poll():
            if self._asked is None or done.ticket != self._asked[0]:
                continue
            column = self.columns[self._asked[1]]
            if done.result is not None:
                column.shown, column.failed, column.fresh = Shown(done.result), "", True
            else:
                column.failed, column.fresh = done.trouble, False
            self._asked = None
            self._next()
            news = True
        return news

    def cancel(self) -> None:
        """Ask for nothing more; what is still computed is dropped."""
        self._todo, self._asked = [], None

    def ready(self) -> list[Column]:
        """Columns with something to show."""
        return [c for c in self.columns if c.shown is not None]

    def close(self) -> None:
        self.worker.close()
