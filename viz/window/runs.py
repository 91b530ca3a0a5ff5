"""Carrying a scenario with changes through the chain, without ever stopping the window."""

from __future__ import annotations

import subprocess
from collections.abc import Mapping
from typing import Any

from beltspring.sim.chain.chain import prepare, simulate_prepared
from beltspring.sim.model.system import System
from beltspring.sim.scenario.load import with_changes
from beltspring.sim.scenario.schema import Scenario
from beltspring.sim.simulate.precompile import ensure_compiled

from ..result import RunResult

COMPILE_S = 120.0


def run_changed(scenario: Scenario, changes: Mapping[str, Any]) -> RunResult:
    """The result of a scenario with dotted keys changed. Raises what the chain raises."""
    changed = with_changes(scenario, dict(changes), source="a setting") if changes else scenario
    ready = prepare(changed)
    wait_for_kernel(ready.system)
    done = simulate_prepared(ready)
    return RunResult(done.scenario, done.design, done.machine, done.plan, done.trace, done.analysis)


def wait_for_kernel(system: System) -> None:
    """Wait until a child process has made the model's machine code; where that fails, the run makes it itself."""
    try:
        child = ensure_compiled(system)
    except OSError:
        return
    if child is None:
        return
    try:
        child.wait(COMPILE_S)
    except subprocess.TimeoutExpired:
        child.kill()
        child.wait()
