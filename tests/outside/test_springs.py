"""Belts as lengths and as springs, against formulas one can work by hand. Sources stand at each check.

The belt of most checks: pitch 2 mm, 20 teeth, EA = 18 kN (a round number of ours). Machines are described in the file's
words and go through parts, machine and model.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.machine.machine import Belt, Clamp, Machine, Wheel, Wrap
from beltspring.sim.machine.routing import Arc, BeltPath, belt_path, teeth_in_mesh
from beltspring.sim.model.facts import run_facts
from beltspring.sim.model.forces import Forces
from beltspring.sim.model.modes import modes
from beltspring.sim.model.system import System

from tests.support import bare, machine_of, model_of, shipped, with_runs


def two_pulleys(centres_m: float, first: int, second: int) -> BeltPath:
    """A closed belt over two pulleys, cut at a point of its lower span, as the routing sees it."""
    machine: Machine = machine_of(bare("moving-bed"))
    spec, body = machine.belts[0].spec, machine.bodies[0].name
    r1, r2 = (z * spec.pitch_m / (2 * np.pi) for z in (first, second))
    lean = float(np.arcsin((r1 - r2) / centres_m))  # of the lower span, from the tangent condition
    at = (r1 * np.sin(lean) + 0.02 * np.cos(lean), -r1 * np.cos(lean) + 0.02 * np.sin(lean), 0.0)
    wheels = {
        "first": Wheel("first", "toothed idler", body, (0.0, 0.0, 0.0), r1, first),
        "second": Wheel("second", "toothed idler", body, (centres_m, 0.0, 0.0), r2, second),
    }
    wraps = (Wrap("second", 1), Wrap("first", 1))
    belt = Belt("x", Clamp("start", body, at), wraps, Clamp("end", body, at), spec, "left", 0)
    return belt_path(replace(machine, wheels=wheels, belts=(belt,)), belt)


def arc_on(path: BeltPath, wheel: str) -> Arc:
    return next(p for p in path.pieces if isinstance(p, Arc) and p.wheel == wheel)


@pytest.mark.parametrize(("teeth", "diameter_mm"), [(20, 12.732395), (16, 10.185916), (36, 22.918312)])
def test_pitch_diameter(teeth, diameter_mm):
    # d = z p / pi: Timing Belt Theory (Gates Mectrol), eq. (1).
    machine = machine_of(bare("moving-bed", {"motors.pulley_teeth": teeth}))
    for motor in machine.motors:
        assert 2e3 * machine.wheels[motor.wheel].radius_m == pytest.approx(diameter_mm, rel=1e-7)


def test_length_of_a_belt_over_two_equal_pulleys():
    # L = 2 C + z p: two half circles make one pulley (plane geometry). 300 mm, 20/20 teeth of 2 mm: 640 mm, 320 teeth.
    path = two_pulleys(0.300, 20, 20)
    assert path.length_m == pytest.approx(0.640, abs=1e-12)
    assert teeth_in_mesh(arc_on(path, "first"), 20) == pytest.approx(10, abs=1e-9)


def test_length_and_wrap_over_two_unequal_pulleys():
    # L = 2 sqrt(C^2 - (R - r)^2) + pi (R + r) + 2 (R - r) asin((R - r)/C), wrap of the small one pi - 2 asin((R - r)/C),
    # teeth in mesh z wrap / 2 pi: plane geometry, the subject of ISO 13050 Annex B (by its title; text not seen).
    path = two_pulleys(0.100, 36, 16)
    assert 1e3 * path.length_m == pytest.approx(252.405422, abs=1e-6)
    small = arc_on(path, "second")
    assert np.degrees(abs(small.sweep_rad)) == pytest.approx(172.69994, abs=1e-5)
    assert teeth_in_mesh(small, 16) == pytest.approx(7.67555, abs=1e-5)


def test_a_skewed_span_changes_the_path_as_it_shortens():
    # A span s with a skew e is e^2 / (2 s) longer than s (first term of the binomial series): 1 mm, 300 -> 50 mm: 8.333 um.
    machine = machine_of(bare("moving-bed"))
    spec, body = machine.belts[0].spec, machine.bodies[0].name

    def excess_m(s: float) -> float:
        belt = Belt("x", Clamp("start", body, (0, 0, 0)), (), Clamp("end", body, (s, 1e-3, 0)), spec, "left", 0)
        return belt_path(replace(machine, belts=(belt,)), belt).length_m - s

    assert 1e6 * (excess_m(0.050) - excess_m(0.300)) == pytest.approx(8.333, rel=1e-3)


def axis(ea_n: float, x_mm: float) -> tuple[System, float]:
    """A bare moving-bed machine whose X belt has 1 m of free run, and the left run's length with the tool at x, m.

    Free run = left + right = 2 X + w + 150 mm for a reach X and a carriage w wide; 2 * 400 + 50 + 150 = 1000 mm.
    """
    system = model_of(bare("moving-bed", {"belts.ea_n": ea_n, "carriage.mass_g": 500}))
    lengths = {f.name: f.length_m for f in run_facts(system, np.array([x_mm / 1e3, 0.2, 0.1])) if f.belt == "x"}
    assert sum(lengths.values()) == pytest.approx(1.000, abs=1e-12)
    return system, lengths["left"]


def stiffness_x(system: System, x_m: float) -> float:
    """Stiffness of the carriage in X on its belt with the motors held, N/m, from the model."""
    q = system.rest(np.array([x_m, 0.2, 0.1]))
    i = system.dof_names.index("carriage x")
    return float(system.linear_stiffness(q)[i, i])


@pytest.mark.parametrize(("a_mm", "k_kn_m"), [(300, 89.0476), (100, 207.778)])
def test_stiffness_of_a_belt_loop(a_mm, k_kn_m):
    # k(a) = EA (1/a + 1/(2L - a)), two springs EA/L side by side: statics of an elastic bar (any strength of materials
    # text). EA = 18.7 kN, 1 m in all.
    x = a_mm - 32.5
    system, left = axis(18700, x)
    assert left == pytest.approx(a_mm / 1e3, abs=1e-12)
    assert stiffness_x(system, x / 1e3) / 1e3 == pytest.approx(k_kn_m, rel=1e-5)


def test_stiffness_of_a_belt_loop_at_its_softest():
    # The same formula at a = L, where it is least: 4 EA / 2L = 74.800 kN/m for 18.7 kN and 0.5 m + 0.5 m.
    system, _ = axis(18700, 200)
    even = with_runs(system, {("x", "left"): 0.5, ("x", "right"): 0.5})
    assert stiffness_x(even, 0.2) / 1e3 == pytest.approx(74.800, rel=1e-6)


@pytest.mark.parametrize(("ea_n", "k_kn_m", "f_hz"), [(18000, 96.000, 69.738), (45000, 240.000, 110.266)])
def test_frequency_of_a_carriage_on_its_belt(ea_n, k_kn_m, f_hz):
    # f = sqrt(k/m) / 2 pi with k(a) above; motor locked, 0.5 kg, 0.25 m and 0.75 m of belt (elementary mechanics).
    system, left = axis(ea_n, 217.5)
    assert left == pytest.approx(0.25, abs=1e-12)
    assert stiffness_x(system, 0.2175) / 1e3 == pytest.approx(k_kn_m, rel=1e-9)
    found = [m.frequency_hz for m in modes(system, np.array([0.2175, 0.2, 0.1])) if m.tool_share[0] != 0]
    assert found == pytest.approx([f_hz], rel=1e-5)


@pytest.mark.parametrize("ea_n", [18000, 45000])
def test_frequency_at_the_softest_place(ea_n):
    # The same at a = L = 0.5 m: 60.395 and 95.493 Hz.
    system, _ = axis(ea_n, 200)
    even = with_runs(system, {("x", "left"): 0.5, ("x", "right"): 0.5})
    found = [m.frequency_hz for m in modes(even) if m.tool_share[0] != 0]
    assert found == pytest.approx([{18000: 60.395, 45000: 95.493}[ea_n]], rel=1e-5)


def tensions_under(system: System, push_n: float) -> tuple[float, float, float]:
    """Carriage displacement m and tensions (left, right) N, when a force pushes it in X and the motors are held.

    Found by bisection on the engine's own force law: the place where the belts push back as hard.
    """
    forces = Forces(system)
    m = len(system.motors)
    still = np.zeros(m)
    i = system.dof_names.index("carriage x")
    mass = system.mass[i, i]

    def belts(x: float) -> tuple[float, np.ndarray]:
        q = np.zeros(system.n)
        q[i] = x
        _, acceleration, tension, _ = forces(q, np.zeros(system.n), still, still, still, np.zeros(0), np.zeros(0))
        return float(acceleration[i] * mass), tension

    low, high = (0.0, 0.1) if push_n >= 0 else (-0.1, 0.0)
    for _ in range(200):
        mid = (low + high) / 2
        low, high = (mid, high) if belts(mid)[0] + push_n > 0 else (low, mid)
    tension = belts(low)[1]
    left, right = (i for i, r in enumerate(system.runs) if r.belt == "x")
    return low, float(tension[left]), float(tension[right])


def short_and_long() -> System:
    """EA = 18 kN, runs of 0.25 and 0.75 m (k = 72 and 24 kN/m), pretension 20 N."""
    system = model_of(bare("moving-bed", {"belts.pretension_n": 20}))
    return with_runs(system, {("x", "left"): 0.25, ("x", "right"): 0.75})


def test_a_force_is_shared_by_stiffness():
    # Both sides taut: dT_i = +-F k_i / (k_1 + k_2) (two springs side by side). 5 N: +3.75 N and -1.25 N.
    x, left, right = tensions_under(short_and_long(), 5.0)
    assert left == pytest.approx(20 + 3.75, rel=1e-9)
    assert right == pytest.approx(20 - 1.25, rel=1e-9)
    assert x == pytest.approx(5.0 / 96e3, rel=1e-9)


@pytest.mark.parametrize(
    ("sign", "slack_run", "force_n", "k_left"), [(1, "right", 80.0, 72e3), (-1, "left", 26.6667, 24e3)]
)
def test_slack_begins_at_the_force_it_should(sign, slack_run, force_n, k_left):
    # The side whose tension falls goes slack at F = T_0 (k_1 + k_2)/k_2 (its share of F eats its pretension): 80 N when
    # the short side pulls, 26.667 N when the long one does. Beyond it only the other spring is left.
    system = short_and_long()
    for share in (0.999, 1.001):
        _, left, right = tensions_under(system, sign * force_n * share)
        slack = (right if slack_run == "right" else left) <= 0.0
        assert slack == (share > 1), f"at {share} of the force"
    x1, *_ = tensions_under(system, sign * force_n * 1.1)
    x2, *_ = tensions_under(system, sign * force_n * 1.2)
    assert 0.1 * force_n / abs(x2 - x1) == pytest.approx(k_left, rel=1e-6)


@pytest.mark.parametrize(("right_mm", "a", "b", "f_hz"), [(0, 0.200, 0.800, 79.58), (10, 0.210, 0.790, 78.15)])
def test_frequency_of_the_shipped_spring_and_mass(right_mm, a, b, f_hz):
    # The teaching machine, by hand: strands of 0.2 and 0.8 m in the middle, EA = 18 kN, 0.45 kg: k = EA (1/a + 1/b),
    # f = sqrt(k/m) / 2 pi; ten millimetres further right the left strand has gained what the right one lost.
    system = model_of(shipped("spring-mass"))
    place = system.middle + np.array([right_mm / 1e3, 0.0, 0.0])
    lengths = {f.name: f.length_m for f in run_facts(system, place) if f.belt == "x"}
    assert lengths == pytest.approx({"left": a, "right": b}, abs=1e-4)
    # Undamped frequency; the printed one has four digits, the formula as many as the lengths.
    by_hand = np.sqrt(18000 * (1 / lengths["left"] + 1 / lengths["right"]) / 0.45) / (2 * np.pi)
    found = [m.frequency_hz for m in modes(system, place) if m.tool_share[0] != 0]
    assert found == pytest.approx([by_hand], rel=1e-9)
    assert found == pytest.approx([f_hz], abs=0.01)
