"""What must hold of any machine at any place, without stepping through time."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim.machine.build import build_machine
from beltspring.sim.machine.routing import belt_path
from beltspring.sim.model.build import build_model
from beltspring.sim.model.facts import driven_axes, mixing, moving_mass, run_facts
from beltspring.sim.model.modes import modes
from beltspring.sim.model.system import System
from hypothesis import given, settings

from tests.properties.machines import places, scenarios
from tests.support import model_of
from tests.tries import examples


def place_in(system: System, share: tuple[float, float]) -> np.ndarray:
    (x0, x1), (y0, y1), _ = system.machine.reach
    return np.array([x0 + share[0] * (x1 - x0), y0 + share[1] * (y1 - y0), system.middle[2]])


def whole(system: System, tool: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Stretch of every run, m, and free length, m, with the rigid machine at a place."""
    q, theta = system.rest(tool), system.motor_command(tool)
    stretch = np.array([run.row @ q + run.command_row @ theta for run in system.runs])
    return stretch, np.array([run.length_m + run.length_row @ q for run in system.runs])


@given(scenarios(), places)
@settings(max_examples=examples(40))
def test_matrices_are_symmetric_and_mass_is_positive(scenario, share):
    system = model_of(scenario)
    q = system.rest(place_in(system, share))
    for name, matrix in (
        ("mass", system.mass),
        ("mass with motors", system.mass_with_motors),
        ("frame stiffness", system.stiffness),
        ("frame damping", system.damping),
        ("stiffness", system.linear_stiffness(q)),
        ("damping", system.linear_damping(q)),
    ):
        assert np.array_equal(matrix, matrix.T) or np.abs(matrix - matrix.T).max() <= 1e-12 * np.abs(matrix).max(), name
    scale = np.sqrt(np.diag(system.mass))
    assert np.linalg.eigvalsh(system.mass / np.outer(scale, scale)).min() > 0
    for matrix in (system.linear_stiffness(q), system.linear_damping(q)):
        values = np.linalg.eigvalsh(matrix / np.outer(scale, scale))
        assert values.min() >= -1e-9 * max(values.max(), 1.0)


@given(scenarios(), places)
@settings(max_examples=examples(40))
def test_rigid_travel_costs_no_spring_energy(scenario, share):
    system = model_of(scenario)
    tool = place_in(system, share)
    stretch, length = whole(system, tool)
    q = system.rest(tool)
    ea = np.array([run.ea_n for run in system.runs])
    energy = float(0.5 * (ea * stretch**2 / length).sum() + 0.5 * q @ system.stiffness @ q)
    assert energy < 1e-15  # J; 10 mm in one span alone would cost joules
    for motor, angle in zip(system.motors, system.motor_command(tool), strict=True):
        if motor.row is not None:
            assert motor.row @ q == pytest.approx(angle, abs=1e-12)


@given(scenarios(), places)
@settings(max_examples=examples(40))
def test_a_belt_keeps_its_length_over_the_whole_reach(scenario, share):
    machine = build_machine(scenario)
    system = build_model(machine)
    tool = place_in(system, share)
    facts = {(f.belt, f.name): f for f in run_facts(system, tool)}
    for belt in machine.belts:
        path = belt_path(machine, belt, machine.offsets(tool))
        assert path.length_m == pytest.approx(belt_path(machine, belt).length_m, abs=1e-11)
        # The rows of the dynamics say the same as the tangents at that place.
        for index, name in enumerate(path.runs):
            fact = facts[belt.name, name]
            assert fact.length_m == pytest.approx(path.run_length_m(index), abs=1e-11)
            assert fact.stiffness_n_m == pytest.approx(belt.spec.ea_n / path.run_length_m(index), rel=1e-9)


@given(scenarios())
@settings(max_examples=examples(40))
def test_mixing_times_its_inverse_is_one(scenario):
    # The inverse comes from statics, not from algebra: turn one motor by a little, let all springs settle, see where
    # the tool goes.
    system = model_of(scenario)
    n, m = system.n, len(system.motors)
    stiffness = system.linear_stiffness(np.zeros(n), motors=False)
    by_angle = np.zeros((n, m))
    for run in system.runs:
        by_angle += run.ea_n / run.length_m * np.outer(run.row, run.command_row)
    turned = [motor.row for motor in system.motors]
    inverse = np.zeros((driven_axes(system), m))
    for j, motor in enumerate(system.motors):
        theta = np.zeros(m)
        theta[j] = 1.0 / motor.radius_m  # one metre of belt
        if any(row is not None for row in turned):
            # Rotors follow their command exactly here: take their columns to the other side.
            rotors = [int(np.argmax(np.abs(row))) for row in turned if row is not None]
            rest = [i for i in range(n) if i not in rotors]
            q = np.zeros(n)
            q[rotors] = [theta[k] for k, row in enumerate(turned) if row is not None]
            q[rest] = np.linalg.solve(
                stiffness[np.ix_(rest, rest)], -stiffness[np.ix_(rest, rotors)] @ q[rotors] - by_angle[rest] @ theta
            )
        else:
            q = np.linalg.solve(stiffness, -by_angle @ theta)
        inverse[:, j] = (system.tool_rows @ q)[: len(inverse)]
    assert mixing(system) @ inverse == pytest.approx(np.eye(m), abs=1e-9)


@given(scenarios(damping=True), places)
@settings(max_examples=examples(40))
def test_every_mode_is_damped_and_none_is_rigid(scenario, share):
    system = model_of(scenario)
    found = modes(system, place_in(system, share))
    assert len(found) == system.n  # none overdamped, none free
    assert all(mode.frequency_hz > 1 and 0 < mode.damping_ratio < 1 for mode in found)


@given(scenarios())
@settings(max_examples=examples(40))
def test_moving_mass_counts_bodies_belts_and_idlers(scenario):
    # Not less than the bodies that travel, and not more than they, all belt and twice-fast idlers together.
    system = model_of(scenario)
    machine = system.machine
    for axis, mass in enumerate(moving_mass(system)):
        e = np.eye(3)[axis]
        moved = machine.offsets(machine.middle + e)
        if machine.arms:
            # Its carriages run by other ways: the platform counts whole, at most everything that moves, twice as fast.
            least = machine.body(machine.tool_body).mass_kg
            most = (
                least
                + 4 * sum(b.mass_kg for b in machine.bodies if b.driven)
                + 4 * sum(a.mass_kg for a in machine.arms)
            )
            assert least < mass < most + 20 * sum(b.spec.mass_kg_m for b in machine.belts) + 1
            continue
        bodies = sum(body.mass_kg for body in machine.bodies if abs(moved[body.name][axis]) > 0.5)
        belts = sum(belt.spec.mass_kg_m * belt_path(machine, belt).length_m for belt in machine.belts)
        idlers = sum(w.inertia_kg_m2 / w.radius_m**2 for w in machine.wheels.values())
        assert bodies - 1e-12 <= mass <= bodies + 4 * belts + 4 * idlers + 1e-12
