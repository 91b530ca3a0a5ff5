"""Buzz while moving, on whole machines: an H-frame whose motors reverse slowly on a circle meets its mode by detent."""

from dataclasses import replace

import pytest
from beltspring.sim.chain import buzz
from beltspring.sim.chain.buzz import buzz_words, without_detent, without_friction
from beltspring.sim.chain.chain import simulate_scenario
from beltspring.sim.trace import Ending

from tests.support import shipped

CIRCLE = {"layout": "hframe", "move.pattern": "circle", "detail": "full"}


def test_detent_is_named_where_it_is_the_cause():
    outcome = simulate_scenario(shipped("desk-corexy", CIRCLE))
    bare = simulate_scenario(shipped("desk-corexy", CIRCLE | {"motors.detent_nm": 0}))
    with_it, without = outcome.moving["x"], bare.moving["x"]
    assert with_it is not None
    assert without is not None
    assert with_it.cause == "detent"
    assert without.cause != "detent"
    # Orders of size only, as they move with every number of the machine: measured 23 and 9 um, and 8.6 and 0.7 um.
    assert with_it.moving.peak_m > 2 * without.moving.peak_m
    assert with_it.moving.typical_m > 5 * without.moving.typical_m
    said = buzz_words(outcome.moving)
    assert said is not None
    assert "the detent of the motors" in said
    assert outcome.moving is outcome.moving


def test_what_is_taken_away_leaves_the_loop_as_it_is():
    system = simulate_scenario(shipped("desk-corexy", CIRCLE)).system
    for other in (without_detent(system), without_friction(system)):
        assert other is not None
        assert [bool(m.detent_nm) for m in other.motors] == [bool(m.detent_nm) for m in system.motors]
        assert len(other.frictions) == len(system.frictions)
    assert without_detent(simulate_scenario(shipped("desk-corexy", CIRCLE | {"motors.detent_nm": 0})).system) is None


@pytest.mark.parametrize("name", ["spring-mass"])
def test_where_nothing_shows_nothing_is_said_or_run_again(name):
    outcome = simulate_scenario(shipped(name))
    assert all(b is None or b.cause is None for b in outcome.moving.values())
    assert buzz_words({"x": None, "y": None}) is None


def test_ctrl_c_while_the_cause_is_sought_is_not_lost(monkeypatch):
    """A run ends whole where it is interrupted; one that only asks for a cause must hand that on."""

    def pressed(*asked):
        return replace(honest(*asked), ending=Ending.INTERRUPTED)

    honest = buzz.run
    outcome = simulate_scenario(shipped("desk-corexy", CIRCLE))
    monkeypatch.setattr(buzz, "run", pressed)
    with pytest.raises(KeyboardInterrupt):
        _ = outcome.moving
