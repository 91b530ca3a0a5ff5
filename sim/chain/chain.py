"""One scenario through the whole chain: machine, model, plan, simulation, analysis."""

from __future__ import annotations

import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..analyse import Analysis, analyse
from ..analyse.path.meter import PathMeter
from ..analyse.place_cause import place_cause
from ..analyse.ripples import RippleBins
from ..machine.build import build_machine
from ..machine.machine import Machine
from ..model.build import build_model
from ..model.facts import driven_axes
from ..model.left_out import left_out_words
from ..model.modes import Mode, bare_modes, in_words, swings_most
from ..model.system import System
from ..parts.design import Design
from ..plan.build import MotionPlan
from ..scenario.motion import motion_limits, move_spec, record_spec, shapers
from ..scenario.schema import Scenario
from ..simulate.commands import extreme_names
from ..simulate.keep import LONG_ROWS, MOST_ROWS, MOST_WAITING, KeepAll, Keeper, KeepThinned
from ..simulate.precompile import ensure_compiled
from ..simulate.run import Progress, Watcher, run
from ..trace import Trace
from .bands import mode_bands
from .burden import Burden, burden
from .buzz import Buzz, buzz
from .motion import Motion, motion_of

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Prepared:
    """A scenario ready to be simulated. motion: what `plan` was made from."""

    scenario: Scenario
    machine: Machine
    system: System
    plan: MotionPlan
    motion: Motion

    @property
    def design(self) -> Design:
        """The completed scenario, SI."""
        return self.machine.design

    @property
    def thinned(self) -> bool:
        """Whether of the run a thinned trace is kept: as [record] keep says, "auto" wherever there are many rows.

        Ladders and sweeps are read from all their rows: of those "auto" keeps them all.
        """
        record = record_spec(self.scenario)
        if record.keep == "auto":
            whole = any(leg.level is not None or leg.sweep_hz is not None for leg in self.plan.legs)
            return not whole and self.plan.duration_s / record.step_s > LONG_ROWS
        return record.keep == "thinned"

    @property
    def laid_width_m(self) -> float | None:
        """Width of the line that a program lays, m; None of a pattern."""
        move = move_spec(self.scenario)
        return move.line_width_m if move.program is not None else None

    def burden(self, written: bool) -> Burden:
        """What simulating this will ask for. written: whether a trace.csv is left."""
        kept = MOST_ROWS + MOST_WAITING if self.thinned else None
        return burden(self.system, self.plan, record_spec(self.scenario).step_s, kept, written)

    def burden_of(self, runs: float) -> Burden:
        """What so many runs of about this length will ask for, one after the other, every row of one in memory."""
        return burden(self.system, self.plan, record_spec(self.scenario).step_s, None, False, runs)

    def compile_ahead(self) -> subprocess.Popen[bytes] | None:
        """A child process that makes the machine code this needs; None when it is there. See `precompile.ensure_compiled`."""
        return ensure_compiled(self.system)


@dataclass(frozen=True)
class Outcome:
    """A scenario carried through the whole chain."""

    scenario: Scenario
    machine: Machine
    system: System
    plan: MotionPlan
    trace: Trace
    analysis: Analysis

    @property
    def design(self) -> Design:
        """The completed scenario, SI."""
        return self.machine.design

    def compile_ahead(self) -> subprocess.Popen[bytes] | None:
        """As `Prepared.compile_ahead`, for many machines of this kind: the machine code that takes eight at a time."""
        return ensure_compiled(self.system, lanes=True)

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
        return in_words(self.system, self.middle, self.bare_modes)

    @cached_property
    def bare_modes(self) -> list[Mode]:
        """The same modes without words and what holds them, which take most of the time."""
        return bare_modes(self.system, self.middle)

    @cached_property
    def mode_bands(self) -> Array:
        """(low, high) of each of `modes`, (k, 2) Hz, that 19 of 20 machines keep, to first order."""
        return mode_bands(self.scenario, self.system, [(self.middle, self.modes)])[0]

    @cached_property
    def moving(self) -> dict[str, Buzz | None]:
        """What shakes while each axis moves, with its cause: where it shows the move is simulated again, once.

        Of a thinned trace it cannot be told: between the rows that are left the shaking is not seen.
        """
        if self.trace.thinned:
            return dict.fromkeys("xy")
        known = self.bare_modes
        found: dict[str, Buzz | None] = {}
        for column, axis in enumerate("xy"):
            mode = None if self.analysis.responses else swings_most(self.system, known, column)
            ringing = self.analysis.ringing[axis]
            found[axis] = buzz(self.system, self.plan, self.trace, axis, mode, ringing) if mode is not None else None
        return found

    @cached_property
    def place_causes(self) -> list[str]:
        """For each of the worst places of a program's ripple map why, in the map's order; of a pattern, none."""
        found, trace = self.analysis, self.trace
        if found.ripples is None:
            return []
        words = {axis: [b.words for b in behind] for axis, behind in found.behind.items()}
        limits, wanted = motion_limits(self.scenario), shapers(self.scenario)
        slack = [belt for belt, seconds in trace.slack_s.items() if seconds > 0]
        return [
            place_cause(place, limits, wanted, found.ringing, words, trace.slips, slack)
            for place in found.ripples.places
        ]


def prepare(scenario: Scenario) -> Prepared:
    """Machine, model and plan of a scenario. Raises InputError: nothing has been simulated yet."""
    machine = build_machine(scenario)
    system = build_model(machine)
    motion = motion_of(scenario, machine, system)
    return Prepared(scenario, machine, system, motion.plan(), motion)


def simulate_prepared(
    ready: Prepared,
    progress: Progress | None = None,
    loop: Literal["generated", "reference"] = "generated",
    watchers: Sequence[Watcher] = (),
    long: bool = False,
) -> Outcome:
    """Simulate and judge. progress(t, duration) is called about once a simulated second.

    watchers: each is handed every recorded row, stretch by stretch; of a long job the trace keeps only some of them.
    long: whether a job of more than ten minutes or two gigabytes is meant; else it is refused with InputError.
    """
    if not long:
        ready.burden(bool(watchers)).refuse()
    step_s = record_spec(ready.scenario).step_s
    keep: Keeper = KeepThinned(ready.system, extreme_names(ready.system)) if ready.thinned else KeepAll()
    move = ready.scenario.file.move
    remarks = tuple(filter(None, [left_out_words(ready.machine)]))
    swept = any(leg.sweep_hz is not None for leg in ready.plan.legs)  # goes to and fro on one line
    axes = ("x", "y", "z")[: driven_axes(ready.system)]
    bins = RippleBins(step_s) if move.gcode is not None else None
    meter = None if swept else PathMeter(ready.plan, keep, () if bins is None else (bins,))
    trace = run(
        ready.system, ready.plan, step_s, progress, loop, keep=keep if meter is None else meter, watchers=watchers
    )
    path, ripples = None if meter is None else meter.error(trace.off_path), None if bins is None else bins.map()
    analysis = analyse(trace, ready.plan, path, ripples, remarks, ready.system, axes)
    trace.line_width_m = move_spec(ready.scenario).line_width_m
    if len(trace.t_s) < trace.rows:
        trace.notes.append(
            f"Of {trace.rows} rows {len(trace.t_s)} stay in memory, for pictures; errors, extremes and ringing are of all."
        )
    return Outcome(ready.scenario, ready.machine, ready.system, ready.plan, trace, analysis)


def simulate_scenario(scenario: Scenario, progress: Progress | None = None) -> Outcome:
    """A scenario from file to judgement. Raises InputError for a scenario that cannot be run, RunError for a run."""
    return simulate_prepared(prepare(scenario), progress)
