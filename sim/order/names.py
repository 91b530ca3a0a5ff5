"""Every name that a price may go by."""

from __future__ import annotations

from functools import cache

from ..parts.catalogue import catalogue
from ..parts.kinds import KINDS

SIZES = ("", "-m8")
ALWAYS = (
    *("printed", "wheel", "z-drive", "motor, any", "frame, any"),
    *(f"{joint}{size}" for joint in ("bracket", "plates") for size in SIZES),
    *(f"{what}-m{size}" for what in ("screw", "slot-nut") for size in (3, 5, 8)),
)


@cache
def known_names() -> frozenset[str]:
    """Every name that any machine's order list can have."""
    parts = catalogue().parts
    found = set(ALWAYS)
    for kind in ("belts", "motors", "feet", "pulleys", "frames", "arms"):
        found |= set(parts[kind]) - {KINDS[kind].off}
    found |= {f"{name}-joint" for name in parts["arms"]}
    found |= {f"plate-{name}" for name in parts["plates"]} | {f"panel-{name}" for name in parts["panels"]}
    for name, part in parts["idlers"].items():
        found |= {f"{name}-toothed", f"{name}-smooth", f"idler-{part.value('teeth'):g}-toothed"}
    for name, part in parts["guides"].items():
        if part.words["type"] == "rods":
            size = f"{part.value('rod_diameter_mm'):g}"
            found |= {f"rod-{size}", f"bushing-{size}"}
        elif part.words["type"] == "rail":
            found |= {name, f"block-{name.rpartition('-')[2]}"}
    return frozenset(found)
