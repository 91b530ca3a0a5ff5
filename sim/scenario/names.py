"""What is built: the only lists of layouts, details, patterns and shapers that a scenario may name.

A name joins its tuple in the same change that builds it, so that nothing is accepted or listed before it works.
"""

from __future__ import annotations

LAYOUTS: tuple[str, ...] = ("corexy", "hframe", "moving-bed", "box", "delta")
DETAILS: tuple[str, ...] = ("simple", "full")
PATTERNS: tuple[str, ...] = (
    "step",
    "square",
    "zigzag",
    "circle",
    "star",
    "acceleration-ladder",
    "speed-ladder",
    "raster",
    "chirp",
)
SHAPERS: tuple[str, ...] = ("zero-vibration", "zero-slope", "zero-curvature", "one-hump", "two-hump")
#: Their short published names, as some write them -> how they are called here.
SHORT_SHAPERS: dict[str, str] = {
    "zv": "zero-vibration",
    "zvd": "zero-slope",
    "zvdd": "zero-curvature",
    "ei": "one-hump",
    "ei-two-hump": "two-hump",
    "two-hump-ei": "two-hump",
}
KEEPS: tuple[str, ...] = ("auto", "all", "thinned")
MICROSTEPS: tuple[int, ...] = (1, 2, 4, 8, 16, 32, 64, 128, 256)
# Choices that `check` judges a machine by.
ENDS: tuple[str, ...] = ("supported", "clamped", "built-in")
STEPPING: tuple[str, ...] = ("smooth", "steps")
Z_DRIVES: tuple[str, ...] = ("screw", "belt")
SHAFTS: tuple[str, ...] = ("h6", "h7", "h8", "h9", "h10", "h11")
PROFILES: tuple[str, ...] = ("curved", "trapezoid")
AT_TEETH: tuple[str, ...] = ("toothed", "smooth")
SLOTS: tuple[str, ...] = ("v", "plain")
BORES: tuple[str, ...] = ("round", "cross")
HEATERS: tuple[str, ...] = ("none", "low-voltage", "mains")

# Keys of [motion] and [move] whose work is not built yet; a scenario may give them only their "off" value.
# dotted key -> what is missing, in words.
NOT_BUILT: dict[str, str] = {}
