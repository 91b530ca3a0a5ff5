"""What a run leaves behind: the JSON of DESIGN's fixed keys and trace.csv. The folder they go into is `out_folder`'s.

SI becomes file units (mm, um, ms, deg) here and nowhere else on this side. What is undefined is null, never NaN.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from beltspring.sim.chain.chain import Outcome
from beltspring.sim.machine.routing import order_length_m
from beltspring.sim.model.facts import mixing, moving_mass, run_facts
from beltspring.sim.model.left_out import left_out
from beltspring.sim.model.modes import Mode
from beltspring.sim.simulate.keep import Rows
from beltspring.sim.trace import Trace

from ..result import RunResult

Json = dict[str, Any]
ROWS_AT_ONCE = 20_000


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
            "modes": [mode_entry(mode) for mode in outcome.modes],
            "ringing": {axis: _ringing(analysis.ringing[axis]) for axis in ("x", "y")},
            "moving": {axis: _moving(found) for axis, found in outcome.moving.items()},
            "path_error_um": {
                "max": None if empty else path.across_max_m * 1e6,
                "rms": None if empty else path.across_rms_m * 1e6,
            },
            "along_um": {
                "max": None if empty else path.along_max_m * 1e6,
                "rms": None if empty else path.along_rms_m * 1e6,
            },
            "left_out": list(left_out(outcome.machine)),
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


def _ringing(ringing: Any) -> Json:
    if ringing is None:
        return dict.fromkeys(("peak_um", "frequency_hz", "damping_ratio", "fades_to_5_percent_ms", "drift_hz"))
    return {
        "peak_um": ringing.peak_m * 1e6,
        "frequency_hz": ringing.frequency_hz,
        "damping_ratio": ringing.damping_ratio,
        "fades_to_5_percent_ms": _times(ringing.fades_to_5_percent_s, 1e3),
        "drift_hz": ringing.drift_hz,
    }


def _moving(found: Any) -> Json:
    """What shakes while an axis moves; all null where no window was left to measure it in."""
    if found is None:
        return dict.fromkeys(("peak_um", "typical_um", "frequency_hz", "cause"))
    shakes = found.moving
    return {
        "peak_um": shakes.peak_m * 1e6,
        "typical_um": shakes.typical_m * 1e6,
        "frequency_hz": shakes.frequency_hz,
        "cause": found.cause,
    }


def _motors(outcome: Outcome) -> Json:
    trace = outcome.trace
    slips = {slip.motor: slip for slip in trace.slips}
    out: Json = {}
    for motor in outcome.system.motors:
        slip = slips.get(motor.name)
        out[motor.name] = {
            "peak_torque_nm": trace.largest(f"torque_{motor.name}"),
            "torque_limit_nm": motor.limit_nm if motor.spec is not None else None,
            "peak_lag_deg": _times(trace.largest(f"lag_{motor.name}"), 180 / math.pi),
            "lost_steps": abs(slip.lost_steps) if slip else 0,
            "first_loss_s": slip.time_s if slip else None,
        }
    return out


def _belts(outcome: Outcome) -> Json:
    trace, machine = outcome.trace, outcome.machine
    facts = run_facts(outcome.system, outcome.middle)
    out: Json = {}
    for belt in machine.belts:
        runs = [fact for fact in facts if fact.belt == belt.name]
        seen = [e for run in runs if (e := trace.extreme(f"tension_{belt.name}_{run.name}")) is not None]
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
        for place, advice in zip(found.places, outcome.ripple_advice, strict=True)
    ]  # fmt: skip
    levels = [{"z_mm": v.z_m * 1e3, "max_um": v.max_m * 1e6, "rms_um": v.rms_m * 1e6} for v in found.levels]
    return clean({"bin_mm": found.bin_m * 1e3, "only_where_laid": found.lays, "places": places, "levels": levels})
