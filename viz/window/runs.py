"""Carrying a scenario with changes through the chain, without ever stopping the window.

Compiling a new step loop holds the interpreter lock for seconds. So where the kernel is not kept yet, a child process
makes it first; this process then only loads it.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from beltspring.sim.chain.chain import prepare, simulate_prepared
from beltspring.sim.model.system import System
from beltspring.sim.scenario.load import scenario_of, with_changes
from beltspring.sim.scenario.schema import Scenario
from beltspring.sim.simulate.generated import source
from beltspring.sim.simulate.kernel_cache import is_cached

from ..result import RunResult

COMPILE_S = 120.0
_met: set[tuple[object, ...]] = set()
_CHILD = "from beltspring.viz.window.runs import compile_in_child; compile_in_child()"


def run_changed(scenario: Scenario, changes: Mapping[str, Any]) -> RunResult:
    """The result of a scenario with dotted keys changed. Raises what the chain raises."""
    changed = with_changes(scenario, dict(changes), source="a setting") if changes else scenario
    ready = prepare(changed)
    kind = _kind(ready.system)
    if ready.system.n and kind not in _met and not is_cached(source(ready.system)[0]):
        make_kernel(changed, ready.system)
    done = simulate_prepared(ready)
    _met.add(kind)
    return RunResult(done.scenario, done.design, done.machine, done.plan, done.trace, done.analysis)


def _kind(system: System) -> tuple[object, ...]:
    """What decides about a model's kernel, near enough to know without printing it that it has been met."""
    return (
        system.machine.layout,
        system.machine.design.detail,
        system.dof_names,
        tuple((run.belt, run.name) for run in system.runs),
        tuple(motor.row is None for motor in system.motors),
        tuple(friction.name for friction in system.frictions),
    )


def make_kernel(scenario: Scenario, system: System) -> None:
    """Compile a scenario's step loop in a child process. Where that fails, this process will compile it itself."""
    message = json.dumps({"tree": scenario.tree, "folder": str(scenario.folder) if scenario.folder else None})
    try:
        subprocess.run(
            [sys.executable, "-P", "-c", _CHILD],
            input=message.encode("utf-8"),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            timeout=COMPILE_S,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired):
        return


def compile_in_child() -> None:
    """The child's work: one run of the scenario on standard input leaves its kernel in the cache."""
    given = json.loads(sys.stdin.buffer.read().decode("utf-8"))
    folder = Path(given["folder"]) if given["folder"] else None
    simulate_prepared(prepare(scenario_of(given["tree"], folder=folder)))
