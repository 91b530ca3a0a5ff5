"""The scenario's motion, move and recording as plain SI values: what the plan room reads.

The functions here are the doorstep: file units (mm, ms) come in, metres and seconds go out, each key by its
explicit factor.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

Axis = Literal["x", "y", "xy"]


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
    """An input shaper of one axis. frequency_hz: "auto" takes it from the machine's own modes.  damping: ratio."""

    kind: str
    frequency_hz: float | Literal["auto"]
    damping: float


@dataclass(frozen=True)
class MoveSpec:
    """What the tool is asked to do: a pattern, or a program (then `pattern` is None and `program` its path).

    size_m: size of the pattern about the middle of the reach.  axis: direction of the pattern `step`.
    settle_s: time at rest after the move.
    """

    pattern: str | None
    program: Path | None
    size_m: float
    repeats: int
    axis: Axis
    settle_s: float


@dataclass(frozen=True)
class RecordSpec:
    """How the trace is kept. step_s: time between recorded rows."""

    step_s: float
