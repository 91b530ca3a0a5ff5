"""From a trace to judgement: ringing, spectra, path error, the reading in words."""

from .analysis import Analysis, analyse
from .path import PathError
from .ringing import Ringdown, Ringing
from .ringing.decay import Decay, judge_decay
from .spectrum import Peak, Spectrum

__all__ = [
    "Analysis",
    "Decay",
    "PathError",
    "Peak",
    "Ringdown",
    "Ringing",
    "Spectrum",
    "analyse",
    "judge_decay",
]
