"""Belt spans and what comes near them, worked out once for all designs of the same shape.

Where things stand and how far they reach does not depend on what they weigh, how stiff they are or what they are made of:
designs that differ in such numbers alone are looked at together.
"""

from __future__ import annotations

import pickle
import threading
from collections.abc import Hashable
from dataclasses import fields, replace
from typing import Any

from ..machine.machine import Machine
from .clearance import Nearest, nearest_pairs

MOST = 16
_kept: dict[Hashable, list[Nearest]] = {}
_lock = threading.Lock()

#: Numbers that move nothing out of its place, by the record they stand in; everything else counts as a length.
SHAPELESS: dict[str, dict[str, Any]] = {
    "Body": {"mass_kg": 0.0, "centre": (0.0, 0.0, 0.0), "inertia": (0.0, 0.0, 0.0), "mass_note": ""},
    "GuideSpec": {
        "friction_n": 0.0, "friction_static_n": 0.0, "stribeck_m_s": 0.0, "presliding_m": 0.0, "mover_mass_kg": 0.0,
        "line_mass_kg_m": 0.0, "stiffness_n_m": 0.0, "stiffness_nm_rad": 0.0, "damping_ratio": 0.0, "preload_n": 0.0,
    },
    "BeltSpec": {
        "part": "", "cord": "", "ea_n": 0.0, "pretension_n": 0.0, "damping": 0.0, "mass_kg_m": 0.0, "working_tension_n": 0.0,
        "min_pulley_teeth": 0,
    },
    "Arm": {"mass_kg": 0.0, "stiffness_n_m": 0.0, "damping_ratio": 0.0},
}  # fmt: skip


#: Of a machine: what is taken in pieces below, and what moves nothing.
TOLD_APART = (
    *("title", "design", "bodies", "belts", "motors", "arms"),
    *("frame_stiffness", "frame_damping_ratio", "notes"),
)


def nearest_of(machine: Machine) -> list[Nearest]:
    """What `clearance.nearest_pairs` finds; a list not to be changed."""
    key = shape_key(machine)
    with _lock:
        found = _kept.get(key)
    if found is None:
        found = nearest_pairs(machine)
        with _lock:
            _kept[key] = found
            while len(_kept) > MOST:
                _kept.pop(next(iter(_kept)))
    return found


def shape_key(machine: Machine) -> Hashable:
    """What is equal where all places and sizes are."""
    bodies = [replace(_bare(b), guide=None if b.guide is None else _bare(b.guide)) for b in machine.bodies]
    belts = [replace(b, spec=_bare(b.spec)) for b in machine.belts]
    motors = [replace(m, spec=None) for m in machine.motors]
    rest = {
        f.name: getattr(machine, f.name)
        for f in fields(machine)
        if f.name
        not in (
            "title",
            "design",
            "bodies",
            "belts",
            "motors",
            "arms",
            "frame_stiffness",
            "frame_damping_ratio",
            "notes",
        )
    }
    arms = [_bare(arm) for arm in machine.arms]
    return pickle.dumps((bodies, belts, motors, arms, machine.design.idlers.width_m, rest))


def _bare(record: Any) -> Any:
    """A record without the numbers that move nothing out of its place."""
    return replace(record, **SHAPELESS[type(record).__name__])
