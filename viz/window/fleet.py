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

MOST, MOST_TICKED = 6, 3


@dataclass
class Column:
    """One design: its newest result, and why the last run failed ("" if it did not).

    worst: its run at another speed, for looking at, with that speed in m/s.  ticked: whether its curves are shown.
    """

    design: Design
    shown: Shown | None = None
    failed: str = ""
    fresh: bool = False
    worst: tuple[float, Shown] | None = None
    ticked: bool = False


class Fleet:
    """Two to six designs, three of them at most ticked. scenario_of(index) gives the scenario a design starts from."""

    def __init__(self, runner: Runner, scenario_of: Callable[[int], Any]) -> None:
        self.runner = runner
        self.scenario_of = scenario_of
        #: every design, in order; and those that are ticked
        self.rows: list[Column] = []
        self.worker: Worker[Report] = Worker(words_of)
        #: rows to run, each as asked (None) or at a speed, m/s
        self._todo: list[tuple[int, float | None]] = []
        self._asked: tuple[int, int, float | None] | None = None

    @property
    def columns(self) -> list[Column]:
        """The ticked designs, in order."""
        return [row for row in self.rows if row.ticked]

    def tick(self, index: int) -> None:
        """Show a design's curves, or no more; a fourth takes the place of the last."""
        row = self.rows[index]
        if row.ticked and len(self.columns) > 1:
            row.ticked = False
        elif not row.ticked:
            if len(self.columns) == MOST_TICKED:
                self.columns[-1].ticked = False
            row.ticked = True
        self._drop_unseen()

    def _drop_unseen(self) -> None:
        """Of designs whose curves are not shown only the run that is judged stays: a run is megabytes."""
        for row in self.rows:
            if not row.ticked:
                row.worst = None

    def set(self, designs: list[Design]) -> None:
        """Compare these; a row whose design is unchanged keeps its result."""
        old, ticked = self.rows, [row.ticked for row in self.rows]  # a row that stays may stand in another place
        self.rows = []
        for k, design in enumerate(designs[:MOST]):
            same = next((c for c in old if c.design == design and c not in self.rows), None)
            # The old picture of the same place stays, marked as not fresh, until the new one arrives.
            row = same or Column(design, old[k].shown if k < len(old) else None)
            row.ticked = ticked[k] if len(ticked) == len(designs) else k < MOST_TICKED
            self.rows.append(row)
        self._drop_unseen()
        self._todo = [(k, None) for k, c in enumerate(self.rows) if not c.fresh]
        self._asked = None
        self._next()

    def ask_at(self, speeds_m_s: dict[int, float]) -> None:
        """Run rows at another speed, beside the run as asked, where that has not been done."""
        for k, speed in speeds_m_s.items():
            have = self.rows[k].worst
            if (have is None or abs(have[0] - speed) > 1e-9) and (k, speed) not in self._todo:
                self._todo.append((k, speed))
        if self._asked is None:
            self._next()

    def _next(self) -> None:
        if not self._todo:
            return
        index, speed = self._todo.pop(0)
        design, runner = self.rows[index].design, self.runner
        scenario = self.scenario_of(design.base)

        def job() -> Report:
            base = scenario
            if design.variant:
                from beltspring.sim import with_variant

                base = with_variant(scenario, design.variant)
            changes = dict(design.changes)
            if speed is not None:
                changes["motion.speed_mm_s"] = round(speed * 1e3, 6)
            return runner(base, changes)

        self._asked = (self.worker.ask(job), index, speed)

    @property
    def running(self) -> bool:
        return bool(self._todo) or self._asked is not None

    def poll(self) -> bool:
        """Take finished runs; True if something changed."""
        news = False
        for done in self.worker.poll():
            if self._asked is None or done.ticket != self._asked[0]:
                continue
            _, index, speed = self._asked
            column = self.rows[index]
            if speed is not None:
                if done.result is not None:
                    column.worst = (speed, Shown(done.result))
            elif done.result is not None:
                column.shown, column.failed, column.fresh, column.worst = Shown(done.result), "", True, None
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
        """Ticked designs with something to show."""
        return [c for c in self.columns if c.shown is not None]

    def close(self) -> None:
        self.worker.close()
