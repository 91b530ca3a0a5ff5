"""A hand that holds the tool against its belts: tensions and force by the textbook's two springs."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim.chain.chain import prepare
from beltspring.sim.model.held import held
from beltspring.sim.model.statics import equilibrium
from beltspring.sim.scenario.load import load_scenario, with_changes


@pytest.fixture(scope="module")
def system():
    return prepare(load_scenario("spring-mass")).system


def rates(system):
    """Spring rates EA / L of the two runs of belt x, N/m: Hooke's law."""
    return {r.name: r.ea_n / r.length_m for r in system.runs if r.belt == "x"}


def test_at_rest_every_run_has_its_pretension(system):
    now = held(system, system.middle, np.zeros(3))
    assert set(now.tension_n.values()) == {40.0}
    assert now.force_n == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("push_m", [1e-5, -1e-4, 3e-4])
def test_two_springs_beside_each_other(system, push_m):
    # Motor at one end, idler at the other, carriage between: the runs are springs beside each other,
    # k = EA (1/a + 1/(2L - a)); tensions T0 +- k_i x (derived; any text on machine elements has springs in parallel).
    k = rates(system)
    now = held(system, system.middle, np.array([push_m, 0.0, 0.0]))
    assert now.force_n[0] == pytest.approx(-sum(k.values()) * push_m, rel=1e-9)
    changes = sorted(abs(now.tension_n["x", name] - 40.0) / abs(push_m) for name in k)
    assert changes == pytest.approx(sorted(k.values()), rel=1e-9)
    assert now.tension_n["y", "rear"] == 40.0


def test_a_slack_run_pulls_no_more(system):
    # A run is slack from x = T0 / k_i on; then only the other one is left (derived).
    k = rates(system)
    stiff = max(k, key=lambda name: k[name])
    way = 1.5 * 40.0 / k[stiff]
    for sign in (1.0, -1.0):
        now = held(system, system.middle, np.array([sign * way, 0.0, 0.0]))
        if now.tension_n["x", stiff] == 0.0:
            soft = next(name for name in k if name != stiff)
            assert abs(now.force_n[0]) == pytest.approx(40.0 + k[soft] * way, rel=1e-9)
            return
    raise AssertionError("pushing either way left the stiffer run taut")


@pytest.mark.parametrize("detail", ["simple", "full"])
def test_rotors_stay_where_they_are(detail):
    """The same answer with real motors, whose rotors are coordinates, as with ideal ones, whose angles are commands."""
    desk = with_changes(load_scenario("desk-corexy"), {"detail": detail})
    push = np.array([5e-5, -3e-5, 0.0])
    real = prepare(desk).system
    ideal = prepare(with_changes(desk, {"motors.part": "ideal"})).system
    a, b = held(real, real.middle, push), held(ideal, ideal.middle, push)
    assert a.force_n == pytest.approx(b.force_n, rel=1e-9)
    assert a.tension_n == pytest.approx(b.tension_n, rel=1e-9)


def test_a_weight_on_upright_belts_rests_where_it_does_to_the_last_digit():
    """The bench asks for it in every frame and stops early: no tension is off by more than 5 mN of some 16 N."""
    delta = prepare(load_scenario("small-delta")).system
    place = np.add(delta.middle, (0.03, -0.02, 0.01))
    q = equilibrium(delta, place)
    for run in delta.runs:
        stretch = run.row @ q + run.command_row @ delta.motor_command(place)
        exact = run.pretension_n + run.stiffness(q) * stretch
        assert held(delta, place, np.zeros(3)).tension_n[run.belt, run.name] == pytest.approx(exact, abs=5e-3)
        assert abs(exact - run.pretension_n) > 0.5, "the weight shows"
