"""One scenario through the whole chain: machine, model, plan, simulation, analysis."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..analyse import Analysis, analyse
from ..analyse.advice import Advice, advise
from ..analyse.path.meter import PathMeter
from ..analyse.ripples import RippleBins
from ..errors import ScenarioError
from ..machine.build import build_machine
from ..machine.machine import Machine
from ..model.build import build_model
from ..model.facts import driven_axes
from ..model.left_out import left_out_words
from ..model.modes import Mode, modes
from ..model.system import System
from ..parts.design import Design
from ..plan.axes import AxisLimits
from ..plan.build import MotionPlan, build_plan
from ..plan.plan import Plan
from ..scenario.motion import axis_limits, motion_limits, move_spec, pattern_choices, record_spec, shapers
from ..scenario.schema import Scenario
from ..simulate.commands import extreme_names
from ..simulate.keep import LONG_ROWS, MOST_ROWS, MOST_WAITING, KeepAll, Keeper, KeepThinned
from ..simulate.run import Progress, Watcher, run
from ..trace import Trace
from .burden import Burden, burden, refuse
from .buzz import Buzz, buzz

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

    @cached_property
    def modes(self) -> list[Mode]:
        """The machine's modes at the middle of the move, the slowest first."""
        return modes(self.system, self.middle)

    @cached_property
    def moving(self) -> dict[str, Buzz | None]:
        """What shakes while each axis moves, with its cause: where it shows the move is simulated again, once."""
        known = self.modes
        found: dict[str, Buzz | None] = {}
        for column, axis in enumerate("xy"):
            mode = max(known, key=lambda m: swing(self.system, m, column), default=None)
            rings = mode is not None and abs(mode.tool_share[column]) > 1e-9 and not self.analysis.responses
            ringing = self.analysis.ringing[axis]
            found[axis] = buzz(self.system, self.plan, self.trace, axis, mode, ringing) if mode and rings else None
        return found

    @cached_property
    def ripple_advice(self) -> list[Advice]:
        """For each of the worst places of a program's ripple map what to change, in the map's order; of a pattern, none."""
        ripples, trace = self.analysis.ripples, self.trace
        if ripples is None:
            return []
        ringing = {
            axis: r.frequency_hz
            for axis, r in self.analysis.ringing.items()
            if axis != "z" and r is not None and r.frequency_hz is not None
        }
        limits, wanted = motion_limits(self.scenario), shapers(self.scenario)
        shaky = bool(trace.slips) or any(seconds > 0 for seconds in trace.slack_s.values())
        return [advise(place, limits, wanted, ringing, shaky) for place in ripples.places]


def prepare(scenario: Scenario) -> Prepared:
    """Machine, model and plan of a scenario. Raises InputError: nothing has been simulated yet."""
    machine = build_machine(scenario)
    system = build_model(machine)
    plan = plan_of(scenario, machine, system)
    return Prepared(scenario, machine, system, plan)


def simulate_prepared(
    ready: Prepared,
    progress: Progress | None = None,
    loop: Literal["generated", "reference"] = "generated",
    watchers: Sequence[Watcher] = (),
    long: bool = False,
) -> Outcome:
    """Simulate and judge. progress(t, duration) is called about once a simulated second.

    watchers: each is handed every recorded row, window by window; of a long job the trace keeps only some of them.
    long: whether a job of more than ten minutes or two gigabytes is meant; else it is refused with InputError.
    """
    if not long:
        refuse(burden_of(ready, bool(watchers)))
    step_s = record_spec(ready.scenario).step_s
    keep: Keeper = KeepThinned(ready.system, extreme_names(ready.system)) if thinned(ready) else KeepAll()
    move = ready.scenario.file.move
    remarks = tuple(filter(None, [left_out_words(ready.machine)]))
    swept = any(leg.sweep_hz is not None for leg in ready.plan.legs)  # goes to and fro on one line
    axes = ("x", "y", "z")[: driven_axes(ready.system)]
    if move.gcode is None and (swept or not (keep.thinned or motion_limits(ready.scenario).corner_tolerance_m)):
        trace = run(ready.system, ready.plan, step_s, progress, loop, keep=keep, watchers=watchers)
        analysis = analyse(trace, ready.plan, remarks=remarks, axes=axes)
    else:
        # Where corners are rounded a leg's end is no corner of the asked path, a program's legs bend, and of a thinned
        # trace every row counts: measured on the way.
        bins = RippleBins(step_s)
        meter = PathMeter(ready.plan, keep, () if move.gcode is None else (bins,))
        trace = run(ready.system, ready.plan, step_s, progress, loop, keep=meter, watchers=watchers)
        ripples = None if move.gcode is None else bins.map()
        analysis = analyse(trace, ready.plan, meter.error(trace), ripples, remarks, axes)
    trace.line_width_m = move_spec(ready.scenario).line_width_m
    if len(trace.t_s) < trace.rows:
        trace.notes.append(
            f"Of {trace.rows} rows {len(trace.t_s)} stay in memory, for pictures; errors, extremes and ringing are of all."
        )
    return Outcome(ready.scenario, ready.machine, ready.system, ready.plan, trace, analysis)


def thinned(ready: Prepared) -> bool:
    """Whether of this run a thinned trace is kept: as [record] keep says, "auto" wherever there are many rows.

    Ladders and sweeps are read from all their rows: of those "auto" keeps them all.
    """
    record = record_spec(ready.scenario)
    if record.keep == "auto":
        whole = any(leg.level is not None or leg.sweep_hz is not None for leg in ready.plan.legs)
        return not whole and ready.plan.duration_s / record.step_s > LONG_ROWS
    return record.keep == "thinned"


def burden_of(ready: Prepared, written: bool) -> Burden:
    """What simulating this will ask for. written: whether a trace.csv is left."""
    kept = MOST_ROWS + MOST_WAITING if thinned(ready) else None
    return burden(ready.system, ready.plan, record_spec(ready.scenario).step_s, kept, written)


def simulate_scenario(scenario: Scenario, progress: Progress | None = None) -> Outcome:
    """A scenario from file to judgement. Raises InputError for a scenario that cannot be run, RunError for a run."""
    return simulate_prepared(prepare(scenario), progress)


def plan_of(scenario: Scenario, machine: Machine, system: System) -> Plan:
    """The plan of a scenario's move. Shapers set to "auto" are tuned to the machine's own modes at the middle of the move."""
    limits, wanted, move = motion_limits(scenario), shapers(scenario), move_spec(scenario)
    choices, axes = pattern_choices(scenario), AxisLimits(*axis_limits(scenario))

    def made(auto: Callable[[str], tuple[float, float]]) -> MotionPlan:
        return build_plan(
            limits, wanted, move, machine.reach, auto_frequency=auto, choices=choices, axes=axes,
            round_reach=machine.reach_round,
        )  # fmt: skip

    plan = made(mode_of_axis(system))
    if not any(spec.frequency_hz == "auto" for spec in wanted.values()):
        return plan
    # Where the middle of the move is, only a plan can say; shaping does not shift it.
    return made(mode_of_axis(system, middle_of(plan, machine)))


def middle_of(plan: Plan, machine: Machine) -> Array:
    """Half-way between the outermost places of a plan's legs, (3,) m; of a plan without any, the middle of the reach."""
    if not plan.legs:
        return np.array([0.5 * (low + high) for low, high in machine.reach])
    ends = np.array([point for leg in plan.legs for point in (leg.start, leg.end)])
    return np.asarray(0.5 * (ends.min(axis=0) + ends.max(axis=0)))


def mode_of_axis(system: System, tool: Array | None = None) -> Callable[[str], tuple[float, float]]:
    """A function from "x" or "y" to frequency (Hz) and damping ratio of the mode that swings the tool most that way.

    tool: (3,) m, where it stands; None: mid-reach. What a shaper set to "auto" is tuned to. A machine that cannot ring
    that way, in which nothing gives way, is refused with ScenarioError.
    """

    def pick(axis: str) -> tuple[float, float]:
        column = "xy".index(axis)
        found = max(modes(system, tool), key=lambda mode: swing(system, mode, column), default=None)
        if found is None or abs(found.tool_share[column]) < 1e-9:
            raise ScenarioError(
                [
                    f'[motion.shaper] {axis}: frequency_hz = "auto", and nothing in this machine lets the tool ring along '
                    f"{axis.upper()}; leave the shaper out, or give its frequency in Hz"
                ]
            )
        return found.frequency_hz, found.damping_ratio

    return pick


def swing(system: System, mode: Mode, axis: int) -> float:
    """How far the tool swings along an axis (0 X, 1 Y) in a mode after a jump of the commanded acceleration, m per m/s2.

    Against the commanded motion y = q - t c(t) the modes obey p'' + w^2 p = - (shape' M t) c'', so the jump moves their
    rest by (shape' M t) / w^2, and the tool by its share of that. Slow modes with little share may well win.
    """
    pushed = system.mass @ (system.travel[:, axis] + system.command_inertia @ system.motor_travel[:, axis])
    omega = 2 * np.pi * mode.frequency_hz
    return abs(mode.tool_share[axis] * float(mode.shape @ pushed)) / omega**2
