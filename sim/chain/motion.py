"""What a machine is asked to do, with every shaper in Hz: the one way from a scenario to a plan, at any share of its speeds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..errors import ScenarioError
from ..machine.machine import Machine
from ..model.modes import Mode, bare_modes, swings_most
from ..model.system import System
from ..plan.axes import AxisLimits
from ..plan.build import MotionPlan, Reach, build_plan
from ..plan.plan import Plan
from ..scenario.motion import (
    MotionLimits,
    MoveSpec,
    PatternChoices,
    ShaperSpec,
    axis_limits,
    motion_limits,
    move_spec,
    pattern_choices,
    shapers,
)
from ..scenario.schema import Scenario

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Motion:
    """A move, its limits and its shapers; none of them is "auto" any more, so that plans at other speeds share them."""

    limits: MotionLimits
    move: MoveSpec
    shapers: dict[str, ShaperSpec]
    choices: PatternChoices
    axes: AxisLimits
    reach: Reach
    round_reach: bool = False

    def plan(self, pace: float = 1.0) -> MotionPlan:
        """The plan. pace: factor on every speed asked for, a program's own F words too; accelerations stay.

        Raises ScenarioError where a pattern leaves the reach, ProgramError where a program cannot be followed.
        """
        return build_plan(
            self.limits,
            self.shapers,
            self.move,
            self.reach,
            choices=self.choices,
            axes=self.axes,
            pace=pace,
            round_reach=self.round_reach,
        )

    @property
    def key(self) -> tuple[object, ...]:
        """What is equal where the plans are, and can be a key of a dictionary."""
        shaped = tuple(sorted(self.shapers.items(), key=lambda item: item[0]))
        return self.limits, self.move, shaped, self.choices, self.axes, self.reach, self.round_reach

    def with_limits(self, limits: MotionLimits) -> Motion:
        """The same under other limits."""
        return replace(self, limits=limits)


def motion_of(scenario: Scenario, machine: Machine, system: System, move: MoveSpec | None = None) -> Motion:
    """What a scenario asks for. move: another than its own.

    Shapers set to "auto" are tuned here, once, to the machine's own modes in the middle of the move.
    """
    asked = Motion(
        motion_limits(scenario), move_spec(scenario) if move is None else move, shapers(scenario),
        pattern_choices(scenario), AxisLimits(*axis_limits(scenario)), machine.reach, machine.reach_round,
    )  # fmt: skip
    if not any(spec.frequency_hz == "auto" for spec in asked.shapers.values()):
        return asked
    # Where the middle of the move is, only a plan can say; shaping does not shift it.
    place = middle_of(replace(asked, shapers={}).plan(), machine)
    return replace(asked, shapers=tuned(asked.shapers, mode_of_axis(system, place)))


def tuned(wanted: dict[str, ShaperSpec], auto: Callable[[str], Mode]) -> dict[str, ShaperSpec]:
    """Shapers with what is "auto" in numbers. auto: gives the mode of an axis."""
    found = dict(wanted)
    for axis, spec in wanted.items():
        if spec.frequency_hz == "auto":
            mode = auto(axis)
            found[axis] = replace(
                spec, frequency_hz=mode.frequency_hz, damping=max(0.0, mode.damping_ratio), own_mode=True
            )
    return found


def plan_of(scenario: Scenario, machine: Machine, system: System) -> MotionPlan:
    """The plan of a scenario's move."""
    return motion_of(scenario, machine, system).plan()


def middle_of(plan: Plan, machine: Machine) -> Array:
    """Half-way between the outermost places of a plan's legs, (3,) m; of a plan without any, the middle of the reach."""
    if not plan.legs:
        return np.array([0.5 * (low + high) for low, high in machine.reach])
    ends = np.array([point for leg in plan.legs for point in (leg.start, leg.end)])
    return np.asarray(0.5 * (ends.min(axis=0) + ends.max(axis=0)))


def mode_of_axis(system: System, tool: Array | None = None) -> Callable[[str], Mode]:
    """A function from "x" or "y" to the mode that swings the tool most that way.

    tool: (3,) m, where it stands; None: mid-reach. What a shaper set to "auto" is tuned to. A machine that cannot ring
    that way, in which nothing gives way, is refused with ScenarioError.
    """

    def pick(axis: str) -> Mode:
        column = "xy".index(axis)
        found = swings_most(system, bare_modes(system, tool), column)
        if found is None:
            raise ScenarioError(
                [
                    f'[motion.shaper] {axis}: frequency_hz = "auto", and nothing in this machine lets the tool ring along '
                    f"{axis.upper()}; leave the shaper out, or give its frequency in Hz"
                ]
            )
        return found

    return pick
