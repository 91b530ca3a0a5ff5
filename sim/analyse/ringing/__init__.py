"""What the tool still does where it has been told to stand still: peak, frequency, damping, fade."""

from .ringdown import SILENT_M, Ringdown, Ringing, find_ringdowns, worst
from .stills import LEVEL, SHORTEST_S, largest_peak

__all__ = ["LEVEL", "SHORTEST_S", "SILENT_M", "Ringdown", "Ringing", "find_ringdowns", "largest_peak", "worst"]
