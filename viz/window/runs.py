"""Carrying a scenario with changes through the chain, without ever stopping the window."""

from __future__ import annotations

import subprocess
from collections.abc import Mapping
from typing import Any, Protocol

from beltspring.sim import Report, Scenario, prepare, run, with_changes

COMPILE_S = 120.0


def run_changed(scenario: Scenario, changes: Mapping[str, Any]) -> Report:
    """The result of a scenario with dotted keys changed, as small as what is drawn of it allows. Raises what the chain raises."""
    changed = with_changes(scenario, dict(changes), source="a setting") if changes else scenario
    ready = prepare(changed)
    wait_for_kernel(ready)
    return run(ready).for_looking_at()


class Compiled(Protocol):
    """What needs machine code: a prepared run, or an outcome of whose kind many machines are asked."""

    def compile_ahead(self) -> subprocess.Popen[bytes] | None:
        """A child process that makes it; None when it is there."""


def wait_for_kernel(ready: Compiled) -> None:
    """Wait until a child process has made a model's machine code; where that fails, the run makes it itself."""
    try:
        child = ready.compile_ahead()
    except OSError:
        return
    if child is None:
        return
    try:
        child.wait(COMPILE_S)
    except subprocess.TimeoutExpired:
        child.kill()
        child.wait()
