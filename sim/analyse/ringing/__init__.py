"""What the tool still does where it has been told to stand still: peak, frequency, damping, fade."""

from .ringdown import SILENT_M, Envelope, Ringdown, Ringing, envelope, find_ringdowns, no_damping, ringdown_at, worst
from .stills import AXES, SHORTEST_S, Spot, Still, largest_peak, settled, spots

__all__ = [
    "AXES",
    "SHORTEST_S",
    "SILENT_M",
    "Envelope",
    "Ringdown",
    "Ringing",
    "Spot",
    "Still",
    "envelope",
    "find_ringdowns",
    "largest_peak",
    "no_damping",
    "ringdown_at",
    "settled",
    "spots",
    "worst",
]
