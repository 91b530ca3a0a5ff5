"""What a run leaves behind: the JSON of DESIGN's fixed keys, trace.csv, and folders that appear whole or not at all.

SI becomes file units (mm, um, ms, deg) here and nowhere else on this side. What is undefined is null, never NaN.
"""

from __future__ import annotations

import contextlib
import errno
import json
import math
import shutil
import tempfile
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np
from beltspring.sim.errors import InputError
from beltspring.sim.machine.routing import order_length_m
from beltspring.sim.model.facts import mixing, moving_mass, run_facts
from beltspring.sim.model.modes import Mode, modes
from beltspring.sim.simulate.keep import Rows
from beltspring.sim.study.once import Outcome
from beltspring.sim.study.ripples import ripple_advice
from beltspring.sim.trace import Trace

from .result import RunResult

Json = dict[str, Any]
ROWS_AT_ONCE = 20_000
#: Files that beltspring writes; --replace removes a folder only if it holds nothing else.
OUR_FILES = (
    *("trace.csv", "summary.json", "picture.png", "scenario.toml", "modes.json", "parts.json", "compare.json"),
    *("ripples.png", "ripples.json"),
    *("check.json", "order.txt", "order.csv", "order.json", "limits.json"),
    *("film.mp4", "film.gif"),
)


def result_of(outcome: Outcome) -> RunResult:
    """The outcome as the drawings take it."""
    return RunResult(outcome.scenario, outcome.design, outcome.machine, outcome.plan, outcome.trace, outcome.analysis)


def summary(outcome: Outcome) -> Json:
    """A run as `--json` and summary.json give it; the keys are fixed, other tools read them."""
    trace, analysis = outcome.trace, outcome.analysis
    empty = not len(trace.t_s)
    simulated_s = trace.stopped_at_s if trace.stopped_at_s is not None else outcome.plan.duration_s
    path = analysis.path
    return clean(
        {
            "title": outcome.design.title,
            "layout": outcome.design.layout,
            "detail": outcome.design.detail,
            "move": outcome.plan.description,
            "ended": trace.ended,
            "move_s": outcome.plan.move_s,
            "duration_s": outcome.plan.duration_s,
            "steps": trace.steps,
            "step_s": trace.step_s if trace.steps else None,
            "times_real_time": simulated_s / trace.wall_s if trace.wall_s > 0 else None,
            "modes": [mode_entry(mode) for mode in modes(outcome.system, outcome.middle)],
            "ringing": {axis: _ringing(analysis.ringing[axis]) for axis in ("x", "y")},
            "path_error_um": {
                "max": None if empty else path.across_max_m * 1e6,
                "rms": None if empty else path.across_rms_m * 1e6,
            },
            "along_um": {
                "max": None if empty else path.along_max_m * 1e6,
                "rms": None if empty else path.along_rms_m * 1e6,
            },
            "ripple_spacing_mm": _times(analysis.ripple_spacing_m, 1e3),
            "motors": _motors(outcome),
            "belts": _belts(outcome),
            "mixing": [[tidy(value) for value in row] for row in mixing(outcome.system)],
            "moving_mass_g": dict(zip("xy", (1e3 * m for m in moving_mass(outcome.system)), strict=True)),
        }
    )


def mode_entry(mode: Mode) -> Json:
    """One mode for JSON."""
    return {"frequency_hz": mode.frequency_hz, "damping_ratio": mode.damping_ratio, "words": mode.words}


def extremes(trace: Trace, name: str) -> tuple[float, float] | None:
    """Smallest and largest value of an extreme channel over every step of the run; None if nothing was simulated."""
    if name not in trace.extreme_names or not trace.windows:
        return None
    column = trace.extreme_names.index(name)
    return min(float(w.low[column]) for w in trace.windows), max(float(w.high[column]) for w in trace.windows)


def largest(trace: Trace, name: str) -> float | None:
    """Largest size of an extreme channel over every step."""
    found = extremes(trace, name)
    return None if found is None else max(abs(found[0]), abs(found[1]))


def _ringing(ringing: Any) -> Json:
    if ringing is None:
        return dict.fromkeys(("peak_um", "frequency_hz", "damping_ratio", "fades_to_5_percent_ms"))
    return {
        "peak_um": ringing.peak_m * 1e6,
        "frequency_hz": ringing.frequency_hz,
        "damping_ratio": ringing.damping_ratio,
        "fades_to_5_percent_ms": _times(ringing.fades_to_5_percent_s, 1e3),
    }


def _motors(outcome: Outcome) -> Json:
    trace = outcome.trace
    slips = {slip.motor: slip for slip in trace.slips}
    out: Json = {}
    for motor in outcome.system.motors:
        slip = slips.get(motor.name)
        out[motor.name] = {
            "peak_torque_nm": largest(trace, f"torque_{motor.name}"),
            "torque_limit_nm": motor.limit_nm if motor.spec is not None else None,
            "peak_lag_deg": _times(largest(trace, f"lag_{motor.name}"), 180 / math.pi),
            "lost_steps": slip.lost_steps if slip else 0,
            "most_steps_off": slip.most_steps_off if slip else 0,
            "passages": slip.passages if slip else 0,
            "first_loss_s": slip.time_s if slip else None,
        }
    return out


def _belts(outcome: Outcome) -> Json:
    trace, machine = outcome.trace, outcome.machine
    facts = run_facts(outcome.system, outcome.middle)
    out: Json = {}
    for belt in machine.belts:
        runs = [fact for fact in facts if fact.belt == belt.name]
        seen = [e for run in runs if (e := extremes(trace, f"tension_{belt.name}_{run.name}")) is not None]
        out[belt.name] = {
            "min_tension_n": min((low for low, _ in seen), default=None),
            "max_tension_n": max((high for _, high in seen), default=None),
            "slack_ms": trace.slack_s.get(belt.name, 0.0) * 1e3,
            "length_to_order_mm": tidy(order_length_m(machine, belt) * 1e3),
            "runs": [
                {"name": f.name, "length_mm": f.length_m * 1e3, "stiffness_n_per_mm": f.stiffness_n_m / 1e3}
                for f in runs
            ],
        }
    return out


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor


def tidy(value: float) -> float:
    """A number without the dust of floating-point arithmetic: 1 for 0.9999999999999998, 0 for -1e-17."""
    return round(float(value), 9) + 0.0


def clean(value: Any) -> Any:
    """The same value fit for JSON: numpy numbers become Python's, and what is not finite becomes null."""
    if isinstance(value, dict):
        return {str(key): clean(item) for key, item in value.items()}
    if isinstance(value, list | tuple | np.ndarray):
        return [clean(item) for item in value]
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return float(value) if math.isfinite(value) else None
    return value


def write_json(value: Any, path: Path) -> None:
    """JSON in UTF-8."""
    text = json.dumps(clean(value), indent=2, ensure_ascii=False, allow_nan=False)
    path.write_text(text + "\n", encoding="utf-8")


def trace_columns(trace: Trace) -> list[str]:
    """The columns of trace.csv."""
    return columns_of(trace.motors, trace.runs)


def columns_of(motors: Sequence[str], runs: Sequence[tuple[str, str]]) -> list[str]:
    """The columns of trace.csv for a machine's motors and runs (belt, run)."""
    places = [f"{what}_{axis}_mm" for what in ("asked", "commanded", "tool") for axis in "xyz"]
    turns = [column for name in motors for column in (f"motor_{name}_deg", f"motor_{name}_nm")]
    return ["t_s", *places, *turns, *(f"belt_{belt}_{run}_n" for belt, run in runs)]


class TraceFile:
    """trace.csv, written as rows come: ten digits keep positions to well under a nanometre.

    line_width_m: of a program, whose last column is the printed line: its width where material is laid, else 0.
    """

    def __init__(self, path: Path, columns: list[str], line_width_m: float | None) -> None:
        self._path = path
        self._columns = [*columns, "line_width_mm"] if line_width_m is not None else columns
        self._line_width_m = line_width_m
        self._format = ",".join(["%.10g"] * len(self._columns)) + "\n"

    def __enter__(self) -> TraceFile:
        self._file = self._path.open("w", encoding="utf-8", newline="\n")
        self._file.write(",".join(self._columns) + "\n")
        return self

    def add(self, rows: Rows | Trace) -> None:
        """Write rows, a block at a time."""
        for start in range(0, len(rows.t_s), ROWS_AT_ONCE):
            part = slice(start, start + ROWS_AT_ONCE)
            blocks = [rows.t_s[part, None], *(1e3 * a[part] for a in (rows.asked, rows.commanded, rows.tool))]
            for j in range(rows.motor_rad.shape[1]):
                blocks += [np.degrees(rows.motor_rad[part, j : j + 1]), rows.motor_nm[part, j : j + 1]]
            blocks.append(rows.tension_n[part])
            if self._line_width_m is not None:
                blocks.append(np.where(rows.depositing[part], 1e3 * self._line_width_m, 0.0)[:, None])
            table = np.hstack(blocks)
            self._file.write((self._format * len(table)) % tuple(table.ravel().tolist()))

    def __exit__(self, *_: object) -> None:
        self._file.close()


def write_trace(trace: Trace, path: Path) -> None:
    """trace.csv of a trace that is there whole."""
    width = trace.line_width_m if trace.source_line.any() else None
    with TraceFile(path, trace_columns(trace), width) as file:
        file.add(trace)


def ripples_json(outcome: Outcome) -> Json:
    """ripples.json: the worst places and the levels of a program's ripple map."""
    found = outcome.analysis.ripples
    if found is None:
        return {}
    places = [
        {
            "number": place.number, "error_um": place.error_m * 1e6, "line": place.line or None,
            "x_mm": place.point[0] * 1e3, "y_mm": place.point[1] * 1e3, "z_mm": place.point[2] * 1e3,
            "time_s": place.time_s, "speed_mm_s": place.speed_m_s * 1e3, "levels": place.levels,
            "change": advice.key, "words": advice.words,
        }
        for place, advice in zip(found.places, ripple_advice(outcome), strict=True)
    ]  # fmt: skip
    levels = [{"z_mm": v.z_m * 1e3, "max_um": v.max_m * 1e6, "rms_um": v.rms_m * 1e6} for v in found.levels]
    return clean({"bin_mm": found.bin_m * 1e3, "only_where_laid": found.lays, "places": places, "levels": levels})


#: A disk, or a person's share of it, is full.
FULL = (errno.ENOSPC, errno.EDQUOT)


class OutFolder:
    """A results folder that appears whole: filled beside its place, then renamed.

    Entering it claims the place, before anything is simulated, and raises InputError where that is impossible.
    Leaving it without error moves it there; any error removes what was written.
    """

    def __init__(self, place: str | Path, replace: bool) -> None:
        self._given = place
        self._replace = replace
        self._made: list[Path] = []

    def __enter__(self) -> Path:
        try:
            self.place = Path(self._given).absolute()
            if self.place.is_symlink() or self.place.exists():
                self._may_replace()
            for parent in reversed(self.place.parents):
                if not parent.exists():
                    parent.mkdir()
                    self._made.append(parent)
            self._work = self._beside()
            self._work.chmod(0o755)
        except (OSError, ValueError) as error:
            self._forget_parents()
            reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
            raise InputError(f"--out {self._given}: cannot be written ({reason}); choose another folder") from None
        return self._work

    def _beside(self) -> Path:
        """A new hidden folder beside the place, on the same disk, so that renaming is all that is left to do."""
        return Path(tempfile.mkdtemp(prefix=f".{self.place.name[:80]}.", dir=self.place.parent))

    def _may_replace(self) -> None:
        if self.place.is_symlink():
            raise InputError(
                f"--out {self._given}: this is a link, and results only go into a folder itself; write the folder it "
                f"points to ({self.place.readlink()}), or choose another"
            )
        if not self.place.is_dir():
            raise InputError(f"--out {self._given}: there is a file of that name; choose another folder")
        if not self._replace:
            raise InputError(f"--out {self._given}: the folder exists; choose another, or add --replace")
        foreign = [entry.name for entry in self.place.iterdir() if entry.name not in OUR_FILES]
        if foreign:
            raise InputError(
                f"--out {self._given}: --replace would remove {foreign[0]}, which beltspring did not write; "
                "choose another folder"
            )

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if kind is None:
                self._put_in_place()
            elif isinstance(error, OSError) and error.errno in FULL:
                # Writing to an open file tells no name; the place is what the person knows.
                raise InputError(
                    f"--out {self._given}: cannot be written ({error.strerror}); make room there, or choose a folder on "
                    "another disk"
                ) from None
        except OSError as failed:
            raise InputError(
                f"--out {self._given}: cannot be written ({failed.strerror or failed}); choose another folder"
            ) from None
        finally:
            # Whatever ended it: what was not moved into place goes, the folder we hid it in too.
            shutil.rmtree(self._work, ignore_errors=True)
            if not self.place.exists():
                self._forget_parents()

    def _put_in_place(self) -> None:
        if not self.place.exists():
            self._work.rename(self.place)
            return
        self._may_replace()  # it may have come into being while we simulated
        old = self._beside()
        try:
            self.place.rename(old / "old")
        except OSError:
            old.rmdir()
            raise
        try:
            self._work.rename(self.place)
        except OSError:
            (old / "old").rename(self.place)
            old.rmdir()
            raise
        _remove(old)

    def _forget_parents(self) -> None:
        for parent in reversed(self._made):
            with contextlib.suppress(OSError):
                parent.rmdir()
        self._made.clear()


def _remove(folder: Path) -> None:
    """Remove a folder of old results, also one that its owner has made read-only."""
    for inner in (folder, *(path for path in folder.rglob("*") if path.is_dir() and not path.is_symlink())):
        with contextlib.suppress(OSError):
            inner.chmod(0o700)
    shutil.rmtree(folder, ignore_errors=True)
