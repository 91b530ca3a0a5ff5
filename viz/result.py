"""One finished run, as everything that shows results receives it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from beltspring.sim.machine.machine import Machine
from beltspring.sim.parts.design import Design
from beltspring.sim.trace import Trace


@dataclass(frozen=True)
class RunResult:
    """A scenario carried through the whole chain; drawings, tables and files are made from this and nothing else.

    scenario: the scenario as written (sim/scenario).  design: completed, SI.  machine: its geometry.
    plan: what was asked for (sim/plan).  trace: what happened.  analysis: what it means (sim/analyse).
    """

    scenario: Any
    design: Design
    machine: Machine
    plan: Any
    trace: Trace
    analysis: Any

    @property
    def title(self) -> str:
        return self.design.title
