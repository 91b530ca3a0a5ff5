"""What the tool still does where it has been told to stand still: peak, frequency, damping, fade."""

from .ringdown import AXES, SHORTEST_S, SILENT_M, Ringdown, Ringing, find_ringdowns, worst

__all__ = ["AXES", "SHORTEST_S", "SILENT_M", "Ringdown", "Ringing", "find_ringdowns", "worst"]
