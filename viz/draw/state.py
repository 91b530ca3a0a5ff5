"""What a machine looks like at one instant: the record that its drawing is made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Wording = Literal["none", "letters", "full"]


@dataclass(frozen=True)
class MachineState:
    """What a machine looks like at one instant.

    tool: (3,) m.  motor_rad: rotor angle by motor name since the reference pose; where missing, what the belt says.
    tension_n: by (belt, run); None: no load known.  tension_most_n: the thickest belt of the scale.
    asked: (n, 2) path asked for, m.  laid: (k, 2) line laid so far, m.  started_at: (3,) tool position whose carriage
    outline stays dashed.  blurred: motors that turn too far in one frame for their mark to be followed.
    asked_tool: (3,) where the tool was asked to be, while `tool` is drawn further off than it is; trail: (k, 2) the places
    it was drawn at just before, m.  notes: words beside runs, by (belt, run).
    plain: belts in neutral metal, where colour belongs to something else.
    """

    tool: Array
    motor_rad: dict[str, float] = field(default_factory=dict)
    tension_n: dict[tuple[str, str], float] | None = None
    tension_most_n: float = 60.0
    asked: Array | None = None
    laid: Array | None = None
    started_at: Array | None = None
    blurred: frozenset[str] = frozenset()
    asked_tool: Array | None = None
    trail: Array | None = None
    notes: Mapping[tuple[str, str], str] = field(default_factory=dict)
    plain: bool = False
