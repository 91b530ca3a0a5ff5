"""Runs inside pytest, once everything is collected: records what tests touch, and runs chosen tests on faulty code.

Every test, and every fault, gets a process forked from this one, in which all is loaded and nothing has run yet.
"""

from __future__ import annotations

import contextlib
import hashlib
import itertools
import json
import os
import resource
import signal
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from _pytest.runner import runtestprotocol

from .loading import Loaded
from .touched import Touched

#: One recording process takes at most so many variants of one test.
TOGETHER = 40
#: Without a second of the processor's in so long a time a process waits for what will not come.
STUCK_S = 180


class Recorder:
    """Writes down which lines each test runs, how long it takes, and whether it passes. Long tests are cut off."""

    def __init__(self, record: Path, longest_s: int) -> None:
        self.record, self.longest_s = record, longest_s

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """In place of pytest's own loop."""
        known = {(row["test"], row["file"]) for row in rows_of(self.record)}
        stamp = {path: _stamp(path) for path in {item.path for item in session.items}}
        todo = [item for item in session.items if (item.nodeid, stamp[item.path]) not in known]
        for (path, _), group in itertools.groupby(todo, key=lambda x: (x.path, getattr(x, "originalname", x.name))):
            items = list(group)
            while items:
                items = items[self._recorded(items[:TOGETHER], stamp[path]) :]
        return True

    def _recorded(self, items: list[pytest.Item], stamp: str) -> int:
        """How many of the tests were got through: a process that is ended by one of them has written down the others."""
        before = self.record.stat().st_size
        apart(lambda: [self._one(item, stamp) for item in items] and 0)
        mine = {item.nodeid for item in items}
        done = sum(row["test"] in mine for row in rows_of(self.record, before))
        if done < len(items):
            # Ended hard: it is written down as one that fails, so that nobody asks it anything.
            self._write(items[done], stamp, Touched(), self.longest_s, ok=False)
            done += 1
        return done

    def _one(self, item: pytest.Item, stamp: str) -> None:
        touched, began = Touched(), time.process_time()

        def cut_off(*_: object) -> None:
            self._write(item, stamp, touched, self.longest_s, ok=True)
            os._exit(0)

        signal.signal(signal.SIGXCPU, cut_off)
        limit(self.longest_s)
        with touched.watching():
            reports = runtestprotocol(item, log=False, nextitem=None)
        ok = all(report.passed for report in reports)
        self._write(item, stamp, touched, time.process_time() - began - touched.compiling_s, ok)

    def _write(self, item: pytest.Item, stamp: str, touched: Touched, cpu: float, ok: bool) -> None:
        row = {"test": item.nodeid, "file": stamp, "s": round(cpu, 3), "ok": ok, "touched": touched.as_words()}
        append(self.record, row)


class Server:
    """Answers requests, one JSON line each: {module, number, tests: [[id, seconds], ...], spare}. One process for each pair
    of pipes (requests, answers)."""

    def __init__(self, pipes: list[tuple[int, int]]) -> None:
        self.pipes = pipes

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """In place of pytest's own loop."""
        items = {item.nodeid: item for item in session.items}
        loaded = Loaded()
        for requests, answers in self.pipes:
            if os.fork() == 0:
                self._serve(requests, answers, items, loaded)
                os._exit(0)
        for pipes in self.pipes:
            os.close(pipes[0])
            os.close(pipes[1])
        for _ in self.pipes:
            os.wait()
        return True

    def _serve(self, requests: int, answers: int, items: dict[str, pytest.Item], loaded: Loaded) -> None:
        with os.fdopen(requests) as asked, os.fdopen(answers, "w") as told:
            for line in asked:
                request = json.loads(line)
                answer = apart(lambda request=request: self._tried(request, items, loaded))
                print(json.dumps(answer), file=told, flush=True)

    def _tried(self, request: dict[str, Any], items: dict[str, pytest.Item], loaded: Loaded) -> Any:
        if not loaded.put(Path(request["module"]), request["number"]):
            return "elsewhere"
        return failing([(items[name], s) for name, s in request["tests"] if name in items], request["spare"])


class Once:
    """For a process that loads a faulty module: runs what it was asked to and tells by `said` which test failed."""

    said: str | None = None
    began = False

    def __init__(self, request: dict[str, Any]) -> None:
        self.request = request

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """In place of pytest's own loop."""
        self.began = True
        if session.testsfailed:  # a file of tests that cannot be loaded any more
            self.said = "while loading"
            return True
        items = {item.nodeid: item for item in session.items}
        wanted = [(items[name], s) for name, s in self.request["tests"] if name in items]
        self.said = failing(wanted, self.request["spare"])
        return True


def failing(tests: list[tuple[pytest.Item, float]], spare: float) -> str | None:
    """The first test that fails. Each has five times its own seconds and `spare` of the processor's: then the system
    ends the process."""
    for i, (item, seconds) in enumerate(tests):
        following = tests[i + 1][0] if i + 1 < len(tests) else None
        limit(5 * seconds + spare)
        if any(report.failed for report in runtestprotocol(item, log=False, nextitem=following)):
            return item.nodeid
    return None


def limit(seconds: float) -> None:
    """So many more seconds of the processor's for this process."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    soft = int(used.ru_utime + used.ru_stime + seconds) + 1
    resource.setrlimit(resource.RLIMIT_CPU, (soft, resource.RLIM_INFINITY))


def apart(work: Callable[[], Any]) -> dict[str, Any]:
    """What some work returns in a forked process: {end: "done", said, cpu}; end is "slow" where its time was up, "stuck"
    where it waited for ever, "died" where it ended otherwise."""
    reading, writing = os.pipe()
    began = resource.getrusage(resource.RUSAGE_CHILDREN)
    pid = os.fork()
    if pid == 0:
        code = 1
        try:
            os.setsid()
            os.close(reading)
            resource.setrlimit(resource.RLIMIT_AS, (8 << 30, resource.RLIM_INFINITY))
            said = json.dumps(work())
            os.write(writing, said.encode())
            code = 0
        finally:
            os._exit(code)
    os.close(writing)
    status = _waited(pid)
    said = os.read(reading, 1 << 16).decode()
    os.close(reading)
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = round(used.ru_utime + used.ru_stime - began.ru_utime - began.ru_stime, 2)
    if status is None:
        return {"end": "stuck", "said": None, "cpu": cpu}
    if os.WIFSIGNALED(status):
        return {"end": "slow" if os.WTERMSIG(status) == signal.SIGXCPU else "died", "said": None, "cpu": cpu}
    return {"end": "done" if said else "died", "said": json.loads(said) if said else None, "cpu": cpu}


def _waited(pid: int) -> int | None:
    """How a process ended; None where it did nothing for so long that it was ended from here."""
    at, used, pause = time.monotonic(), -1.0, 0.001
    try:
        while True:
            done, status = os.waitpid(pid, os.WNOHANG)
            if done:
                return status
            time.sleep(pause)
            pause = min(pause * 1.3, 0.05)
            if time.monotonic() - at > STUCK_S:
                now = _cpu(pid)
                if now - used < 1:
                    os.killpg(pid, signal.SIGKILL)
                    os.waitpid(pid, 0)
                    return None
                at, used = time.monotonic(), now
    finally:
        # Whatever it started and left behind.
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(pid, signal.SIGKILL)


def _cpu(pid: int) -> float:
    """Seconds of the processor's a process and its ended children have used (proc(5): fields 14 to 17)."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return sum(map(int, fields[11:15])) / os.sysconf("SC_CLK_TCK")


def _stamp(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()[:12]


def rows_of(path: Path, start: int = 0) -> Any:
    """Rows of a file of JSON lines from that byte on; a last one cut short is passed over."""
    if not path.exists():
        return
    with path.open(encoding="utf-8") as file:
        file.seek(start)
        for line in file:
            if line.endswith("\n"):
                yield json.loads(line)


def append(path: Path, row: dict[str, Any]) -> None:
    """One row more."""
    with path.open("a", encoding="utf-8") as file:
        file.write(json.dumps(row) + "\n")
