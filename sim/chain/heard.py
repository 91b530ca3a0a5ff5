"""Which part of a machine is heard: the mode behind a ringing, in words, and those behind the peaks of a chirp."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..analyse.cause import FELT_M, Behind
from ..analyse.response import ResponsePeak
from ..analyse.ringing import Ringing
from ..model.modes import Mode, swing
from .chain import Outcome


@dataclass(frozen=True)
class Sounding:
    """The louder axis of a run and what is behind it: its told frequency first, then further tones of several at once."""

    ringing: Ringing
    behind: tuple[Behind, ...]

    @property
    def frequency_hz(self) -> float:
        """As told, Hz."""
        return self.behind[0].frequency_hz

    @property
    def mode(self) -> Mode | None:
        """The mode that explains it, None where none lies near."""
        return self.behind[0].mode

    @property
    def words(self) -> str:
        """ "X rings at 31 Hz: the gantry on its rods (74 %)"."""
        first, *more = self.behind
        said = f"{self.ringing.axis.upper()} rings at {first.frequency_hz:.3g} Hz: {first.words}"
        told = [first.words]
        for one in more:
            if one.mode is not None and one.words not in told:
                told.append(one.words)
                said += f"; beside it, at {one.frequency_hz:.3g} Hz: {one.words}"
        return said


def sounding(outcome: Outcome) -> Sounding | None:
    """What rings loudest in a run and which part that is; None where nothing rings."""
    analysis = outcome.analysis
    loud = [
        r for r in analysis.ringing.values() if r is not None and r.peak_m >= FELT_M and analysis.behind.get(r.axis)
    ]
    top = max(loud, key=lambda r: r.peak_m, default=None)
    return None if top is None else Sounding(top, analysis.behind[top.axis])


#: A frequency off by less than this share is that of the mode.
SAME = 0.02


@dataclass(frozen=True)
class Seen:
    """What of a mode was seen to ring: by which axis and at what frequency, Hz; why that is not the mode's, "" where it is."""

    axis: str
    frequency_hz: float
    why: str

    @property
    def words(self) -> str:
        """ "X 84 Hz"."""
        return f"{self.axis.upper()} {self.frequency_hz:.3g} Hz"


def seen(outcome: Outcome) -> dict[int, list[Seen]]:
    """What of each mode in the middle of the move was seen to ring, by the mode's number."""
    out: dict[int, list[Seen]] = {}
    system = outcome.system
    for axis, found in outcome.analysis.behind.items():
        # Of several tones at once each is told, the fitted one among them.
        for one in found[1:] or found:
            if one.mode is None:
                continue
            # The same shape in the middle of the move, whatever its place in the order there.
            alike = [abs(float(mode.shape @ system.mass @ one.mode.shape)) for mode in outcome.modes]
            k = int(np.argmax(alike))
            out.setdefault(k, []).append(Seen(axis, one.frequency_hz, _why_off(outcome.modes[k], one)))
    return out


def _why_off(middle: Mode, one: Behind) -> str:
    assert one.mode is not None
    here, there, heard = middle.frequency_hz, one.mode.frequency_hz, one.frequency_hz
    if abs(heard / here - 1.0) < SAME:
        return ""
    why = []
    if abs(there / here - 1.0) > SAME:
        why.append(f"where it rings the mode is at {there:.3g} Hz")
    if heard > (1.0 + SAME) * there:
        why.append("guides that stick raise it")
    elif heard < there / (1.0 + SAME):
        why.append("large swings or modes beside it lower it")
    return " and ".join(why)


#: A mode this far from a peak (as a ratio less one) does not explain it; nor does one that hardly swings the tool.
FAR_OFF, FELT_SHARE = 0.25, 0.02


@dataclass(frozen=True)
class Answer:
    """A peak of the response of an axis, and the mode of the model it belongs to; None where none lies near."""

    axis: str
    peak: ResponsePeak
    mode: Mode | None

    @property
    def off(self) -> float | None:
        """Frequency of the peak over that of the mode, less one."""
        return None if self.mode is None else self.peak.frequency_hz / self.mode.frequency_hz - 1.0


def answers(outcome: Outcome) -> list[Answer]:
    """The peaks of each axis of a chirp, largest first, with their modes at the place it was run; empty for other moves.

    Modes are those of small motions without friction. Sticking guides raise what is measured, a slack belt or a motor
    far from its rest lowers it, so that a peak moves with the size of the swing.
    """
    found = outcome.analysis.responses
    if not found:
        return []
    known = outcome.modes
    out = []
    for response in found:
        column = "xy".index(response.axis)
        felt = {id(mode): swing(outcome.system, mode, column) for mode in known}
        most = max(felt.values(), default=0.0)
        heard = [mode for mode in known if felt[id(mode)] >= FELT_SHARE * most]
        for peak in response.peaks:
            near = min(heard, key=lambda m, f=peak.frequency_hz: abs(math.log(m.frequency_hz / f)), default=None)  # type: ignore[misc]
            if near is not None and abs(peak.frequency_hz / near.frequency_hz - 1.0) > FAR_OFF:
                near = None
            out.append(Answer(response.axis, peak, near))
    return out
