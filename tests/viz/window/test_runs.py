"""A run of the window waits for the engine's compiling child, and goes on without it where there is none."""

from __future__ import annotations

import subprocess

import pytest
from beltspring.sim.chain import chain
from beltspring.sim.scenario.load import scenario_of
from beltspring.viz.window import runs

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
