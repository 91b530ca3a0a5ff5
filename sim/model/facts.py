"""Facts of a machine that follow from its model without simulating: runs, mixing, moving masses. SI units."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .system import Array, System


@dataclass(frozen=True)
class RunFact:
    """One belt run with the tool at a place: free length m, stiffness EA / L N/m."""

    belt: str
    name: str
    length_m: float
    stiffness_n_m: float


def run_facts(system: System, tool: Array | None = None) -> list[RunFact]:
    """Every run's length and stiffness with the tool at `tool` (3,), m; None: the middle of the reach."""
    q = np.zeros(system.n) if tool is None else system.rest(tool)
    facts = []
    for run in system.runs:
        # Ideal motors have no coordinate, but free length depends on the bodies alone.
        facts.append(RunFact(run.belt, run.name, run.length(q), run.stiffness(q)))
    return facts


def mixing(system: System) -> Array:
    """(motors, 2): belt travel r theta per unit of tool travel in X and Y, counter-clockwise positive. From the routing alone."""
    radius = np.array([m.radius_m for m in system.motors])
    return np.asarray(radius[:, None] * system.motor_travel[:, :2])


def moving_mass(system: System) -> tuple[float, float]:
    """Mass that moves with the tool in X and in Y, kg: translating bodies with belt and idler shares, without rotors, as in M."""
    masses = []
    for axis in range(2):
        angles = []
        k = system.n
        # mass_with_motors continues q by the angles of the ideal motors, in motor order.
        for j, motor in enumerate(system.motors):
            if motor.row is None:
                angles.append(system.motor_travel[j, axis])
                k += 1
        travel = np.concatenate([system.travel[:, axis], angles])
        total = float(travel @ system.mass_with_motors @ travel)
        for j, motor in enumerate(system.motors):
            if motor.spec is not None:
                total -= motor.spec.rotor_inertia_kg_m2 * float(system.motor_travel[j, axis]) ** 2
        masses.append(total)
    return masses[0], masses[1]
