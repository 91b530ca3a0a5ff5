"""The settings that matter most to how a machine rings: what the window offers to change, with ranges and words.

Ranges are ours: wide enough for desk machines and large ones. The scenario file may say more than a slider can.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from .controls.slider import Range


@dataclass(frozen=True)
class Setting:
    """One number of the scenario. worth: file units for each unit shown."""

    key: str
    label: str
    group: str
    range: Range
    tip: str
    worth: float = 1.0

    def shown(self, value: Any) -> float | None:
        """A file value in the unit shown; None if it is no number."""
        return float(value) / self.worth if isinstance(value, (int, float)) and not isinstance(value, bool) else None

    def file_value(self, value: float) -> float:
        """What is written into the scenario."""
        return round(value * self.worth, 9)


SETTINGS = (
    Setting(
        "belts.ea_n", "Belt stiffness", "Belts",
        Range(3.0, 80.0, "kN", 0.1, 1, True, (("N", 1e-3),)),
        "EA of a belt: the force that would double its length, if it could. A higher value makes it a stiffer spring.",
        1000.0,
    ),
    Setting(
        "belts.pretension_n", "Pretension", "Belts", Range(1.0, 80.0, "N", 0.1, 1, True),
        "Tension of a belt at rest. A higher value keeps it from going slack in a ramp, and loads motor shafts more.",
    ),
    Setting(
        "carriage.mass_g", "Carriage mass", "Moving parts", Range(80.0, 2000.0, "g", 1.0, 0, True, (("kg", 1000.0),)),
        "Everything that travels on the gantry with the tool. A higher value rings lower and larger.",
    ),
    Setting(
        "gantry.mass_g", "Gantry mass", "Moving parts", Range(80.0, 4000.0, "g", 1.0, 0, True, (("kg", 1000.0),)),
        "The beam that carries the carriage. A higher value makes Y ring lower and larger where the gantry travels in Y.",
    ),
    Setting(
        "motion.acceleration_mm_s2", "Acceleration", "Move",
        Range(200.0, 30000.0, "mm/s²", 10.0, 0, True, (("m/s²", 1000.0),)),
        "How fast the speed may change. A higher value saves time and rings more.",
    ),
    Setting(
        "motion.speed_mm_s", "Speed", "Move", Range(10.0, 600.0, "mm/s", 1.0, 0, True, (("m/s", 1000.0),)),
        "Speed along the path between the ramps. A higher value spreads the ripples of a print further apart.",
    ),
)  # fmt: skip


@dataclass(frozen=True)
class PathChoice:
    """One entry of the path list. keys: what it writes into [move]; empty: as in the scenario."""

    label: str
    keys: dict[str, Any]


PATHS = (
    PathChoice("Square", {"move.pattern": "square"}),
    PathChoice("Zigzag", {"move.pattern": "zigzag"}),
    PathChoice("Circle", {"move.pattern": "circle"}),
    PathChoice("Step in X", {"move.pattern": "step", "move.axis": "x"}),
    PathChoice("Step in Y", {"move.pattern": "step", "move.axis": "y"}),
    PathChoice("Step in X and Y", {"move.pattern": "step", "move.axis": "xy"}),
)
