"""H-frame and CoreXY at detail full against Sollmann's equations and against statics worked by hand.

Sollmann, Jouaneh, Lavender, Dynamic Modeling of a Two-Axis, Parallel, H-Frame-Type XY Positioning System, IEEE/ASME
Trans. Mechatronics 15(2), 2010, doi 10.1109/TMECH.2009.2020823: the stretches of eqs. 13-14 and the equations of motion
(19). Its bridge x is our gantry in Y, its cart y our carriage in X. The numbers (EA 18 kN, masses, lengths) are ours.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import sympy
from beltspring.sim.machine.machine import Machine
from beltspring.sim.model.modes import modes
from beltspring.sim.model.system import System
from scipy.linalg import eigh

from tests.full.machines import MOTORS, rigid, rigid_model
from tests.support import with_runs

R = 6.366198e-3  # pitch radius of 20 teeth of 2 mm, m
MASSES = {"carriage.mass_g": 400, "gantry.mass_g": 800}
EQUAL = {("a", "left"): 0.9, ("a", "right"): 0.9, ("a", "between"): 1.2}  # 20, 20 and 15 kN/m
UNEQUAL = {("a", "left"): 0.7, ("a", "right"): 1.1, ("a", "between"): 1.2}  # 25.714, 16.364 and 15 kN/m


def hframe(lengths: dict[tuple[str, str], float], motors: bool) -> System:
    return with_runs(rigid_model("hframe", MASSES | (MOTORS if motors else {})), lengths)


def frequencies(system: System, stiffness: np.ndarray) -> np.ndarray:
    values = eigh(stiffness, system.mass, eigvals_only=True)
    return np.sqrt(np.abs(values)) / (2 * np.pi)


@pytest.mark.parametrize(
    ("lengths", "expected"),
    [
        # sqrt((2 k + 4 k_b) / M_bridge) / 2 pi and sqrt(2 k / M_cart) / 2 pi
        (EQUAL, (45.944, 50.329)),
        # unequal sides couple both axes: the two roots of the 2 x 2 problem
        (UNEQUAL, (44.533, 53.255)),
    ],
)
def test_frequencies_with_motors_held(lengths, expected):
    found = [m.frequency_hz for m in modes(hframe(lengths, motors=False))]
    assert found == pytest.approx(expected, rel=1e-4)


def test_frequencies_with_free_motors():
    # Two rigid motions and two elastic modes; 5e-6 kg m2 a rotor.
    system = hframe(EQUAL, motors=True)
    found = frequencies(system, system.linear_stiffness(np.zeros(system.n), motors=False))
    assert found[:2] == pytest.approx([0.0, 0.0], abs=1e-2)
    assert found[2:] == pytest.approx([81.483, 111.251], rel=1e-5)


def test_frequencies_with_magnetic_springs():
    found = [m.frequency_hz for m in modes(hframe(EQUAL, motors=True))]
    assert found == pytest.approx([43.741, 49.316, 324.852, 334.342], rel=1e-5)


def test_a_force_on_the_cart():
    # F / (k_l + k_r), motors held: 1 N gives 25 um.
    system = hframe(EQUAL, motors=False)
    push = system.tool_rows[0]
    moved = np.linalg.solve(system.linear_stiffness(np.zeros(system.n)), push)
    assert float(system.tool_rows[0] @ moved) == pytest.approx(25.0e-6, rel=1e-9)


def sollmann() -> tuple[sympy.Matrix, tuple[sympy.Symbol, ...]]:
    """K of eq. (19), its lines as printed, in (phi1, phi2, x, y)."""
    r, kl, kr, kb = sympy.symbols("r k_l k_r k_b", positive=True)
    x, y, p1, p2 = sympy.symbols("x y phi1 phi2")
    lines = [
        -(kl + 2 * kb) * r * x - kl * r * y - (kb + kl) * r**2 * p1 + kb * r**2 * p2,
        (kr + 2 * kb) * r * x - kr * r * y + kb * r**2 * p1 - (kb + kr) * r**2 * p2,
        -(kr + kl + 4 * kb) * x + (kr - kl) * y - (kl + 2 * kb) * r * p1 + (kr + 2 * kb) * r * p2,
        (kr - kl) * x - (kr + kl) * y - kl * r * p1 - kr * r * p2,
    ]
    return -sympy.Matrix(lines).jacobian(sympy.Matrix([p1, p2, x, y])), (r, kl, kr, kb)


def test_equation_19_follows_from_its_own_stretches():
    # The oracle itself: V = sum k s^2 / 2 with the stretches of eqs. 13-14 has the Hessian of eq. (19).
    k, (r, kl, kr, kb) = sollmann()
    x, y, p1, p2 = sympy.symbols("x y phi1 phi2")
    v = (kl * (p1 * r + x + y) ** 2 + kr * (-p2 * r + x - y) ** 2 + kb * (-p1 * r + p2 * r - 2 * x) ** 2) / 2
    assert sympy.simplify(sympy.hessian(v, (p1, p2, x, y)) - k) == sympy.zeros(4)


@pytest.mark.parametrize("lengths", [EQUAL, UNEQUAL])
def test_stiffness_is_that_of_equation_19(lengths):
    # Our coordinates are rotor a, rotor b, gantry, carriage; each may run the other way than the paper's.
    system = hframe(lengths, motors=True)
    k, symbols = sollmann()
    stiff = [18000 / lengths["a", name] for name in ("left", "right", "between")]
    printed = np.array(k.subs(dict(zip(symbols, (R, *stiff), strict=True))), dtype=float)
    ours = system.linear_stiffness(np.zeros(system.n), motors=False)
    best = min(
        np.abs((np.outer(s, s) * ours - printed) / np.sqrt(np.outer(np.diag(printed), np.diag(printed)))).max()
        for s in itertools.product((1, -1), repeat=4)
    )
    assert best < 1e-6  # R above has seven figures
    assert system.mass == pytest.approx(np.diag([5e-6, 5e-6, 1.2, 0.4]), abs=1e-15)


# Racking. The gantry turns on two blocks (one on each side rail), each 5 kN m/rad against turning and as hard as the file
# allows across: 10 kN m/rad in all. Everything else is rigid; motors hold.
TURNS = {
    "carriage.width_mm": 10,
    "gantry.guide": "rail-15",
    "gantry.stiffness_nm_per_rad": 5000,
    "gantry.stiffness_n_per_mm": 1_000_000,
    "gantry.friction_n": 0,
    "belts.pretension_n": 60,
}
#: The carriage on a rail as hard as the file allows, so that its weight acts where it stands.
CARRIED = {
    "carriage.guide": "rail-15",
    "carriage.stiffness_n_per_mm": 1_000_000,
    "carriage.stiffness_nm_per_rad": 10_000_000,
    "carriage.friction_n": 0,
}


def lanes(machine: Machine) -> tuple[float, float]:
    """Where the H-frame's belt runs along Y at the left and at the right, m."""
    left, right = machine.wheels["gantry front left"], machine.wheels["gantry front right"]
    return left.centre[0] - left.radius_m, right.centre[0] + right.radius_m


def turned(system: System, force: np.ndarray, at: float) -> float:
    """Angle of the gantry about Z under a generalised force with the carriage at x = at (m from mid-reach), rad."""
    q = system.travel @ np.array([at, 0.0, 0.0])
    moved = np.linalg.solve(system.linear_stiffness(q), force)
    return float(moved[system.dof_names.index("gantry about z")])


def test_yaw_of_the_h_frame_under_its_own_cart():
    # A cart that accelerates along the gantry pulls one side of the belt and slackens the other: T_r - T_l = m a, a couple
    # m a W / 2 on the gantry (statics of the free bodies). 0.4 kg at 5 m/s2, W = 0.35 m: 0.350 N m; on 10 kN m/rad
    # 35 urad, 5.25 um at 150 mm.
    trial = rigid("hframe", TURNS | MASSES)
    x_mm = 350 - (np.diff(lanes(trial))[0] - 0.4) * 1e3
    system = rigid_model("hframe", TURNS | MASSES | {"space.x_mm": float(x_mm)})
    left, right = lanes(system.machine)
    assert right - left == pytest.approx(0.350, rel=1e-12)
    pull = np.zeros(system.n)
    pull[system.dof_names.index("carriage x")] = 0.4 * 5.0
    yaw = abs(turned(system, pull, 0.0))
    assert yaw == pytest.approx(35e-6, rel=1e-6)
    assert 0.150 * yaw == pytest.approx(5.25e-6, rel=1e-6)


A_Y, OFF = 5.0, 0.100  # m/s2; carriage off the middle of the gantry, m


def inertial(system: System) -> np.ndarray:
    """Force of all bodies' inertia against an acceleration A_Y in Y: M times the rigid travel."""
    return np.asarray(-A_Y * system.mass @ (system.travel @ np.array([0.0, 1.0, 0.0])))


def test_racking_under_the_same_move_in_y():
    # The carriage stands 100 mm off the middle while the gantry accelerates in Y: a couple m_c a x_c.
    changes = TURNS | MASSES | CARRIED
    h = rigid_model("hframe", changes)
    # H-frame: nothing pushes the carriage along the gantry, so both side runs pull alike and the belt bears none of it.
    h_yaw = turned(h, inertial(h), OFF)
    assert abs(h_yaw) == pytest.approx(0.4 * A_Y * OFF / 10e3, rel=1e-5)

    # CoreXY: each belt has one run at either side; turning the gantry by phi stretches both of a belt's runs alike, by
    # the levers of their lanes. Stretches (carriage x, gantry y, phi), by hand from the routing: belt a's short run
    # passes the left lane to the front, its long one the right lane to the rear; belt b mirrored.
    c = rigid_model("corexy", changes)
    wheels, middle = c.machine.wheels, c.machine.middle[0]
    near = middle - (wheels["gantry a near"].centre[0] - wheels["gantry a near"].radius_m)
    far = wheels["gantry a far"].centre[0] + wheels["gantry a far"].radius_m - middle
    stretch = np.array([[1, 1, -near], [-1, -1, -far], [-1, 1, near], [1, -1, far]])
    at = c.travel @ np.array([OFF, 0.0, 0.0])
    lengths = {(r.belt, r.name): float(r.length_m + r.length_row @ at) for r in c.runs}
    stiff = [18000 / lengths[run] for run in (("a", "left"), ("a", "right"), ("b", "right"), ("b", "left"))]
    k = (stretch.T * stiff) @ stretch + np.diag([0.0, 0.0, 10e3])
    by_hand = np.linalg.solve(k, -A_Y * np.array([0.0, 1.2, 0.4 * OFF]))
    c_yaw = turned(c, inertial(c), OFF)
    assert c_yaw == pytest.approx(by_hand[2], rel=1e-4)
    # Crossed belts help to hold the gantry square, a single one does not.
    assert abs(c_yaw) < 0.8 * abs(h_yaw)
