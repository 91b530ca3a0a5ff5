"""What the rules look at: a scenario with its machine, its model, and its own move simulated. Each made when first asked for."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ..analyse import Analysis
from ..chain.chain import Outcome, Prepared, prepare, simulate_prepared
from ..errors import MachineError
from ..machine.build import build_machine
from ..machine.machine import Belt, Body, Machine, Motor
from ..machine.routing import BeltPath, belt_path
from ..model.modes import Mode, modes
from ..model.system import System
from ..parts.design import Design, GuideSpec
from ..plan.plan import Plan
from ..scenario.motion import MotionLimits, motion_limits
from ..scenario.schema import Scenario
from ..simulate.run import Progress
from ..trace import Trace
from .clearance import Nearest
from .places import nearest_of

Array = NDArray[np.float64]


class Subject:
    """A scenario under examination.

    Raises ScenarioError, PartError or MachineError where it describes no machine at all. A machine whose belts do not
    fix its motion has no model: `refusal` then says why, and `outcome` is None.
    outcome: give it when the move has been simulated already.
    """

    def __init__(self, scenario: Scenario, outcome: Outcome | None = None, progress: Progress | None = None) -> None:
        self.scenario = scenario
        self.machine: Machine = outcome.machine if outcome is not None else build_machine(scenario)
        self._given = outcome
        self._progress = progress

    @property
    def design(self) -> Design:
        """The completed scenario, SI."""
        return self.machine.design

    @cached_property
    def limits(self) -> MotionLimits:
        """Speed and acceleration the scenario asks for."""
        return motion_limits(self.scenario)

    @cached_property
    def _ready(self) -> Prepared | MachineError:
        try:
            return prepare(self.scenario)
        except MachineError as error:
            return error

    @property
    def refusal(self) -> str | None:
        """Why this machine has no model, None if it has."""
        if self._given is not None or isinstance(self._ready, Prepared):
            return None
        return str(self._ready)

    @cached_property
    def outcome(self) -> Outcome | None:
        """The scenario's own move, simulated and judged."""
        if self._given is not None:
            return self._given
        return simulate_prepared(self._ready, self._progress) if isinstance(self._ready, Prepared) else None

    @property
    def system(self) -> System | None:
        """The model, None if there is none."""
        if self._given is not None:
            return self._given.system
        return self._ready.system if isinstance(self._ready, Prepared) else None

    @property
    def plan(self) -> Plan | None:
        """The scenario's own move."""
        if self._given is not None:
            return self._given.plan
        return self._ready.plan if isinstance(self._ready, Prepared) else None

    @property
    def trace(self) -> Trace | None:
        """What happened in the scenario's own move."""
        return None if self.outcome is None else self.outcome.trace

    @property
    def analysis(self) -> Analysis | None:
        """What it means."""
        return None if self.outcome is None else self.outcome.analysis

    @cached_property
    def modes(self) -> list[Mode]:
        """Natural frequencies with the tool in mid-reach, lowest first; empty without a model."""
        return [] if self.system is None else modes(self.system)

    @cached_property
    def nearest(self) -> list[Nearest]:
        """Belt spans and what comes near them."""
        return nearest_of(self.machine)

    def corners(self) -> list[Array]:
        """The middle of the reach, and its corners (or its rim) low and high, (3,) m each."""
        flat = [xy for _, xy in self.machine.edge()]
        return [self.machine.middle, *(np.array([*xy, z]) for xy in flat for z in self.machine.reach[2])]

    def path(self, belt: Belt, tool: Array | None = None) -> BeltPath:
        """A belt's way with the tool at `tool`, m; None: mid-reach."""
        return belt_path(self.machine, belt, None if tool is None else self.machine.offsets(tool))

    def extreme(self, channel: str) -> tuple[float, float] | None:
        """Smallest and largest value of an extreme channel over every step of the move; None if nothing was simulated."""
        return None if self.trace is None else self.trace.extreme(channel)

    def tension(self, belt: str) -> tuple[float, float] | None:
        """Smallest and largest tension of any run of a belt in the move, N."""
        trace = self.trace
        if trace is None:
            return None
        seen = [e for name, run in trace.runs if name == belt and (e := self.extreme(f"tension_{name}_{run}"))]
        return (min(low for low, _ in seen), max(high for _, high in seen)) if seen else None

    def motor(self, name: str) -> Motor:
        """A motor by its drive name."""
        return next(m for m in self.machine.motors if m.name == name)

    def guided(self) -> list[tuple[Body, GuideSpec]]:
        """Bodies that slide on a guide that is not rigid."""
        return [(body, body.guide) for body in self.machine.bodies if body.guide is not None and body.slide is not None]

    def carried(self, name: str) -> list[Body]:
        """A body and everything that hangs on it."""
        names = {name}
        for body in self.machine.bodies:
            if body.parent in names:
                names.add(body.name)
        return [body for body in self.machine.bodies if body.name in names]
