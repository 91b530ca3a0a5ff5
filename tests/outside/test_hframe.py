"""H-frame against the published equations of motion.

Sollmann, Jouaneh, Lavender, Dynamic Modeling of a Two-Axis, Parallel, H-Frame-Type XY Positioning System, IEEE/ASME Trans.
Mechatronics 15(2), 2010, equations 13, 14 (stretches) and 19 (linear part), read in its public text. Their x is the bridge's
way (our Y), their y the cart's (our X). Numbers: EA = 18 kN, side runs 0.9 m (20 kN/m), far run 1.2 m (15 kN/m), bridge with
cart 1.2 kg, cart 0.4 kg, J = 50 g cm2, 20 teeth of 2 mm; frequencies worked from those equations apart from this program.
"""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim.model.facts import mixing
from beltspring.sim.model.modes import modes
from beltspring.sim.model.system import System

from tests.support import MOTORS, bare, model_of, with_runs

MASSES = {"carriage.mass_g": 400, "gantry.mass_g": 800}
EVEN = {"left": 0.9, "right": 0.9, "between": 1.2}


def hframe(motors: bool, runs: dict[str, float]) -> System:
    system = model_of(bare("hframe", MASSES | (MOTORS if motors else {})))
    return with_runs(system, {("a", name): length for name, length in runs.items()})


def published(k_left: float, k_right: float, k_far: float, magnet: float | None) -> np.ndarray:
    """Natural frequencies, Hz, of equation 19: K = sum of k g g' over (bridge, cart, motor 1, motor 2)."""
    r = 20 * 0.002 / (2 * np.pi)
    rows = np.array([[1, 1, r, 0], [1, -1, 0, -r], [-2, 0, -r, r]])
    stiffness = rows.T @ np.diag([k_left, k_right, k_far]) @ rows
    mass = np.diag([1.2, 0.4, 5e-6, 5e-6])
    if magnet is None:
        stiffness, mass = stiffness[:2, :2], mass[:2, :2]
    else:
        stiffness = stiffness + np.diag([0, 0, magnet, magnet])
    values = np.linalg.eigvals(np.linalg.solve(mass, stiffness)).real
    return np.asarray(np.sort(np.sqrt(np.maximum(values, 0))) / (2 * np.pi))


def test_mixing():
    # x = r (phi_2 - phi_1)/2, y = -r (phi_1 + phi_2)/2 (from the stretches set to zero): both motors the same way move the
    # cart, opposite ways the bridge.
    rows = mixing(model_of(bare("hframe")))
    assert np.abs(rows) == pytest.approx(np.ones((2, 2)), abs=1e-12)
    assert rows[0, 0] == pytest.approx(rows[1, 0], abs=1e-12)
    assert rows[0, 1] == pytest.approx(-rows[1, 1], abs=1e-12)


def test_frequencies_with_motors_held():
    found = [m.frequency_hz for m in modes(hframe(False, EVEN))]
    assert found == pytest.approx([45.944, 50.329], rel=1e-5)


def test_frequencies_with_magnetic_springs():
    found = [m.frequency_hz for m in modes(hframe(True, EVEN))]
    assert found == pytest.approx([43.741, 49.316, 324.852, 334.342], rel=1e-5)


@pytest.mark.parametrize("magnet", [None, 20.0])
@pytest.mark.parametrize("sides", [(0.9, 0.9), (0.7, 1.1), (1.4, 0.4)])
def test_frequencies_are_those_of_the_published_matrix(magnet, sides):
    left, right = sides
    found = [m.frequency_hz for m in modes(hframe(magnet is not None, {"left": left, "right": right, "between": 1.2}))]
    assert found == pytest.approx(published(18e3 / left, 18e3 / right, 15e3, magnet), rel=1e-6)


def test_unequal_sides_held():
    # k_l = 25.714, k_r = 16.364 kN/m: 44.533 and 53.255 Hz.
    found = [m.frequency_hz for m in modes(hframe(False, {"left": 0.7, "right": 1.1, "between": 1.2}))]
    assert found == pytest.approx([44.533, 53.255], rel=1e-5)


def test_a_force_on_the_cart():
    # 1 N on the cart, motors held: 25.0 um = 1 / (k_l + k_r).
    system = hframe(False, EVEN)
    push = system.tool_rows[0]
    moved = push @ np.linalg.solve(system.linear_stiffness(np.zeros(system.n)), push)
    assert 1e6 * moved == pytest.approx(25.0, rel=1e-6)
