"""How long a run will take and how much it will leave, told before it begins; what takes too long is refused."""

from __future__ import annotations

from dataclasses import dataclass

from ..errors import InputError
from ..model.system import System
from ..plan.plan import Plan
from ..simulate.commands import out_width
from ..simulate.steps import longest_step, whole_part

#: Beyond these a job is only run by whoever asks for a long one.
MOST_S, MOST_BYTES = 600.0, 2e9
#: What a step of the loop takes on a usual computer, by itself, for each coordinate and for each arm, s: counted, not timed, so
#: that what is refused does not depend on what else the computer does. Within a half of what shipped machines were seen to take.
STEP_S, COORDINATE_S, ARM_S = 0.15e-6, 0.028e-6, 0.35e-6
#: Measuring and keeping a row beside the loop, and writing one to trace.csv, on a slow computer.
ROW_S, WRITE_S = 3e-6, 2e-5
BYTES_A_NUMBER, LETTERS_A_NUMBER = 8, 13


@dataclass(frozen=True)
class Burden:
    """steps, seconds: of all runs, and writing.  memory_bytes: of the rows kept.  disk_bytes: of trace.csv, 0 if none."""

    steps: float
    seconds: float
    memory_bytes: float
    disk_bytes: float

    @property
    def too_much(self) -> bool:
        """Whether this is a long job."""
        return self.seconds > MOST_S or self.memory_bytes > MOST_BYTES or self.disk_bytes > MOST_BYTES

    @property
    def words(self) -> str:
        """ "about 3 hours, and a trace.csv of 12 GB"."""
        out = [f"about {_time(self.seconds)}"]
        if self.disk_bytes > 1e8:
            out.append(f"a trace.csv of {_size(self.disk_bytes)}")
        if self.memory_bytes > 1e8:
            out.append(f"{_size(self.memory_bytes)} of memory")
        return ", and ".join(out) if len(out) < 3 else f"{out[0]}, {out[1]} and {out[2]}"

    def refuse(self, command: str = "run") -> None:
        """Raises InputError for a long job, with the way on. command: the one that does it when told that it is meant."""
        if self.too_much:
            subject = "this move" if command == "run" else f"`{command}` of this move"
            raise InputError(
                f"{subject} would take {self.words} ({self.steps:.2g} steps); if that is meant, `beltspring {command} "
                "--long` does it. Shorter: fewer move.repeats, a shorter move.settle_ms, a faster or smaller move; fewer rows: a "
                "larger record.step_ms"
            )


def burden(
    system: System, plan: Plan, record_s: float, kept_rows: float | None, written: bool, runs: float = 1.0
) -> Burden:
    """What runs will ask for. kept_rows: how many stay in memory, None for all.  written: whether trace.csv is.

    runs: how many of about this length are made, one after the other.
    """
    rows = plan.duration_s / record_s
    step_s = whole_part(record_s, longest_step(system, record_s))
    steps = runs * plan.duration_s / step_s
    each_s = STEP_S + COORDINATE_S * system.n + ARM_S * len(system.arms)
    seconds = steps * each_s + runs * rows * ROW_S
    if written:
        seconds += rows * WRITE_S
    columns = 10 + 2 * len(system.motors) + len(system.runs)
    # Twice: rows are put together from their stretches at the end.
    row_bytes = 2 * BYTES_A_NUMBER * (12 + out_width(system) + system.n + 3 * len(system.motors))
    kept = rows if kept_rows is None else min(rows, kept_rows)
    return Burden(steps, seconds, kept * row_bytes, rows * columns * LETTERS_A_NUMBER if written else 0.0)


def _time(seconds: float) -> str:
    for unit, size in (("days", 86400.0), ("hours", 3600.0), ("minutes", 60.0)):
        if seconds >= 2 * size:
            return f"{seconds / size:.2g} {unit}" if seconds < 99.5 * size else f"{seconds / size:.0f} {unit}"
    return f"{seconds:.0f} seconds"


def _size(amount: float) -> str:
    return (
        f"{amount / 1e9:.2g} GB"
        if 1e9 <= amount < 9.95e10
        else f"{amount / 1e9:.0f} GB"
        if amount > 1e9
        else (f"{amount / 1e6:.0f} MB")
    )
