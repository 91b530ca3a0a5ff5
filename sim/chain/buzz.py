"""What shakes while an axis moves, and why: the run that goes without it names it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ..analyse import Ringing
from ..analyse.moving import Moving, half_range_at, moving
from ..analyse.reading import length
from ..model.modes import Mode
from ..model.system import System
from ..plan.plan import Plan
from ..practice import INVISIBLE_M
from ..simulate.run import run
from ..trace import Ending, Trace

Cause = Literal["detent", "friction"]
#: A run without its cause shakes less than this share of what it did.
GONE = 0.5
#: Longer moves are not simulated again only to name a cause, s.
LONGEST_S = 60.0
#: What is taken away is made this small instead: a term that is there, however small, keeps the loop compiled for it.
NEXT_TO_NOTHING = 1e-9


@dataclass(frozen=True)
class Buzz:
    """What shakes while an axis moves, and its cause: None where it is too small to ask, or neither is it."""

    moving: Moving
    cause: Cause | None
    asked: bool


def buzz(system: System, plan: Plan, trace: Trace, axis: str, mode: Mode, ringing: Ringing | None) -> Buzz | None:
    """Buzz of an axis in a run; None where no window is left to measure it in.

    mode: the one that swings the tool most along the axis.  What a jump stirs up counts as faded after the time the run
    tells, or that of the mode where it is longer: friction, which stops a standing axis, hardly damps a moving one.
    """
    at_rest = ringing.fades_to_5_percent_s if ringing is not None else None
    sliding = float(np.log(20.0)) / (2 * np.pi * mode.frequency_hz * max(mode.damping_ratio, 1e-3))
    fade = max(at_rest or 0.0, sliding)
    found = moving(trace, plan, axis, mode.frequency_hz, fade)
    if found is None:
        return None
    asked = found.peak_m >= INVISIBLE_M and plan.duration_s <= LONGEST_S and trace.stopped_at_s is None
    return Buzz(found, _cause(system, plan, trace, found, mode.frequency_hz) if asked else None, asked)


def _cause(system: System, plan: Plan, trace: Trace, found: Moving, mode_hz: float) -> Cause | None:
    """Whichever of detent and friction, taken away, takes most of the shaking with it."""
    least, cause = GONE * found.peak_m, None
    step_s = float(np.median(np.diff(trace.t_s)))
    tries: tuple[tuple[Cause, Callable[[System], System | None]], ...] = (
        ("detent", without_detent),
        ("friction", without_friction),
    )
    for name, without in tries:
        other = without(system)
        if other is None:
            continue
        tried = run(other, plan, step_s)
        if tried.ending is Ending.INTERRUPTED:
            # The run that was asked for is over: what was pressed ends the asking, and is not taken for its answer.
            raise KeyboardInterrupt
        left = half_range_at(tried, found.axis, mode_hz, found.at_s)
        if left is not None and left < least:
            least, cause = left, name
    return cause


def without_detent(system: System) -> System | None:
    """The machine without its motors' detent; None where they have none."""
    if not any(m.detent_nm for m in system.motors):
        return None
    return replace(system, motors=tuple(replace(m, detent_nm=NEXT_TO_NOTHING * m.detent_nm) for m in system.motors))


def without_friction(system: System) -> System | None:
    """The machine without the friction of its guides; None where they have none."""
    if not system.frictions:
        return None
    small = NEXT_TO_NOTHING
    return replace(
        system,
        frictions=tuple(
            replace(
                f, coulomb_n=small * f.coulomb_n, static_n=small * f.static_n, sigma0_n_m=small * f.sigma0_n_m,
                sigma1_n_s_m=small * f.sigma1_n_s_m,
            )
            for f in system.frictions
        ),
    )  # fmt: skip


def buzz_words(found: dict[str, Buzz | None]) -> str | None:
    """A sentence on what shakes while moving; None where nothing shows."""
    parts = []
    for axis, b in found.items():
        if b is None or b.moving.peak_m < INVISIBLE_M:
            continue
        at = f" at {b.moving.frequency_hz:.3g} Hz" if b.moving.frequency_hz is not None else ""
        why = {"detent": "the detent of the motors", "friction": "friction of the guides"}
        cause = (
            why[b.cause] if b.cause else ("neither detent nor friction alone" if b.asked else "cause not looked for")
        )
        parts.append(f"up to {length(b.moving.peak_m)} in {axis.upper()}{at} ({cause})")
    return f"While it moves it buzzes by {' and '.join(parts)}." if parts else None
