"""Which part of a machine is heard: the mode behind a measured ringing, in words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..analyse.ringing import Ringing
from ..model.modes import Mode, modes
from .once import Outcome, swing

#: How far from a measured frequency its mode may lie, and how soon distance counts; natural logarithms of the ratio.
FARTHEST, SOON = 0.25, 0.06
#: What swings less than this does not ring, m.
FELT_M = 1e-6


@dataclass(frozen=True)
class Sounding:
    """The louder axis of a run and the mode that explains it; mode is None where none lies near.

    remainder_mode: the mode of the smaller swing that goes on longer, where there is one.
    """

    ringing: Ringing
    frequency_hz: float
    mode: Mode | None
    remainder_mode: Mode | None = None

    @property
    def words(self) -> str:
        """ "X rings at 31 Hz: gantry turns about Z on its rods"."""
        heard = f"{self.ringing.axis.upper()} rings at {self.frequency_hz:.3g} Hz"
        said = f"{heard}: {self.mode.words}" if self.mode else f"{heard}, where the model has no mode of its own"
        rest = self.ringing.remainder
        if rest is None or self.remainder_mode is None:
            return said
        return f"{said}; what goes on longer, at {rest.frequency_hz:.3g} Hz: {self.remainder_mode.words}"


def sounding(outcome: Outcome) -> Sounding | None:
    """What rings loudest in a run and which part that is; None where nothing rings.

    The modes are those of the place where that ring-down was measured. Small motions stick in the guides' friction, whose
    bristles are springs, so a mode is heard anywhere between its own frequency and the one with all guides stuck. Of the
    modes that come near, the one is taken that swings the tool most along its axis, the nearer the better.
    """
    loud = [r for r in outcome.analysis.ringing.values() if r is not None and r.frequency_hz and r.peak_m >= FELT_M]
    if not loud:
        return None
    top = max(loud, key=lambda r: r.peak_m)
    assert top.frequency_hz is not None
    heard = max((d for d in outcome.analysis.ringdowns if d.axis == top.axis), key=lambda d: d.peak_m)
    trace = outcome.trace
    place = trace.commanded[int(np.searchsorted(trace.t_s, heard.start_s, side="right")) - 1]
    found = modes(outcome.system, place)
    rest = top.remainder

    def explains(frequency_hz: float) -> Mode | None:
        marks = [(_nearness(outcome, mode, frequency_hz) * swing(outcome.system, mode, "xy".index(top.axis)), i)
                 for i, mode in enumerate(found)]  # fmt: skip
        best, at = max(marks, default=(0.0, 0))
        return found[at] if best > 0 else None

    return Sounding(top, top.frequency_hz, explains(top.frequency_hz), explains(rest.frequency_hz) if rest else None)


def _nearness(outcome: Outcome, mode: Mode, frequency_hz: float) -> float:
    """1 where a mode can sound at a frequency, falling to 0 with the distance from its range."""
    omega = 2 * np.pi * mode.frequency_hz
    bristles = sum(f.sigma0_n_m * float(f.row @ mode.shape) ** 2 for f in outcome.system.frictions)
    stuck_hz = float(np.sqrt(omega**2 + bristles)) / (2 * np.pi)
    off = max(0.0, float(np.log(mode.frequency_hz / frequency_hz)), float(np.log(frequency_hz / stuck_hz)))
    return float(np.exp(-((off / SOON) ** 2))) if off < FARTHEST else 0.0
