"""The scenario's motion, move and recording as plain SI values: what the plan room reads.

The functions here are the doorstep: file units (mm, ms) come in, metres and seconds go out, each key by its
explicit factor.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from ..practice import LINE_WIDTH_M
from .schema import Scenario
from .units import to_si

Axis = Literal["x", "y", "xy"]
Three = tuple[float, float, float]


@dataclass(frozen=True)
class MotionLimits:
    """Limits of the tool's motion along its path.

    jerk_m_s3: 0 = no limit.  corner_speed_step_m_s: largest jump of the velocity vector taken at a corner; 0 = a full
    stop at each corner.  corner_tolerance_m: how far a blended corner may stay from the corner; 0 = no blending.
    """

    speed_m_s: float
    acceleration_m_s2: float
    jerk_m_s3: float
    corner_speed_step_m_s: float
    corner_tolerance_m: float


@dataclass(frozen=True)
class ShaperSpec:
    """An input shaper of one axis. frequency_hz: "auto" takes it from the machine's own modes.  damping: ratio.

    own_mode: whether both were taken from there, so that who tells of it can say so.
    """

    kind: str
    frequency_hz: float | Literal["auto"]
    damping: float
    own_mode: bool = False


@dataclass(frozen=True)
class MoveSpec:
    """What the tool is asked to do: a pattern, or a program (then `pattern` is None and `program` its path).

    size_m: size of the pattern about the middle of the reach.  axis: direction of the pattern `step`.
    settle_s: time at rest after the move.  line_width_m: of the line a program or pattern lays.
    """

    pattern: str | None
    program: Path | None
    size_m: float
    repeats: int
    axis: Axis
    settle_s: float
    line_width_m: float = LINE_WIDTH_M


@dataclass(frozen=True)
class PatternChoices:
    """What some patterns can be told beside size and repeats.

    levels: of the ladders; the lowest is run at 1/levels of the limit, the highest at the limit.
    level_rise_m: how far Z rises between them, where there is room.  row_spacing_m: of the raster.
    from_hz, to_hz, sweep_s: of the chirp.
    """

    levels: int = 5
    level_rise_m: float = 1e-3
    row_spacing_m: float = 2e-3
    from_hz: float = 10.0
    to_hz: float = 120.0
    sweep_s: float = 10.0


_LADDER: dict[str, float] = {"levels": 5, "level_rise_mm": 1}
# Which keys of [move] only some patterns take, and their values where nobody writes them, in file units.
OWN_CHOICES: dict[str, dict[str, float]] = {
    "acceleration-ladder": _LADDER,
    "speed-ladder": _LADDER,
    "raster": {"row_spacing_mm": 2},
    "chirp": {"from_hz": 10, "to_hz": 120, "sweep_ms": 10_000},
}


@dataclass(frozen=True)
class RecordSpec:
    """How the trace is kept. step_s: time between recorded rows.  keep: what stays in memory, one of names.KEEPS."""

    step_s: float
    keep: str = "auto"


def reach(scenario: Scenario) -> tuple[float, float, float]:
    """Reach of the nozzle in X, Y and Z, m."""
    space = scenario.file.space
    return (to_si(space.x_mm, "mm"), to_si(space.y_mm, "mm"), to_si(space.z_mm, "mm"))


def motion_limits(scenario: Scenario) -> MotionLimits:
    """The limits of [motion]."""
    motion = scenario.file.motion
    return MotionLimits(
        speed_m_s=to_si(motion.speed_mm_s, "mm/s"),
        acceleration_m_s2=to_si(motion.acceleration_mm_s2, "mm/s2"),
        jerk_m_s3=to_si(motion.jerk_mm_s3, "mm/s3"),
        corner_speed_step_m_s=to_si(motion.corner_speed_step_mm_s, "mm/s"),
        corner_tolerance_m=to_si(motion.corner_tolerance_mm, "mm"),
    )


def axis_limits(scenario: Scenario) -> tuple[Three, Three]:
    """The limits of [motion.axes]: speeds of X, Y, Z (m/s) and accelerations (m/s2), infinite where none is written."""
    axes = scenario.file.motion.axes
    speeds = (axes.x_speed_mm_s, axes.y_speed_mm_s, axes.z_speed_mm_s)
    accelerations = (axes.x_acceleration_mm_s2, axes.y_acceleration_mm_s2, axes.z_acceleration_mm_s2)
    vx, vy, vz = (math.inf if v is None else to_si(v, "mm/s") for v in speeds)
    ax, ay, az = (math.inf if a is None else to_si(a, "mm/s2") for a in accelerations)
    return (vx, vy, vz), (ax, ay, az)


def shapers(scenario: Scenario) -> dict[str, ShaperSpec]:
    """The shapers of [motion.shaper] by axis, "x" before "y"; an axis without one is left out."""
    table = scenario.file.motion.shaper
    found: dict[str, ShaperSpec] = {}
    for axis, shaper in (("x", table.x), ("y", table.y)) if table is not None else ():
        if shaper is not None:
            found[axis] = ShaperSpec(shaper.kind, shaper.frequency_hz, shaper.damping)
    return found


def default_size_mm(scenario: Scenario) -> float:
    """Size of a pattern when none is written: 60 mm, on a small machine half of its smaller reach."""
    return min(60.0, 0.5 * min(scenario.file.space.x_mm, scenario.file.space.y_mm))


def move_spec(scenario: Scenario) -> MoveSpec:
    """The move of [move]; a program's path is relative to the scenario's folder, or to the working one if it was set
    from the command line."""
    move = scenario.file.move
    folder = Path() if scenario.where(("move", "gcode")).kind == "set" else scenario.folder or Path()
    program = None if move.gcode is None else folder / move.gcode
    size_mm = move.size_mm if move.size_mm is not None else default_size_mm(scenario)
    return MoveSpec(
        move.pattern,
        program,
        to_si(size_mm, "mm"),
        move.repeats,
        move.axis,
        to_si(move.settle_ms, "ms"),
        to_si(move.line_width_mm, "mm"),
    )


def move_choice(scenario: Scenario, name: str) -> float:
    """A key of [move] that only some patterns take, in file units: as written, else its usual value."""
    written: float | None = getattr(scenario.file.move, name)
    return written if written is not None else next(own[name] for own in OWN_CHOICES.values() if name in own)


def pattern_choices(scenario: Scenario) -> PatternChoices:
    """What [move] says to patterns that have choices of their own."""

    def chosen(name: str, unit: str) -> float:
        return to_si(move_choice(scenario, name), unit)

    return PatternChoices(
        levels=int(move_choice(scenario, "levels")),
        level_rise_m=chosen("level_rise_mm", "mm"),
        row_spacing_m=chosen("row_spacing_mm", "mm"),
        from_hz=chosen("from_hz", "Hz"),
        to_hz=chosen("to_hz", "Hz"),
        sweep_s=chosen("sweep_ms", "ms"),
    )


def record_spec(scenario: Scenario) -> RecordSpec:
    """How the trace is recorded."""
    return RecordSpec(to_si(scenario.file.record.step_ms, "ms"), scenario.file.record.keep)
