"""One scenario through the whole chain: machine, model, plan, simulation, analysis."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..analyse import Analysis, analyse
from ..machine.build import build_machine
from ..machine.machine import Machine
from ..model.build import build_model
from ..model.modes import modes
from ..model.system import System
from ..parts.design import Design
from ..plan.build import build_plan
from ..plan.plan import Plan
from ..scenario.motion import motion_limits, move_spec, record_spec, shapers
from ..scenario.schema import Scenario
from ..simulate.run import Progress, run
from ..trace import Trace

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Prepared:
    """A scenario ready to be simulated."""

    scenario: Scenario
    machine: Machine
    system: System
    plan: Plan

    @property
    def design(self) -> Design:
        """The completed scenario, SI."""
        return self.machine.design


@dataclass(frozen=True)
class Outcome:
    """A scenario carried through the whole chain."""

    scenario: Scenario
    machine: Machine
    system: System
    plan: Plan
    trace: Trace
    analysis: Analysis

    @property
    def design(self) -> Design:
        """The completed scenario, SI."""
        return self.machine.design

    @property
    def middle(self) -> Array:
        """The middle of the move, (3,), m: half-way between the outermost asked places of each axis."""
        asked = self.trace.asked
        if not len(asked):
            return np.asarray(self.plan.start, float)
        return np.asarray(0.5 * (asked.min(axis=0) + asked.max(axis=0)))


def prepare(scenario: Scenario) -> Prepared:
    """Machine, model and plan of a scenario. Raises InputError: nothing has been simulated yet."""
    machine = build_machine(scenario)
    system = build_model(machine)
    plan = build_plan(
        motion_limits(scenario),
        shapers(scenario),
        move_spec(scenario),
        machine.reach,
        auto_frequency=mode_of_axis(system),
    )
    return Prepared(scenario, machine, system, plan)


def simulate_prepared(
    ready: Prepared, progress: Progress | None = None, loop: Literal["generated", "reference"] = "generated"
) -> Outcome:
    """Simulate and judge. progress(t, duration) is called about once a simulated second."""
    trace = run(ready.system, ready.plan, record_spec(ready.scenario).step_s, progress, loop)
    return Outcome(ready.scenario, ready.machine, ready.system, ready.plan, trace, analyse(trace, ready.plan))


def simulate_scenario(scenario: Scenario, progress: Progress | None = None) -> Outcome:
    """A scenario from file to judgement. Raises InputError for a scenario that cannot be run, RunError for a run."""
    return simulate_prepared(prepare(scenario), progress)


def mode_of_axis(system: System) -> Callable[[str], tuple[float, float]]:
    """A function from "x" or "y" to frequency (Hz) and damping ratio of the mode that moves the tool most that way.

    With the tool in mid-reach: what a shaper set to "auto" is tuned to.
    """

    def pick(axis: str) -> tuple[float, float]:
        column = "xy".index(axis)
        found = max(modes(system), key=lambda mode: abs(mode.tool_share[column]), default=None)
        return (0.0, 0.0) if found is None else (found.frequency_hz, found.damping_ratio)

    return pick
