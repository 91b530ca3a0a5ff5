"""Which part of a machine is heard: the mode behind a measured ringing, in words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..analyse.ringing import Ringing
from ..model.modes import Mode, modes
from .chain import Outcome, swing

#: How far from a measured frequency its mode may lie, and how soon distance counts; natural logarithms of the ratio.
FARTHEST, SOON = 0.25, 0.06
#: What swings less than this does not ring, m.
FELT_M = 1e-6


@dataclass(frozen=True)
class Sounding:
    """The louder axis of a run and the mode that explains it; mode is None where none lies near.

    others: further tones of several at once, Hz, each with the mode that explains it.
    """

    ringing: Ringing
    frequency_hz: float
    mode: Mode | None
    others: tuple[tuple[float, Mode], ...] = ()

    @property
    def words(self) -> str:
        """ "X rings at 31 Hz: gantry turns about Z on its rods"."""
        heard = f"{self.ringing.axis.upper()} rings at {self.frequency_hz:.3g} Hz"
        said = f"{heard}: {self.mode.words}" if self.mode else f"{heard}, where the model has no mode of its own"
        beside = "; ".join(f"beside it, at {hz:.3g} Hz: {mode.words}" for hz, mode in self.others)
        return f"{said}; {beside}" if beside else said


def sounding(outcome: Outcome) -> Sounding | None:
    """What rings loudest in a run and which part that is; None where nothing rings.

    Small motions stick in the guides' friction, whose
    bristles are springs, so a mode is heard anywhere between its own frequency and the one with all guides stuck. Of the
    modes that come near, the one is taken that swings the tool most along its axis, the nearer the better.
    """
    loud = [
        r
        for r in outcome.analysis.ringing.values()
        if r is not None and r.axis != "z" and r.frequency_hz and r.peak_m >= FELT_M
    ]
    if not loud:
        return None
    top = max(loud, key=lambda r: r.peak_m)
    assert top.frequency_hz is not None
    mode = mode_behind(outcome, top)
    found = [(tone.frequency_hz, mode_behind(outcome, top, tone.frequency_hz)) for tone in top.tones]
    others = tuple((hz, m) for hz, m in found if m is not None and (mode is None or m.words != mode.words))
    return Sounding(top, top.frequency_hz, mode, others)


def mode_behind(outcome: Outcome, ringing: Ringing, frequency_hz: float | None = None) -> Mode | None:
    """The mode that explains a ringing, or the part of it at another frequency; None where none lies near.

    Of the modes of the place where it was measured that come near, the one that swings the tool most along its axis.
    """
    sought = ringing.frequency_hz if frequency_hz is None else frequency_hz
    if not sought:
        return None
    heard = max((d for d in outcome.analysis.ringdowns if d.axis == ringing.axis), key=lambda d: d.peak_m)
    trace, column = outcome.trace, "xy".index(ringing.axis)
    place = trace.commanded[int(np.searchsorted(trace.t_s, heard.start_s, side="right")) - 1]
    found = modes(outcome.system, place)
    marks = [
        (_nearness(outcome, mode, sought) * swing(outcome.system, mode, column), i) for i, mode in enumerate(found)
    ]
    best, at = max(marks, default=(0.0, 0))
    return found[at] if best > 0 else None


#: From this ratio of a measured frequency to its mode on, guides that stick are what raises it.
RAISED = 1.05


def raised_by_friction(outcome: Outcome) -> str | None:
    """A sentence on why the ringing told may differ from what is seen while an axis moves; None where it does not.

    Told is the ringing of an axis at rest. There small motions only bend the bristles of its guides' friction (they slide
    no further), which are springs beside the belts: it rings faster and dies sooner than on the move, at the linear mode.
    """
    parts = []
    for axis, ringing in outcome.analysis.ringing.items():
        if (
            axis == "z"
            or ringing is None
            or not ringing.frequency_hz
            or ringing.peak_m < FELT_M
            or not outcome.system.frictions
        ):
            continue
        mode = mode_behind(outcome, ringing)
        if mode is None:
            continue
        if ringing.frequency_hz > RAISED * mode.frequency_hz:
            parts.append(
                f"{axis.upper()} at {ringing.frequency_hz:.3g} Hz, on the move at about {mode.frequency_hz:.3g} Hz"
            )
    if not parts:
        return None
    return (
        "Only the ringing of an axis at rest is counted, across the wall laid next. A standing axis sticks in its guides' "
        f"friction, which raises its frequency and damps it ({'; '.join(parts)}, for longer): a shaper is tuned to the latter."
    )


def _nearness(outcome: Outcome, mode: Mode, frequency_hz: float) -> float:
    """1 where a mode can sound at a frequency, falling to 0 with the distance from its range."""
    omega = 2 * np.pi * mode.frequency_hz
    bristles = sum(f.sigma0_n_m * float(f.row @ mode.shape) ** 2 for f in outcome.system.frictions)
    stuck_hz = float(np.sqrt(omega**2 + bristles)) / (2 * np.pi)
    off = max(0.0, float(np.log(mode.frequency_hz / frequency_hz)), float(np.log(frequency_hz / stuck_hz)))
    return float(np.exp(-((off / SOON) ** 2))) if off < FARTHEST else 0.0
