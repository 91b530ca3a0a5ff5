"""What the window works on: a scenario, the changes made to it, its results, and the way back.

The scenario as opened is the default of every setting. A change asks for a new run; the old result stays until the
new one arrives, and a failed run leaves the last good one marked as stale.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from beltspring.sim import BeltspringError, Report

from ..charts.shown import Shown
from .jobs import Worker
from .watched import Watched

Runner = Callable[[Any, Mapping[str, Any]], Report]
Changes = dict[str, Any]

MOST_UNDO = 500
#: Words wait while runs follow one another, but no longer than this, s.
WORDS_WAIT_S = 0.25


def default_runner(scenario: Any, changes: Mapping[str, Any]) -> Report:
    """The whole chain for a scenario with changes laid over it."""
    from .runs import run_changed

    return run_changed(scenario, changes)


def words_of(error: BaseException) -> str:
    """An error as one line for the alarm bar; a fault of ours says so."""
    if isinstance(error, BeltspringError):
        return " ".join(str(error).split())
    return f"this should not happen, please report it: {type(error).__name__}: {error}"


@dataclass(frozen=True)
class Ran:
    """What a job brought: the result, how long it took, s, and what is opened from now on, where the file was read anew."""

    result: Report
    took_s: float
    base: Report | None = None


@dataclass
class Step:
    """One gesture in the history."""

    changes: Changes
    gesture: str = ""


@dataclass
class Session:
    """One scenario under change.

    base: the result as opened.  shown: the newest good result.  told: the newest whose words are worked out: curves are
    shown first, and what is told of them follows, so that dragging a slider does not wait for words.
    changes: dotted key -> value in file units, what differs from the scenario.  failed: why the newest run failed, "" if it
    did not.  watched: the file it came from.
    """

    base: Shown
    runner: Runner
    shown: Shown = field(init=False)
    told: Shown = field(init=False)
    changes: Changes = field(default_factory=dict)
    failed: str = ""
    took_s: float | None = None
    watched: Watched | None = None
    worker: Worker[Ran] = field(init=False)
    teller: Worker[Shown] = field(init=False)

    def __post_init__(self) -> None:
        self.shown = self.told = self.base
        self.worker, self.teller = Worker(words_of), Worker(words_of)
        self._telling = 0  # serial of the run whose words were asked for last
        self._told_at = 0.0
        self._ticket = 0
        self._past: list[Step] = []
        self._future: list[Step] = []
        self._before: Changes | None = None
        self.on_result: Callable[[], None] = lambda: None

    @property
    def scenario(self) -> Any:
        return self.base.result.scenario

    @property
    def running(self) -> bool:
        """Whether the shown result is older than the settings."""
        return self.worker.busy

    @property
    def ready(self) -> bool:
        """Whether what is shown is that of the settings, its words too."""
        given_up = self._telling == self.shown.serial and not self.teller.busy
        return not self.running and (self.told is self.shown or given_up)

    @property
    def can_undo(self) -> bool:
        return bool(self._past)

    @property
    def can_redo(self) -> bool:
        return bool(self._future)

    def default(self, key: str) -> Any:
        """The value of a key in the scenario as opened, in file units; None if it has none."""
        return value_of(self.base.result, key)

    def value(self, key: str) -> Any:
        """The value of a key now."""
        return self.changes[key] if key in self.changes else self.default(key)

    def change(self, new: Mapping[str, Any], done: bool, gesture: str = "") -> None:
        """Change some keys and run again. done: the gesture is over and becomes one step of undo.

        gesture: steps of the same name within a second of each other (repeated keys) are one step.
        """
        if self._before is None:
            self._before = dict(self.changes)
        for key, value in new.items():
            if value == self.default(key):
                self.changes.pop(key, None)
            else:
                self.changes[key] = value
        if done:
            self._commit(gesture)
        self.rerun()

    def _commit(self, gesture: str) -> None:
        before, self._before = self._before, None
        if before is None or before == self.changes:
            return
        now = time.monotonic()
        stamp = getattr(self, "_stamp", ("", 0.0))
        if not (gesture and self._past and stamp[0] == gesture and now - stamp[1] < 1.0):
            self._past.append(Step(before, gesture))
            del self._past[:-MOST_UNDO]
        self._stamp = (gesture, now)
        self._future.clear()

    def undo(self) -> None:
        if self._past:
            self._future.append(Step(dict(self.changes)))
            self._restore(self._past.pop())

    def redo(self) -> None:
        if self._future:
            self._past.append(Step(dict(self.changes)))
            self._restore(self._future.pop())

    def defaults(self) -> None:
        """Every setting as in the scenario."""
        if self.changes:
            self._past.append(Step(dict(self.changes)))
            self._future.clear()
            self._restore(Step({}))

    def _restore(self, step: Step) -> None:
        self.changes = dict(step.changes)
        self._before = None
        self._stamp = ("", 0.0)
        self.rerun()

    def rerun(self) -> None:
        """Simulate the present settings; as opened needs no run."""
        if not self.changes:
            self._ticket = self.worker.ask(lambda: Ran(self.base.result, 0.0))
            return
        scenario, changes = self.scenario, dict(self.changes)

        def job() -> Ran:
            start = time.perf_counter()
            return Ran(self.runner(scenario, changes), time.perf_counter() - start)

        self._ticket = self.worker.ask(job)

    def look_at_file(self) -> bool:
        """Read the file anew if it was saved; the settings made here stay laid over it. True if it is being read."""
        if self.watched is None or not self.watched.changed():
            return False
        load, changes = self.watched.load, dict(self.changes)

        def job() -> Ran:
            start = time.perf_counter()
            scenario = load()
            base = self.runner(scenario, {})
            result = self.runner(scenario, changes) if changes else base
            Shown(base).work_out()
            return Ran(result, time.perf_counter() - start, base)

        self._ticket = self.worker.ask(job)
        return True

    def poll(self) -> bool:
        """Take finished runs and words; True if what is shown has changed."""
        done = self.worker.poll()
        for one in done:
            if one.result is not None:
                self._take(one.result)
            elif one.ticket == self._ticket:
                self.failed = one.trouble
        if done:
            self.on_result()
        elif self.told is not self.shown:
            # Not in the step that shows new curves: the drawing of those comes first.
            self._ask_words()
        return self._take_words() or bool(done)

    def _take(self, ran: Ran) -> None:
        if ran.base is not None:
            self.base = Shown(ran.base)
        self.shown = self.base if ran.result is self.base.result else Shown(ran.result)
        if self.shown is self.base:
            self.told = self.base
        self.took_s = ran.took_s
        self.failed = ""

    def _ask_words(self) -> None:
        shown = self.shown
        overdue = time.monotonic() - self._told_at > WORDS_WAIT_S
        if shown.serial == self._telling or self.teller.busy or (self.worker.busy and not overdue):
            return

        def job() -> Shown:
            shown.work_out()
            return shown

        self._telling = shown.serial
        self.teller.ask(job)

    def _take_words(self) -> bool:
        done = self.teller.poll()
        for one in done:
            self._told_at = time.monotonic()
            if one.result is None:
                self.failed = one.trouble
            elif self.told is not self.shown:  # else the settings are those of the file again, whose words are known
                self.told = one.result
        return bool(done)

    def close(self) -> None:
        self.worker.close()
        self.teller.close(0.0)


def value_of(result: Report, key: str) -> Any:
    """The value of a dotted key in a result's completed scenario, in file units; None if it has none."""
    for origin in result.design.origins:
        if origin.key == key:
            return origin.value
    return None
