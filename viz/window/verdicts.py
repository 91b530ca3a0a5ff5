"""Judging compared designs off the drawing thread: first the verdict, then, while nobody waits, how sure it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from beltspring.sim import (
    Comparison,
    DesignRow,
    Headline,
    Prices,
    Report,
    Spreading,
    compare,
    headline,
    rows_of,
    spread_comparison,
)

from . import memory
from .jobs import LARGE, Worker
from .runs import wait_for_kernel
from .session import words_of


@dataclass(frozen=True)
class Study:
    """What is known of compared designs. spreading: None until the machines have been asked."""

    comparison: Comparison
    spreading: Spreading | None
    rows: tuple[DesignRow, ...]
    headline: Headline


class _Overtaken(Exception):
    """The designs have changed."""


class Verdicts:
    """The study of the designs last asked for. prices: what parts cost, None where nobody said."""

    WAIT_S = 0.6  # how long nothing else is computed before machines are asked

    def __init__(self, prices: Prices | None = None) -> None:
        self.prices = prices
        self.study: Study | None = None
        self.trouble = ""
        #: share of the machines asked so far; None while none are
        self.asked: float | None = None
        self._reports: tuple[Report, ...] = ()
        self._judge: Worker[Study] = Worker(words_of, LARGE)
        self._sure: Worker[Study] = Worker(words_of, LARGE)
        self._judging = self._surer = 0
        self._idle_s = 0.0

    @property
    def running(self) -> bool:
        """Whether the verdict itself is being worked out."""
        return self._judge.busy

    def ask(self, labels: Sequence[str], reports: Sequence[Report]) -> None:
        """Judge these, if they are not judged or being judged already."""
        wanted = tuple(reports)
        if wanted == self._reports:
            return
        self.forget()
        self._reports = wanted
        names = list(labels)

        def job() -> Study:
            found = compare(names, wanted, self.prices)
            return Study(found, None, rows_of(found), headline(found))

        self._judging = self._judge.ask(job)

    def forget(self) -> None:
        """What is known belongs to other designs."""
        self.study, self.trouble, self.asked, self._reports = None, "", None, ()
        self._judging = self._surer = 0
        self._idle_s = 0.0

    def advance(self, dt: float, busy: bool) -> bool:
        """Time passes: take what has come; once nothing is computed for a moment, ask the machines. True if there is news."""
        news = False
        for done in self._judge.poll():
            if done.ticket == self._judging:
                self.study, self.trouble = done.result, done.trouble
                news = True
        for done in self._sure.poll():
            if done.ticket == self._surer:
                self.asked = None
                if done.result is not None:
                    self.study = done.result
                elif done.trouble:
                    self.trouble = done.trouble
                news = True
        ready = self.study is not None and self.study.spreading is None and not self.trouble and not self._surer
        self._idle_s = self._idle_s + dt if ready and not busy else 0.0
        if ready and self._idle_s > self.WAIT_S and self.study is not None:
            self._ask_machines(self.study.comparison)
        return news or self.asked is not None

    def _ask_machines(self, comparison: Comparison) -> None:
        mine, self.asked = self._reports, 0.0

        def told(done: int, whole: int) -> None:
            if self._reports != mine:
                raise _Overtaken
            self.asked = done / max(1, whole)
            memory.trim()  # what the machines at one speed took, before those at the next do
            LARGE.pass_on()

        def job() -> Study:
            # Not in this process: the compiler would leave a hundred megabytes behind.
            for report in mine:
                wait_for_kernel(report.outcome)
            found = spread_comparison(comparison, told)
            return Study(comparison, found, rows_of(comparison, found), headline(comparison, found))

        self._surer = self._sure.ask(job)

    def close(self) -> None:
        self._reports = ()
        self._judge.close(0.0)
        self._sure.close(0.0)
