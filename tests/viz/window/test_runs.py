"""A run of the window waits for the engine's compiling child, and goes on without it where there is none."""

from __future__ import annotations

import subprocess
import threading
import time

import pytest
from beltspring.sim.chain import chain
from beltspring.sim.scenario.load import scenario_of
from beltspring.viz.window import runs
from beltspring.viz.window.jobs import Turns, Worker

from tests.viz.conftest import DESK


class Child:
    """Stands for a child process; `ends`: whether it ever does by itself."""

    def __init__(self, ends: bool) -> None:
        self.ends, self.waited, self.killed = ends, [], False

    def wait(self, longest_s=None):
        self.waited.append(longest_s)
        if not self.ends and not self.killed:
            raise subprocess.TimeoutExpired("child", longest_s)

    def kill(self):
        self.killed = True


@pytest.mark.parametrize("ends", [True, False])
def test_the_run_waits_for_the_child_but_not_for_ever(monkeypatch, ends):
    child = Child(ends)
    monkeypatch.setattr(chain, "ensure_compiled", lambda system: child)
    result = runs.run_changed(scenario_of(DESK, "desk.toml"), {})
    assert result.trace.ended == "complete"
    assert child.waited[0] == runs.COMPILE_S
    assert child.killed is not ends


def test_where_no_process_can_start_the_run_compiles_for_itself(monkeypatch):
    def refused(system):
        raise OSError("no more processes")

    monkeypatch.setattr(chain, "ensure_compiled", refused)
    assert runs.run_changed(scenario_of(DESK, "desk.toml"), {}).trace.ended == "complete"


def test_the_child_leaves_the_kernel_where_the_run_finds_it(monkeypatch, tmp_path):
    monkeypatch.setenv("BELTSPRING_CACHE", str(tmp_path / "kernels"))
    # A mass of its own prints a loop that this process has not met yet, or the place alone would decide.
    ready = chain.prepare(scenario_of({**DESK, "title": "cold"}, "desk.toml"))
    monkeypatch.setattr("beltspring.sim.simulate.kernel_cache._loaded", {})
    assert ready.compile_ahead() is not None, "a cold cache needs a child"
    runs.wait_for_kernel(ready)
    assert ready.compile_ahead() is None


def test_large_jobs_take_turns_and_pass_them_on():
    """Each takes tens of megabytes while it computes: side by side they would take them at once."""
    turns, log, both = Turns(), [], threading.Event()

    def first():
        log.append("a begins")
        assert both.wait(20)
        turns.pass_on()
        log.append("a ends")

    workers = Worker(str, turns), Worker(str, turns)
    workers[0].ask(first)
    while not log:
        time.sleep(0.001)
    workers[1].ask(lambda: log.append("b"))
    while turns._given < 2:
        time.sleep(0.001)
    both.set()
    while len(log) < 3:
        time.sleep(0.001)
    assert all(worker.close(20) for worker in workers)
    assert log == ["a begins", "b", "a ends"]


def test_a_job_that_waits_for_its_turn_is_not_begun_once_its_worker_is_closed():
    turns, begun = Turns(), []
    worker = Worker(str, turns)
    with turns:
        worker.ask(lambda: begun.append(1))
        while turns._given < 2:
            time.sleep(0.001)
        assert not worker.close(0.0)
    assert worker.close(20)
    assert not begun
