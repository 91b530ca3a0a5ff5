"""CoreXY: what everyone who has built one knows, and its stiffness and frequencies in closed form.

Kinematics: I. E. Moyer, MIT, published 2012 (from memory): dX = (dA + dB)/2, dY = (dA - dB)/2 in belt travel.
Stiffness by the energy method of Sollmann, Jouaneh and Lavender, IEEE/ASME Trans. Mechatronics 15(2), 2010, for H-frames:
K = sum of k g g' with g_A = (1, 1, -r, 0), g_B = (1, -1, 0, -r) over x, y and the two motors; numbers worked apart from
this program with J = 50 g cm2, magnetic spring 20 N m/rad, carriage 0.4 kg, carriage and gantry 1.2 kg, EA = 18 kN and
runs of 0.45 and 1.35 m.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from beltspring.sim.model.facts import mixing, run_facts
from beltspring.sim.model.modes import modes
from beltspring.sim.model.system import System
from beltspring.sim.simulate.run import run
from scipy.optimize import brentq

from tests.support import MOTORS, bare, model_of, plan_of

MASSES = {"carriage.mass_g": 400, "gantry.mass_g": 800}


def belts_of(changes: dict[str, Any]) -> tuple[System, np.ndarray]:
    """A machine, and a place for its tool, at which each belt has runs of 0.45 and 1.35 m: the reach is made to fit."""

    def at(reach_mm: float) -> System:
        return model_of(bare("corexy", MASSES | changes | {"space.x_mm": reach_mm, "space.y_mm": reach_mm}))

    def total_m(system: System) -> float:
        return sum(f.length_m for f in run_facts(system) if f.belt == "a")

    system = at(float(brentq(lambda mm: total_m(at(mm)) - 1.8, 200, 600, xtol=1e-9)))
    middle = system.middle

    def short_m(y: float) -> float:
        return min(f.length_m for f in run_facts(system, np.array([middle[0], y, middle[2]])))

    place = np.array([middle[0], float(brentq(lambda y: short_m(y) - 0.45, 0, 2 * middle[1], xtol=1e-12)), middle[2]])
    for belt in "ab":
        lengths = sorted(f.length_m for f in run_facts(system, place) if f.belt == belt)
        assert lengths == pytest.approx([0.45, 1.35], abs=1e-9)
    return system, place


def stiffness_xy(system: System, place: np.ndarray) -> np.ndarray:
    """Stiffness (2, 2) of the carriage in X and Y with the motors held, N/m."""
    at = [system.dof_names.index("carriage x"), system.dof_names.index("gantry y")]
    return system.linear_stiffness(system.rest(place))[np.ix_(at, at)]


def test_one_motor_alone_moves_at_45_degrees_both_move_straight():
    # Common practice, no source: one motor alone moves the carriage on a diagonal of 45 degrees, both the same way along
    # X, opposite ways along Y. Read off the routing: tool travel is the inverse of motor travel per tool travel.
    travel = np.linalg.inv(mixing(model_of(bare("corexy"))))
    for motor in (0, 1):
        assert abs(travel[0, motor]) == pytest.approx(0.5, abs=1e-12)  # half the belt travel, as Moyer gives it
        assert abs(travel[1, motor]) == pytest.approx(0.5, abs=1e-12)
    same, opposite = travel @ [1.0, 1.0], travel @ [1.0, -1.0]
    assert abs(same[0]) == pytest.approx(1.0, abs=1e-12)
    assert same[1] == pytest.approx(0.0, abs=1e-12)
    assert opposite[0] == pytest.approx(0.0, abs=1e-12)
    assert abs(opposite[1]) == pytest.approx(1.0, abs=1e-12)


def test_mixing_is_that_of_the_inventor():
    # dA = dX + dY, dB = dX - dY (Moyer), up to the sign of a row: which way a motor turns is the builder's choice.
    rows = mixing(model_of(bare("corexy")))
    assert rows / rows[:, :1] == pytest.approx(np.array([[1.0, 1.0], [1.0, -1.0]]), abs=1e-12)
    assert np.abs(rows[:, 0]) == pytest.approx([1.0, 1.0], abs=1e-12)


@pytest.mark.parametrize("layout", ["corexy", "moving-bed"])
def test_one_turn_of_a_motor(layout):
    # Common practice, no source: 20 teeth of 2 mm pitch carry the belt 40 mm a turn. On a CoreXY one motor alone then
    # moves the carriage by 20 mm in X and 20 mm in Y, on a Cartesian axis by 40 mm.
    system = model_of(bare(layout))
    turn = np.zeros(2)
    turn[0] = 2 * np.pi
    moved_mm = 1e3 * np.linalg.inv(system.motor_travel[:, :2]) @ turn
    expected = [20.0, 20.0] if layout == "corexy" else [40.0, 0.0]
    assert np.abs(moved_mm) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(("axis", "ratio"), [("x", 1.0), ("y", -1.0)])
def test_motors_turn_together_or_against_each_other_in_a_run(axis, ratio):
    # The same fact, out of a simulated move: 60 mm are 1.5 turns of each motor.
    scenario = bare("corexy", {"move.axis": axis, "move.size_mm": 60})
    system = model_of(scenario)
    trace = run(system, plan_of(scenario, system))
    a, b = trace.motor_rad[-1] / (2 * np.pi)
    assert abs(a) == pytest.approx(1.5, abs=1e-9)
    assert b / a == pytest.approx(ratio, abs=1e-9)


def test_stiffness_with_motors_held():
    # k_A = EA (1/0.45 + 1/1.35) = 53.333 kN/m a belt; K_xx = K_yy = k_A + k_B, K_xy = k_A - k_B.
    k = stiffness_xy(*belts_of({}))
    assert k / 1e3 == pytest.approx(np.array([[106.667, 0], [0, 106.667]]), rel=1e-5, abs=1e-9)


def test_frequencies_with_motors_held():
    system, place = belts_of({})
    assert [m.frequency_hz for m in modes(system, place)] == pytest.approx([47.451, 82.187], rel=1e-5)


def test_frequencies_with_magnetic_springs():
    system, place = belts_of(MOTORS)
    found = [m.frequency_hz for m in modes(system, place)]
    assert found == pytest.approx([45.033, 77.835, 335.403, 336.107], rel=1e-5)


def test_unequal_belts_couple_x_and_y():
    # k_B = 0.8 k_A: 44.601 and 78.208 Hz, K_xy = 10.667 kN/m; 10 N in X push the carriage -11.7 um in Y.
    system, place = belts_of({"belts.b.ea_n": 0.8 * 18000})
    k = stiffness_xy(system, place)
    assert abs(k[0, 1]) / 1e3 == pytest.approx(10.667, rel=1e-4)
    assert [m.frequency_hz for m in modes(system, place)] == pytest.approx([44.601, 78.208], rel=2e-5)
    moved = np.linalg.solve(k, [10.0, 0.0])
    assert 1e6 * abs(moved[1]) == pytest.approx(11.7, abs=0.05)
    assert np.sign(moved[1]) == -np.sign(k[0, 1])
