"""Everything a person is told about one run, worked out once; terminal, JSON, pictures and window only write it. SI units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ..analyse import Analysis
from ..analyse.path import PathError
from ..chain.buzz import Buzz, buzz_words
from ..chain.chain import Outcome, Prepared, prepare, simulate_prepared
from ..chain.heard import Answer, Seen, answers, seen
from ..chain.judged import Judged, judge_outcome, judged_words
from ..chain.peaks import NamedPeak, named_peaks
from ..chain.torque import MotorTorque, let_go_of_coordinates, motor_torques
from ..check.check import Findings, check
from ..machine.machine import Machine
from ..model.facts import mixing, mixing_rim, moving_mass
from ..model.left_out import left_out
from ..model.modes import Mode, swing
from ..parts.completed import completed_toml
from ..parts.design import Design
from ..plan.build import MotionPlan
from ..plan.rounding import shaping_notes
from ..scenario.schema import Scenario
from ..simulate.run import Progress, Watcher
from ..trace import Trace
from .borne import BeltReport, MotorReport, belt_reports, motor_reports
from .captions import corner_caption
from .untold import untold
from .wall import Wall, wall_after
from .ways import Way, ways_of

Array = NDArray[np.float64]

#: Of the modes so many are told where there is little room: those that swing the tool most.
MAIN_MODES = 5


@dataclass(frozen=True)
class ModeReport:
    """A mode in the middle of the move. band_hz: what 19 of 20 machines keep.  seen: what of it was seen to ring."""

    mode: Mode
    band_hz: tuple[float, float]
    seen: tuple[Seen, ...]


@dataclass(frozen=True, eq=False)
class Report:
    """A run and what it says. Each thing is worked out when it is first asked for, and once.

    outcome: the scenario carried through the whole chain.  verdicts: its judged ringing, where it was judged together with
    others (`judged_as`); empty: it is judged by itself. Two reports are equal only if they are the same one.
    """

    outcome: Outcome
    verdicts: tuple[Judged | None, ...] = ()

    def judged_as(self, judged: Judged | None) -> Report:
        """The same with its judged ringing from elsewhere: of designs compared, which run at the first one's speeds."""
        return replace(self, verdicts=(judged,))

    @property
    def scenario(self) -> Scenario:
        """As written."""
        return self.outcome.scenario

    @property
    def design(self) -> Design:
        """The completed scenario."""
        return self.outcome.design

    @property
    def machine(self) -> Machine:
        """Its places."""
        return self.outcome.machine

    @property
    def plan(self) -> MotionPlan:
        """What was asked for."""
        return self.outcome.plan

    @property
    def trace(self) -> Trace:
        """What happened."""
        return self.outcome.trace

    @property
    def analysis(self) -> Analysis:
        """What that means."""
        return self.outcome.analysis

    @property
    def title(self) -> str:
        """The machine's."""
        return self.design.title

    @property
    def completed_toml(self) -> str:
        """The completed scenario as a file, with who decided each value."""
        return completed_toml(self.scenario, self.design)

    # How it went

    @property
    def simulated_s(self) -> float:
        """How much of the plan was simulated, s."""
        stopped = self.trace.stopped_at_s
        return stopped if stopped is not None else self.plan.duration_s

    @property
    def times_real_time(self) -> float | None:
        """Simulated time over the time it took, without compiling."""
        return self.simulated_s / self.trace.wall_s if self.trace.wall_s > 0 else None

    @property
    def path(self) -> PathError | None:
        """How far the tool strays from the asked path; None where nothing was simulated."""
        return self.analysis.path if len(self.trace.t_s) else None

    # In words

    @cached_property
    def judged(self) -> Judged | None:
        """How it rings at speeds around its own, from thirteen more runs, or at its corners; None: no verdict."""
        return self.verdicts[0] if self.verdicts else judge_outcome(self.outcome)

    @cached_property
    def buzz_words(self) -> str | None:
        """What shakes while it moves, in a sentence; None where nothing shows."""
        return buzz_words(self.moving)

    @cached_property
    def sentences(self) -> tuple[str, ...]:
        """The reading, the most important first, how it is judged, and what shakes on the move."""
        return (*self.analysis.sentences, *filter(None, [judged_words(self.judged, self.outcome), self.buzz_words]))

    @cached_property
    def motion_notes(self) -> tuple[str, ...]:
        """What the plan has to say: codes skipped, feeds lowered, and what shapers cost."""
        return tuple(note.replace(" um ", " µm ") for note in (*self.plan.notes, *shaping_notes(self.plan)))

    def for_looking_at(self) -> Report:
        """The same, its trace without the coordinates of the model, which nothing that is told or drawn asks for."""
        let_go_of_coordinates(self.trace, self.outcome.system)
        return self

    @property
    def friction_note(self) -> str | None:
        """Why what rings at rest differs from what is seen while an axis moves; None where it does not."""
        return self.analysis.raised

    @cached_property
    def untold(self) -> dict[str, str]:
        """By axis why its ringing has no frequency, damping or fading; empty where it has, and after a chirp."""
        return untold(self.analysis, self.plan, self.machine, self.trace.broke_down)

    @property
    def notes(self) -> tuple[str, ...]:
        """Everything worth knowing beside the reading: of the input, of the plan, of the simulation."""
        return (*self.design.notices, *self.motion_notes, *filter(None, [self.friction_note]), *self.trace.notes)

    # What check says of it

    @cached_property
    def findings(self) -> Findings:
        """Every rule of `check`, asked of this run."""
        return check(self.scenario, self.outcome)

    # What is behind it

    @property
    def middle(self) -> Array:
        """The middle of the move, (3,) m."""
        return self.outcome.middle

    @cached_property
    def modes(self) -> tuple[ModeReport, ...]:
        """The machine's modes in the middle of the move, the slowest first."""
        told, bands = seen(self.outcome), self.outcome.mode_bands
        return tuple(
            ModeReport(mode, (float(bands[k][0]), float(bands[k][1])), tuple(told.get(k, ())))
            for k, mode in enumerate(self.outcome.modes)
        )

    def caption(self, corner: str, leg: str, sized: bool = True) -> tuple[str, str]:
        """A headline and a line for the corner of that name after a leg; see `corner_caption`."""
        return corner_caption(self.analysis, corner, leg, sized)

    def wall(self, leg: int) -> Wall | None:
        """The wall printed after a leg (its number, from 0); None where the move ends or a curve follows."""
        return wall_after(self.trace, self.plan, leg)

    @cached_property
    def ways(self) -> tuple[Way, ...]:
        """The same modes as ways to swing, after a jump of the set acceleration: who moves, what holds, what helps."""
        return ways_of(self.outcome)

    @cached_property
    def main_modes(self) -> tuple[ModeReport, ...]:
        """Those of them that were seen, and that swing the tool most after a jump of acceleration, the slowest first."""
        much = [max(swing(self.outcome.system, told.mode, axis) for axis in (0, 1)) for told in self.modes]
        order = sorted(range(len(much)), key=lambda k: (not self.modes[k].seen, -much[k]))
        return tuple(self.modes[k] for k in sorted(order[:MAIN_MODES]))

    @property
    def moving(self) -> dict[str, Buzz | None]:
        """What shakes while each axis moves, with its cause."""
        return self.outcome.moving

    @cached_property
    def answers(self) -> list[Answer]:
        """The peaks of the response to a chirp, each with the mode it belongs to; empty for other moves."""
        return answers(self.outcome)

    @cached_property
    def named_peaks(self) -> tuple[NamedPeak, ...]:
        """The peaks of its spectra by name, the tallest first; none after a chirp."""
        return named_peaks(self.outcome)

    @property
    def place_causes(self) -> list[str]:
        """For each of the worst places of a program's ripple map why, in the map's order; of a pattern, none."""
        return self.outcome.place_causes

    @cached_property
    def left_out(self) -> tuple[str, ...]:
        """What of this machine the model it was run with does not have."""
        return left_out(self.machine)

    @cached_property
    def mixing(self) -> Array:
        """(motors, 2): belt travel of each motor for each metre of tool travel in X and Y."""
        return mixing(self.outcome.system)

    @property
    def mixing_rim(self) -> list[tuple[tuple[float, float], Array]]:
        """Of a tool on arms: three places (x, y), m, of its rim and mixing (motors, 3) there; of others none."""
        return mixing_rim(self.outcome.system)

    @cached_property
    def moving_mass_kg(self) -> tuple[float, ...]:
        """What moves with the tool in X and in Y."""
        return moving_mass(self.outcome.system)

    @cached_property
    def motors(self) -> tuple[MotorReport, ...]:
        """Every motor, in the machine's order."""
        return motor_reports(self.outcome)

    @cached_property
    def torque(self) -> dict[str, MotorTorque]:
        """By motor, what it gives over the move against what it has at its speed; ideal motors left out."""
        return motor_torques(self.trace, self.outcome.system)

    @cached_property
    def belts(self) -> tuple[BeltReport, ...]:
        """Every belt, in the machine's order."""
        return belt_reports(self.outcome)


def run(
    given: Scenario | Prepared,
    progress: Progress | None = None,
    watchers: Sequence[Watcher] = (),
    long: bool = False,
) -> Report:
    """Simulate a scenario's move and report it. The rest as `chain.simulate_prepared` takes it.

    Raises InputError for a scenario that cannot be run, or a job of more than ten minutes that is not meant as one.
    """
    ready = given if isinstance(given, Prepared) else prepare(given)
    return Report(simulate_prepared(ready, progress, watchers=watchers, long=long))
