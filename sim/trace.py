"""What happened: channels over time, extremes from every step, how it ended, what made it. SI units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from .practice import LINE_WIDTH_M

Array = NDArray[np.float64]


@dataclass(frozen=True)
class StretchExtremes:
    """Smallest and largest value of each extreme channel over every step of one stretch of the plan.

    t0, t1: s.  resting: whether the commanded x, y, z stands still through the stretch.
    low, high: (len(Trace.extreme_names),).  They include both ends of the stretch.
    breakpoints: times inside at which the commanded acceleration jumps, s; None: not kept.
    """

    t0: float
    t1: float
    resting: tuple[bool, bool, bool]
    low: Array
    high: Array
    breakpoints: Array | None = None


def span_of(stretches: Sequence[StretchExtremes], column: int) -> tuple[float, float]:
    """Smallest and largest value of an extreme channel, by its column, over every step of these stretches (at least one)."""
    return min(float(w.low[column]) for w in stretches), max(float(w.high[column]) for w in stretches)


def rest_weights(t: Array, half_s: float, end_s: float) -> Array | None:
    """Weights of rows in the second half of a stand-still, (n,) s; None where they are too few. half_s, end_s: its ends."""
    if len(t) < 3:
        return None
    # Rows of a thinned trace are not evenly spread: each stands for the time about it.
    return np.asarray(np.sin(np.pi * (t - half_s) / (end_s - half_s)) ** 2 * np.gradient(t))


@dataclass(frozen=True)
class Slip:
    """A motor that fell out of step: its rotor passed to another electrical turn of its command, four full steps on.

    motor: its name.  time_s: when it first did: five eighths of a turn off, with an eighth against trembling at the half.
    lost_steps: full steps it is off at the end, 0 if it came back.  most_steps_off: at any time, behind or ahead.
    passages: turns it passed in all, there and back.  place_m: where the tool was commanded to be at that time, m.
    """

    motor: str
    time_s: float
    lost_steps: int
    most_steps_off: int
    passages: int
    place_m: tuple[float, float, float] | None = None


class Ending(Enum):
    """How a run came to its end."""

    COMPLETE = "complete"
    INTERRUPTED = "interrupted"
    RUNAWAY = "grew without bound"

    @property
    def next_step(self) -> str:
        """What to try next, or what still holds; "" where nothing is wanting."""
        return {
            Ending.COMPLETE: "",
            Ending.INTERRUPTED: "everything up to there is whole",
            Ending.RUNAWAY: "lower motion.acceleration_mm_s2, or look for a mass or stiffness that cannot be meant",
        }[self]

    def words(self, stopped_at_s: float, planned_s: float) -> str:
        """ "complete", or when and why it stopped, and what to try next. planned_s: how long it was to last, s."""
        if self is Ending.INTERRUPTED:
            return f"interrupted at t = {stopped_at_s:.3f} s of {planned_s:.3f} s; {self.next_step}"
        if self is Ending.RUNAWAY:
            return f"stopped at t = {stopped_at_s:.3f} s: the motion grew without bound; {self.next_step}"
        return "complete"


@dataclass
class Rows:
    """Recorded rows of one stretch, or of many: n rows, in order of time; what each is, `Trace` says.

    speeds: (n, n_dof).  off_path: (n, 6): how far across and along, foot x, y, direction x, y, where somebody worked
    that out (`analyse.path.meter`); else (n, 0).  source_line: (n,), 0 where there is none.
    """

    t_s: Array
    asked: Array
    commanded: Array
    tool: Array
    motor_rad: Array
    motor_nm: Array
    motor_lag_rad: Array
    tension_n: Array
    q: Array
    speeds: Array
    depositing: NDArray[np.bool_]
    source_line: NDArray[np.int32]
    off_path: Array

    def __len__(self) -> int:
        return len(self.t_s)

    def __getitem__(self, rows: slice | NDArray[np.bool_]) -> Rows:
        """Those rows, copied, so that the rest can be let go."""
        return Rows(*(np.array(getattr(self, f.name)[rows]) for f in fields(Rows)))

    @staticmethod
    def join(parts: Sequence[Rows]) -> Rows:
        """All rows of `parts`, at least one, one after the other."""
        return Rows(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Rows)))

    @staticmethod
    def joined(parts: list[Rows]) -> Rows:
        """The same of parts that nobody needs any more: they are emptied on the way, so that nothing is there twice."""
        columns = []
        for f in fields(Rows):
            columns.append(np.concatenate([getattr(p, f.name) for p in parts]))
            for part in parts:
                setattr(part, f.name, columns[-1][:0])
        parts.clear()
        return Rows(*columns)


@dataclass(kw_only=True)
class Trace(Rows):
    """The outcome of one run: the rows that stay in memory, and what is told of all.

    t_s: (n,) s.  asked, commanded, tool: (n, 3) m; tool = nozzle relative to the bed, zero offset at static equilibrium.
    motor_rad: (n, n_motors), rotor angle relative to its stator, as travelled from the start.  motor_nm: (n, n_motors), torque.
    motor_lag_rad: (n, n_motors), rotor minus command.  tension_n: (n, n_runs), in `runs` order: (belt, run) names.
    q, speeds: (n, n_dof) coordinates in `dof_names` order and their rates, per second.  depositing: (n,) bool.
    extreme_names: "tool_x", "tool_y", "tool_z" (m), "off_x", "off_y", "off_z" (tool minus command, m),
        "tension_<belt>_<run>" (N), "torque_<motor>" (Nm), "lag_<motor>" (rad).
    slack_s: by belt, how long any run of it was slack (T = 0), from every step.
    ending: how it ended.  stopped_at_s: when, None when complete.  planned_s: how long it was to last.
    steps, step_s: number of steps, longest step taken.  wall_s: time it took, without compiling.
    source_line: (n,) line of the program followed, 0 where there is none.  line_width_m: of the line laid.
    rows: how many were recorded; more than n in a long job, of which a thinned trace is kept (`thinned`): evenly spread
    rows, and every row of the ring-downs with the largest swing.  Extremes then are of every step all the same.
    off_path: (n, 6): how far across and along, foot x, y, direction x, y, where that was worked out on the way; m.
    rotor_rad_s: by motor, (n,), where `q` and `speeds` were let go of, which are two thirds of a trace; else empty.
    """

    motors: tuple[str, ...]
    runs: tuple[tuple[str, str], ...]
    dof_names: tuple[str, ...]
    extreme_names: tuple[str, ...]
    stretches: list[StretchExtremes]
    slack_s: dict[str, float]
    slips: list[Slip]
    ending: Ending
    stopped_at_s: float | None
    planned_s: float
    steps: int
    step_s: float
    wall_s: float
    notes: list[str] = field(default_factory=list)
    source_line: NDArray[np.int32] = field(default_factory=lambda: np.zeros(0, np.int32))
    line_width_m: float = LINE_WIDTH_M
    rows: int = 0
    thinned: bool = False
    off_path: Array = field(default_factory=lambda: np.zeros((0, 0)))
    rotor_rad_s: dict[str, Array] = field(default_factory=dict)

    @property
    def printed_width_m(self) -> Array:
        """The printed line as a channel, (n,) m: the line's width where material is laid, 0 where none is."""
        return np.where(self.depositing, self.line_width_m, 0.0)

    @property
    def ended(self) -> str:
        """ "complete", or the reason in words, with what to try next."""
        return self.ending.words(self.stopped_at_s or 0.0, self.planned_s)

    @property
    def broke_down(self) -> bool:
        """Whether the motion grew without bound: what such a run did is no ringing, and fits to it are of 1e50 mm."""
        return self.stopped_at_s is not None and self.ending is Ending.RUNAWAY

    def extreme(self, name: str) -> tuple[float, float] | None:
        """Smallest and largest value of an extreme channel over every step of the run; None if nothing was simulated."""
        if name not in self.extreme_names or not self.stretches:
            return None
        return span_of(self.stretches, self.extreme_names.index(name))

    def largest(self, name: str) -> float | None:
        """Largest size of an extreme channel over every step; None if nothing was simulated."""
        found = self.extreme(name)
        return None if found is None else max(abs(found[0]), abs(found[1]))
