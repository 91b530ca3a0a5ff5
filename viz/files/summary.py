"""A run as `--json`, summary.json and ripples.json give it; the keys are fixed, other tools read them.

SI becomes file units (mm, um, ms, deg) here and in trace.csv, nowhere else on this side. What is undefined is null.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from beltspring.sim import BeltReport, Buzz, Judged, Mode, MotorReport, Report, Ringing

from .findings import finding_entry
from .plain import Json, clean, tidy


def summary(report: Report) -> Json:
    """A run as `--json` and summary.json give it; the keys are fixed, other tools read them."""
    trace, plan, path = report.trace, report.plan, report.path
    ringing, moving = report.analysis.ringing, report.moving
    told: Json = clean(
        {
            "title": report.title,
            "layout": report.design.layout,
            "detail": report.design.detail,
            "move": plan.description,
            "ended": trace.ended,
            "move_s": plan.move_s,
            "duration_s": plan.duration_s,
            "steps": trace.steps,
            "step_s": trace.step_s if trace.steps else None,
            "times_real_time": report.times_real_time,
            "modes": [mode_entry(told.mode, told.band_hz) for told in report.modes],
            "ringing": {axis: _ringing(found) for axis, found in ringing.items()},
            "judged": judged_entry(report.judged),
            "moving": {axis: _moving(found) for axis, found in moving.items()},
            "path_error_um": {
                "max": path and path.across_max_m * 1e6,
                "rms": path and path.across_rms_m * 1e6,
            },
            "along_um": {
                "max": path and path.along_max_m * 1e6,
                "rms": path and path.along_rms_m * 1e6,
            },
            "left_out": list(report.left_out),
            "ripple_spacing_mm": _times(report.analysis.ripple_spacing_m, 1e3),
            "motors": {motor.name: _motor(motor) for motor in report.motors},
            "belts": {belt.name: _belt(belt) for belt in report.belts},
            "mixing": [[tidy(value) for value in row] for row in report.mixing],
            "moving_mass_g": dict(zip("xyz", (1e3 * m for m in report.moving_mass_kg), strict=False)),
            **_on_arms(report),
            "reading": list(report.sentences),
            "notes": list(report.notes),
            "findings": [finding_entry(found) for found in report.findings.findings],
        }
    )
    return told


def _on_arms(report: Report) -> Json:
    """What only a tool on arms has: mixing at three points of its rim, and how far it is off in height."""
    if not report.mixing_rim:
        return {}
    rim = [
        {"x_mm": tidy(x * 1e3), "y_mm": tidy(y * 1e3), "mixing": [[tidy(value) for value in row] for row in rows]}
        for (x, y), rows in report.mixing_rim
    ]
    height = None if report.path is None else report.path.height_m
    most, mean = height if height is not None else (None, None)
    return {"mixing_rim": rim, "height_um": {"max": _times(most, 1e6), "rms": _times(mean, 1e6)}}


def judged_entry(judged: Judged | None) -> Json:
    """Judged ringing for JSON: over thirteen speeds, or a program's own corners (then the speeds are null)."""
    if judged is None:
        return dict.fromkeys(("judged_um", "least_um", "most_um", "most_at_mm_s", "judged_speeds_mm_s"))
    ends = judged.speeds_m_s
    return {
        "judged_um": _times(judged.judged_m, 1e6),
        "least_um": _times(judged.least_m, 1e6),
        "most_um": _times(judged.most_m, 1e6),
        "most_at_mm_s": _times(judged.most_at_m_s, 1e3),
        "judged_speeds_mm_s": None if ends is None else [1e3 * v for v in ends],
    }


def mode_entry(mode: Mode, band_hz: Sequence[float]) -> Json:
    """One mode for JSON. band_hz: (low, high) that 19 of 20 machines keep."""
    return {
        "frequency_hz": mode.frequency_hz,
        "band_hz": [float(v) for v in band_hz],
        "damping_ratio": mode.damping_ratio,
        "words": mode.words,
        "holds": [{"what": hold.what, "share": hold.share} for hold in mode.holds],
    }


def _ringing(ringing: Ringing | None) -> Json:
    if ringing is None:
        return dict.fromkeys(("peak_um", "frequency_hz", "damping_ratio", "fades_to_5_percent_ms", "drift_hz"))
    return {
        "peak_um": ringing.peak_m * 1e6,
        "frequency_hz": ringing.frequency_hz,
        "damping_ratio": ringing.damping_ratio,
        "fades_to_5_percent_ms": _times(ringing.fades_to_5_percent_s, 1e3),
        "drift_hz": ringing.drift_hz,
    }


def _moving(found: Buzz | None) -> Json:
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


def _motor(motor: MotorReport) -> Json:
    return {
        "peak_torque_nm": motor.peak_torque_nm,
        "torque_limit_nm": motor.torque_limit_nm,
        "peak_lag_deg": _times(motor.peak_lag_rad, 180 / math.pi),
        "lost_steps": motor.lost_steps,
        "most_steps_off": motor.most_steps_off,
        "passages": motor.passages,
        "first_loss_s": motor.first_loss_s,
    }


def _belt(belt: BeltReport) -> Json:
    return {
        "min_tension_n": belt.least_n,
        "max_tension_n": belt.most_n,
        "slack_ms": belt.slack_s * 1e3,
        "length_to_order_mm": tidy(belt.order_length_m * 1e3),
        "runs": [
            {"name": f.name, "length_mm": f.length_m * 1e3, "stiffness_n_per_mm": f.stiffness_n_m / 1e3}
            for f in belt.runs
        ],
    }


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor


def ripples_json(report: Report) -> Json:
    """ripples.json: the worst places and the levels of a program's ripple map."""
    found = report.analysis.ripples
    if found is None:
        return {}
    places = [
        {
            "number": place.number, "error_um": place.error_m * 1e6, "line": place.line or None,
            "x_mm": place.point[0] * 1e3, "y_mm": place.point[1] * 1e3, "z_mm": place.point[2] * 1e3,
            "time_s": place.time_s, "speed_mm_s": place.speed_m_s * 1e3, "levels": place.levels,
            "cause": cause,
        }
        for place, cause in zip(found.places, report.place_causes, strict=True)
    ]  # fmt: skip
    levels = [{"z_mm": v.z_m * 1e3, "max_um": v.max_m * 1e6, "rms_um": v.rms_m * 1e6} for v in found.levels]
    told: Json = clean({"bin_mm": found.bin_m * 1e3, "only_where_laid": found.lays, "places": places, "levels": levels})
    return told
