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


def mixing(system: System, tool: Array | None = None) -> Array:
    """(motors, 2): belt travel r theta per unit of tool travel in X and Y, counter-clockwise positive. From the routing alone.

    tool: (3,) m, None: mid-reach, which matters only where arms carry the tool; there a third column is that in Z.
    """
    radius = np.array([m.radius_m for m in system.motors])
    travel = system.motor_travel_at(system.middle if tool is None else tool)
    return np.asarray(radius[:, None] * travel[:, : driven_axes(system)])


def driven_axes(system: System) -> int:
    """How many of X, Y, Z the belts drive: all three where arms carry the tool, else two."""
    return 3 if system.arms else 2


def mixing_rim(system: System) -> list[tuple[tuple[float, float], Array]]:
    """((x, y) m, mixing (motors, 3)) at three points of a round reach's rim, mid-height; of no other machine.

    Farthest from a motor's own tower, where it turns most for the tool's travel.
    """
    if not system.machine.reach_round:
        return []
    (low, high), _, _ = system.machine.reach
    found = []
    for arm in system.machine.arms:
        out = np.array(arm.ends[1][1][:2]) - system.middle[:2]
        place = np.array([*(system.middle[:2] - 0.5 * (high - low) * out / np.hypot(*out)), system.middle[2]])
        found.append(((float(place[0]), float(place[1])), mixing(system, place)))
    return found


def moving_mass(system: System) -> tuple[float, ...]:
    """Mass that moves with the tool in X and in Y (on arms in Z too), kg: translating bodies with belt and idler shares,
    without rotors, as in M at mid-reach."""
    masses = []
    for axis in range(driven_axes(system)):
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
    return tuple(masses)


def held_stiffness(system: System, tool: Array) -> tuple[float | None, float | None]:
    """Force on the tool for each metre it gives way in X and in Y, N/m, motors holding, with the tool at `tool` (3,), m.

    None where nothing gives way (no spring between motor and tool). Statics of the linear model: 1 / (r K^-1 r').
    """
    stiffness = system.linear_stiffness(system.rest(tool))
    out: list[float | None] = []
    for row in system.tool_rows[:2]:
        give = float(row @ np.linalg.lstsq(stiffness, row, rcond=None)[0]) if system.n and np.any(row) else 0.0
        out.append(1.0 / give if give > 0 else None)
    return out[0], out[1]


def locked_stiffness(system: System, tool: Array) -> Array:
    """Stiffness (3, 3) at a tool on arms with its motors held and the frame still, N/m. Where carriages give way along their
    belts alone it is J' diag(1 / (1/k_b + 1/(k_p sin^2))) J (Gosselin, IEEE Trans. Robotics and Automation, 1990, from
    memory); at detail full guides and the platform's tilt give way too."""
    k = system.linear_stiffness(system.rest(tool), motors=False)
    still = ("rotor ", "frame ", "base ")
    gives = [i for i, name in enumerate(system.dof_names) if not name.startswith(still)]
    rows = system.tool_rows[:, gives]
    return np.asarray(np.linalg.inv(rows @ np.linalg.solve(k[np.ix_(gives, gives)], rows.T)))


def arm_travel(system: System) -> tuple[float, float]:
    """(most that a carriage runs per unit of level tool travel; most by which it speeds up per v^2 of a straight, even move,
    1/m) over the reach of a tool on arms: cot of the flattest arm's angle, and (1 + cot^2) / H there."""
    machine = system.machine
    ratio = bend = 0.0
    for _, xy in machine.edge():
        tool = np.array([*xy, system.middle[2]])
        offsets = machine.offsets(tool)
        for arm in machine.arms:
            (a_body, a), (b_body, b) = arm.ends
            d = np.array(a) + offsets[a_body] - np.array(b) - offsets[b_body]
            level = float(np.hypot(d[0], d[1])) / d[2]
            ratio, bend = max(ratio, level), max(bend, (1 + level**2) / d[2])
    return float(ratio), float(bend)
