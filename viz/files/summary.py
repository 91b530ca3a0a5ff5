"""A run as `--json`, summary.json and ripples.json give it; the keys are fixed, other tools read them.

SI becomes file units (mm, um, ms, deg) here and in trace.csv, nowhere else on this side. What is undefined is null.
"""

from __future__ import annotations

import math
from typing import Any

from beltspring.sim.chain.chain import Outcome
from beltspring.sim.machine.routing import order_length_m
from beltspring.sim.model.facts import mixing, mixing_rim, moving_mass, run_facts
from beltspring.sim.model.left_out import left_out
from beltspring.sim.model.modes import Mode

from ..result import RunResult
from .plain import Json, clean, tidy


def result_of(outcome: Outcome) -> RunResult:
    """The outcome as the drawings take it."""
    return RunResult(outcome.scenario, outcome.design, outcome.machine, outcome.plan, outcome.trace, outcome.analysis)


def summary(outcome: Outcome) -> Json:
    """A run as `--json` and summary.json give it; the keys are fixed, other tools read them."""
    trace, analysis = outcome.trace, outcome.analysis
    empty = not len(trace.t_s)
    simulated_s = trace.stopped_at_s if trace.stopped_at_s is not None else outcome.plan.duration_s
    path = analysis.path
    told: Json = clean(
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
            "ringing": {axis: _ringing(analysis.ringing[axis]) for axis in analysis.ringing},
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
            "moving_mass_g": dict(zip("xyz", (1e3 * m for m in moving_mass(outcome.system)), strict=False)),
            **_on_arms(outcome),
        }
    )
    return told


def _on_arms(outcome: Outcome) -> Json:
    """What only a tool on arms has: mixing at three points of its rim, and how far it is off in height."""
    if not outcome.system.arms:
        return {}
    rim = [
        {"x_mm": tidy(x * 1e3), "y_mm": tidy(y * 1e3), "mixing": [[tidy(value) for value in row] for row in rows]}
        for (x, y), rows in mixing_rim(outcome.system)
    ]
    height = outcome.analysis.path.height_m
    known = height is not None and len(outcome.trace.t_s) > 0
    return {
        "mixing_rim": rim,
        "height_um": {
            "max": height[0] * 1e6 if known and height else None,
            "rms": height[1] * 1e6 if known and height else None,
        },
    }


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
    told: Json = clean({"bin_mm": found.bin_m * 1e3, "only_where_laid": found.lays, "places": places, "levels": levels})
    return told
