"""Simulations off the drawing thread: one worker, the newest wish wins, what was overtaken is dropped."""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import dataclass
from typing import Generic, TypeVar

T = TypeVar("T")


@dataclass(frozen=True)
class Done(Generic[T]):
    """A finished job: its ticket, and what came out, or the words of what went wrong."""

    ticket: int
    result: T | None
    trouble: str = ""


class Turns:
    """Large jobs one after the other, in the order in which they came: at once, they would take their memory together."""

    def __init__(self) -> None:
        self._change = threading.Condition()
        self._given = self._served = 0

    def __enter__(self) -> None:
        with self._change:
            mine = self._given
            self._given += 1
            self._change.wait_for(lambda: self._served == mine)

    def __exit__(self, *_: object) -> None:
        with self._change:
            self._served += 1
            self._change.notify_all()

    def pass_on(self) -> None:
        """In a turn, where little is held: whoever waits goes first."""
        with self._change:
            alone = self._given == self._served + 1
        if not alone:
            self.__exit__()
            self.__enter__()


#: Of the jobs that run many machines.
LARGE = Turns()


class Worker(Generic[T]):
    """Runs one job at a time in a thread of its own. All methods are for the window's thread.

    tell: turns an exception into words for a person.  turns: whose turn its jobs wait for, if for any.
    """

    def __init__(self, tell: Callable[[BaseException], str] = str, turns: Turns | None = None) -> None:
        self._tell, self._turns = tell, turns
        self._wake = threading.Condition()
        self._next: tuple[int, Callable[[], T]] | None = None
        self._done: list[Done[T]] = []
        self._running: int | None = None
        self._closed = False
        self._tickets = 0
        self._thread: threading.Thread | None = None

    def ask(self, job: Callable[[], T]) -> int:
        """Do this next, instead of whatever was waiting; returns its ticket."""
        with self._wake:
            self._tickets += 1
            self._next = (self._tickets, job)
            if self._thread is None:
                self._thread = threading.Thread(target=self._work, name="simulate", daemon=True)
                self._thread.start()
            self._wake.notify()
            return self._tickets

    def poll(self) -> list[Done[T]]:
        """What has finished since the last call."""
        with self._wake:
            done, self._done = self._done, []
            return done

    @property
    def busy(self) -> bool:
        """Whether something is waiting, running, or finished and not yet fetched."""
        with self._wake:
            return self._next is not None or self._running is not None or bool(self._done)

    def close(self, wait_s: float = 2.0) -> bool:
        """Take no more jobs and wait a moment for the running one; True if it has ended."""
        with self._wake:
            self._closed = True
            self._next = None
            self._wake.notify()
        if self._thread is None:
            return True
        self._thread.join(wait_s)
        return not self._thread.is_alive()

    def _is_closed(self) -> bool:
        with self._wake:
            return self._closed

    def _work(self) -> None:
        # What a job made is let go of before the next is waited for: a run is megabytes.
        while self._one():
            pass

    def _one(self) -> bool:
        """Wait for a job and do it; False once the worker is closed."""
        with self._wake:
            while self._next is None and not self._closed:
                self._wake.wait()
            if self._closed:
                return False
            assert self._next is not None
            ticket, job = self._next
            self._next, self._running = None, ticket
        try:
            with self._turns or nullcontext():
                if self._is_closed():  # while it waited
                    return False
                done = Done(ticket, job())
        except Exception as error:
            # Whatever goes wrong in a run must reach the person, not end the thread silently.
            done = Done(ticket, None, self._tell(error) or type(error).__name__)
        with self._wake:
            self._running = None
            if not self._closed:
                self._done.append(done)
        return True
