"""Where a chirp makes a machine answer most, beside the modes of its model."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..analyse.response import ResponsePeak
from ..model.modes import Mode, modes, swing
from .chain import Outcome

#: A mode this far from a peak (as a ratio less one) does not explain it; nor does one that hardly swings the tool.
FARTHEST, FELT = 0.25, 0.02


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
    known = modes(outcome.system, outcome.middle)
    out = []
    for response in found:
        column = "xy".index(response.axis)
        felt = {id(mode): swing(outcome.system, mode, column) for mode in known}
        most = max(felt.values(), default=0.0)
        heard = [mode for mode in known if felt[id(mode)] >= FELT * most]
        for peak in response.peaks:
            near = min(heard, key=lambda m, f=peak.frequency_hz: abs(math.log(m.frequency_hz / f)), default=None)  # type: ignore[misc]
            if near is not None and abs(peak.frequency_hz / near.frequency_hz - 1.0) > FARTHEST:
                near = None
            out.append(Answer(response.axis, peak, near))
    return out
