"""The first-order band of natural frequencies: which springs of a scenario are uncertain, and what that does to its modes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..machine.build import design_of
from ..model.bands import Change, frequency_bands
from ..model.modes import Mode
from ..model.system import System
from ..parts.design import Drawn, Uncertain
from ..scenario.schema import Scenario

Array = NDArray[np.float64]

#: A step small enough that a design changes in proportion, in sigmas of a number (a band is two of them on either side).
STEP = 1e-3
BAND_SIGMA = 2.0
#: Keys of the file and of the catalogue that make a spring stiffer or softer.
SPRINGS = frozenset(
    {
        "ea_n", "holding_torque_nm", "rated_current_a", "current_a", "stiffness_n_per_mm", "stiffness_nm_per_rad",
        "i_strong_mm4", "i_weak_mm4", "torsion_mm4", "end_n_per_mm", "screw_n_per_mm", "shear_gpa", "elastic_gpa",
        "joint_nm_per_rad", "other_size", "stiffness_x_n_per_mm", "stiffness_y_n_per_mm", "stiffness_vertical_n_per_mm",
        "stiffness_sideways_n_per_mm",
    }
)  # fmt: skip


def spring_changes(scenario: Scenario, system: System) -> list[Change]:
    """For each uncertain thing about the springs the design with it a step lower, and a step higher."""
    things: dict[tuple[str, ...], list[Uncertain]] = {}
    for number in system.machine.design.uncertain:
        if number.of[-1].rpartition(".")[2] in SPRINGS:
            things.setdefault(number.draw, []).append(number)
    return [
        (
            design_of(scenario, _moved(together, -STEP), told=False),
            design_of(scenario, _moved(together, STEP), told=False),
        )
        for together in things.values()
    ]


def _moved(numbers: Sequence[Uncertain], sigmas: float) -> Drawn:
    drawn = Drawn()
    for number in numbers:
        drawn.put(number, number.at(sigmas))
    return drawn


def mode_bands(scenario: Scenario, system: System, places: Sequence[tuple[Array, Sequence[Mode]]]) -> list[Array]:
    """(low, high) of the modes at each place, (k, 2) Hz: 19 of 20 machines, to first order. places: (3,) m, and its modes."""
    changes = spring_changes(scenario, system)
    return [frequency_bands(system, place, modes, changes, STEP) for place, modes in places]
