"""What the tool still does where it has been told to stand still: peak, frequency, damping, fade."""

from .ringdown import SILENT_M, Ringdown, Ringing, find_ringdowns, worst
from .stills import AXES, SHORTEST_S, Spot, Still, largest_peak, settled, spots

__all__ = [
    "AXES",
    "SHORTEST_S",
    "SILENT_M",
    "Ringdown",
    "Ringing",
    "Spot",
    "Still",
    "find_ringdowns",
    "largest_peak",
    "settled",
    "spots",
    "worst",
]
