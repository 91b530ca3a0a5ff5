"""Which part of a machine is heard: the louder axis of a run, with the mode behind its ringing, in words."""

from __future__ import annotations

from dataclasses import dataclass

from ..analyse.cause import FELT_M, Behind
from ..analyse.ringing import Ringing
from ..model.modes import Mode
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
    loud = [r for r in analysis.ringing.values() if r is not None and r.peak_m >= FELT_M and analysis.behind[r.axis]]
    top = max(loud, key=lambda r: r.peak_m, default=None)
    return None if top is None else Sounding(top, analysis.behind[top.axis])
