"""The peaks of a run's spectra by name: what is told of the ringing first, then whatever else stands out, with its cause."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..analyse.cause import Behind, behind_at, worded
from ..analyse.spectrum import Spectrum
from .chain import Outcome

#: A peak is named from this share of the tallest of both axes on.
NAMED_SHARE = 1.0 / 3.0
#: The told frequency is that of a peak this near, as a share of it: what is told is of the first three swings of one leg,
#: the spectrum is the mean of whole ring-downs.
NEAR = 0.1


@dataclass(frozen=True)
class NamedPeak:
    """A peak of a spectrum. amplitude_m: of the curve at frequency_hz.  told: whether that is the frequency told of the axis.

    fades_s: of what is told, None where nothing is.  behind: the mode that explains it.
    """

    axis: str
    frequency_hz: float
    amplitude_m: float
    told: bool
    fades_s: float | None
    behind: Behind

    @property
    def words(self) -> str:
        """ "X rings at 84 Hz", "Y also at 8.1 Hz"."""
        hz = f"{self.frequency_hz:.{1 if self.frequency_hz < 20 else 0}f} Hz"
        return f"{self.axis.upper()} rings at {hz}" if self.told else f"{self.axis.upper()} also at {hz}"


def named_peaks(outcome: Outcome) -> tuple[NamedPeak, ...]:
    """Every peak over a third of the tallest and every told frequency, the tallest first; none after a chirp."""
    analysis = outcome.analysis
    if analysis.responses:
        return ()
    spectra = {axis: s for axis, s in analysis.spectra.items() if len(s.frequency_hz)}
    tallest = max((p.amplitude_m for s in spectra.values() for p in s.peaks), default=0.0)
    known = outcome.bare_modes if spectra else []
    out = []
    for axis, s in spectra.items():
        column, ringing = "xy".index(axis), analysis.ringing.get(axis)
        told_hz = ringing.frequency_hz if ringing is not None else None
        if told_hz is not None and ringing is not None:
            first = analysis.behind.get(axis) or (behind_at(outcome.system, known, column, told_hz),)
            out.append(NamedPeak(axis, told_hz, _height(s, told_hz), True, ringing.fades_to_5_percent_s, first[0]))
        near = min(s.peaks, key=lambda p: abs(p.frequency_hz - (told_hz or -1.0)), default=None)
        for peak in s.peaks:
            hz = peak.frequency_hz
            if peak.amplitude_m < NAMED_SHARE * tallest or (
                told_hz is not None and peak is near and abs(hz - told_hz) < NEAR * told_hz
            ):
                continue
            out.append(NamedPeak(axis, hz, peak.amplitude_m, False, None, behind_at(outcome.system, known, column, hz)))
    behind = worded(outcome.system, outcome.middle, [p.behind for p in out])
    out = [replace(peak, behind=one) for peak, one in zip(out, behind, strict=True)]
    return tuple(sorted(out, key=lambda p: -p.amplitude_m))


def _height(s: Spectrum, hz: float) -> float:
    return float(np.interp(hz, s.frequency_hz, s.amplitude_m))
