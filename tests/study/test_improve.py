"""What to change: nothing praised that `check` stops, gains as judged, closed forms where there are some, early ends kept."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim.chain.chain import prepare
from beltspring.sim.chain.judged import judge_ringing, paces_of
from beltspring.sim.errors import InputError, ScenarioError
from beltspring.sim.machine.build import build_machine
from beltspring.sim.order.prices import load_prices
from beltspring.sim.scenario.load import load_scenario, with_changes
from beltspring.sim.study import improve as module
from beltspring.sim.study.designs import as_written, candidate, checked
from beltspring.sim.study.improve import LEAST_GAIN, MOST_TOLD, improve
from beltspring.sim.study.improve_changes import changes
from beltspring.sim.study.improve_masses import with_masses
from beltspring.sim.study.improve_words import gain_words, improvement_sentences

from tests.study.calibration import FREE, judged_by_hand
from tests.support import OPEN, shipped, textbook

SHIPPED = [
    "desk-corexy", "desk-corexy-slot", "large-corexy", "moving-bed-wheels", "small-delta", "tall-delta", "spring-mass",
    "four-shapers", "which-part-rings", "key-tag",
]  # fmt: skip


#: A short move, so that the many runs are quick.
SHORT = {"move.pattern": "step", "move.axis": "xy", "move.settle_ms": 200}


@pytest.fixture(scope="module")
def desk():
    return improve(textbook("desk-corexy", SHORT), load_prices("example"))


def test_the_best_come_first_and_gain_what_they_say(desk) -> None:
    for told in (desk.changes, desk.motion):
        judged = [one.judged_m for one in told]
        assert judged == sorted(judged)
        assert len(told) <= MOST_TOLD
        for one in told:
            assert one.gain_share == pytest.approx(1 - one.judged_m / desk.judged.judged_m)
            assert one.gain_share >= LEAST_GAIN
    assert (desk.tried, desk.complete) == (desk.possible - len(desk.refused), True)


def test_every_change_is_judged_as_a_design_of_its_own(desk) -> None:
    here = textbook("desk-corexy", SHORT)
    paces = paces_of(prepare(here))
    for one in (*desk.changes[:2], *desk.together, desk.motion[0]):
        ready = prepare(with_changes(here, one.settings))
        (judged,) = judge_ringing([ready], paces)
        assert judged.judged_m == one.judged_m, one.words


def test_nothing_is_praised_that_check_stops(desk) -> None:
    for one in (*desk.changes, *desk.together, *desk.motion):
        assert one.new_stops == ()
        assert checked(candidate(textbook("desk-corexy", SHORT), one.settings, "again")).stops == one.stops == ()
    # Steel cord gains most, and pulleys of 16 teeth gain too; together they break the cord, and are not told.
    both = {"belts.part": "belt-2mm-6-steel", "motors.pulley_teeth": 16}
    assert checked(candidate(textbook("desk-corexy"), both, "both")).stops == ("pulley-diameter",)
    assert desk.changes[0].settings["belts.part"] == "belt-2mm-6-steel"
    assert any("motors.pulley_teeth" in one.settings for one in desk.changes)
    assert all(not set(both) <= set(one.settings) for one in desk.together)


def test_what_is_stopped_is_told_apart() -> None:
    found = improve(textbook("desk-corexy", SHORT | {"belts.part": "belt-2mm-6-steel"}))
    (pulley,) = [one for one in found.stopped if "motors.pulley_teeth" in one.settings]
    assert pulley.new_stops == ("pulley-diameter",)
    assert pulley.gain_share > LEAST_GAIN
    assert all("motors.pulley_teeth" not in one.settings for one in found.changes)
    assert any("Not taken: motor pulleys of 16 teeth" in s for s in improvement_sentences(found))


def test_together_are_of_unlike_families_and_better_than_each_alone(desk) -> None:
    assert len(desk.together) == 2
    for count, one in zip((2, 3), desk.together, strict=True):
        assert one.words.count(" + ") == count - 1
        assert one.judged_m < desk.changes[0].judged_m


def test_a_stop_that_is_there_is_said_and_what_ends_it_comes_first() -> None:
    """Steel cord gains most, but leaves the belts as loose as they are; tightening them ends the stop."""
    found = improve(textbook("desk-corexy", SHORT | {"belts.pretension_n": 2}))
    assert found.checked.stops == ("pretension-slack",)
    first = found.changes[0]
    assert first.settings == {"belts.pretension_n": 15.8}
    assert (first.stops, first.ended) == ((), ("pretension-slack",))
    later = [one for one in found.changes if one.stops]
    assert later
    assert found.changes[-len(later) :] == tuple(later)
    said = improvement_sentences(found)
    assert said[1].startswith("`check` stops it as written (pretension-slack); belts at 15.8 N")
    assert said[1].endswith("ends that.")


def test_stiffer_belts_gain_as_the_closed_form_says() -> None:
    """Undamped mass on a spring: the residual of a trapezoid in closed form (tests/study/test_spread) before and after.

    Written EA, so that a belt changes nothing but its stiffness: steel cord has another EA, glass of 9 mm 1.5 times as much.
    """
    written = {**FREE, "space.x_mm": 2000, "frame.width_mm": 2400, "belts.mass_g_m": 0}
    here = with_changes(load_scenario("spring-mass"), {k: v for k, v in written.items() if not k.startswith("band")})
    found = improve(here)
    (light,) = [one for one in found.changes if "carriage.mass_g" in one.settings]
    ready = prepare(here)
    speeds = 0.1 * np.array(paces_of(ready).factors)
    from beltspring.sim.model.modes import modes
    from beltspring.sim.study.designs import tool_tones

    hertz, _ = tool_tones(ready.system, modes(ready.system))
    before, after = judged_by_hand(np.array([hertz, hertz * np.sqrt(1 / 0.8)]), 3.0, speeds, 0.020)
    assert found.judged.judged_m == pytest.approx(before, rel=0.02)
    assert light.judged_m == pytest.approx(after, rel=0.02)
    assert light.gain_share == pytest.approx(1 - after / before, abs=0.02)


@pytest.mark.parametrize("name", SHIPPED)
def test_no_change_is_what_the_design_has_or_has_no_key(name: str) -> None:
    """Every change differs from the completed file in every key it names, and loads as it stands."""
    here = shipped(name)
    machine = build_machine(here)
    held = {o.key: o.value for o in machine.design.origins}
    found = changes(here, machine)
    assert len({one.words for one in found}) == len(found) > 4
    for one in found:
        assert any(held.get(key) != value for key, value in one.settings.items()), one.words
        with_changes(here, one.settings)  # raises for a key that does not exist, or a value out of range


def test_what_does_nothing_at_simple_is_not_tried() -> None:
    keys = {
        key for c in changes(textbook("desk-corexy"), prepare(textbook("desk-corexy")).machine) for key in c.settings
    }
    assert "feet.part" not in keys
    assert "carriage.belt_above_guide_mm" not in keys
    full = {key for c in changes(shipped("desk-corexy"), build_machine(shipped("desk-corexy"))) for key in c.settings}
    assert {"feet.part", "carriage.belt_above_guide_mm"} <= full


def test_belts_of_their_own_are_changed_where_they_are_named() -> None:
    here = textbook("desk-corexy", {"belts.a.part": "belt-2mm-9-glass"})
    found = {one.words: one.settings for one in changes(here, build_machine(here))}
    assert found["12 mm belt a"] == {"belts.a.part": "belt-2mm-12-glass"}
    assert found["9 mm belts"] == {"belts.part": "belt-2mm-9-glass"}


def test_a_heavier_guide_is_felt_although_the_mass_is_written() -> None:
    """By hand: two rods of 10 mm weigh 2 x 0.6165 kg/m over the gantry's span; the bushings of both are in the catalogue."""
    from beltspring.sim.parts.catalogue import catalogue

    here = textbook("desk-corexy", {"band.carriage.mass_g": [300, 340]})
    machine = build_machine(here)
    after = build_machine(with_changes(here, {"carriage.guide": "rod-10-pair"}))
    found = with_masses(here, machine, after)
    small, large = (catalogue().get("guides", f"rod-{d}-pair") for d in (8, 10))
    more = 2 * (large.value("mover_mass_g") - small.value("mover_mass_g"))
    assert found["carriage.mass_g"] == pytest.approx(320 + more, abs=0.1)
    assert found["band.carriage.mass_g"] == pytest.approx([300 + more, 340 + more], abs=0.1)
    assert found["gantry.mass_g"] > 410
    assert with_masses(here, machine, build_machine(with_changes(here, {"belts.part": "belt-2mm-9-glass"}))) == {}


def test_a_frame_that_sways_is_told_to_be_closed() -> None:
    """The open desk frame sways at 39 N/mm; closing it is worth more than any belt (its own head says so)."""
    found = improve(textbook("desk-corexy", SHORT | OPEN))
    best = found.changes[0]
    assert any(key.startswith("frame.") for key in best.settings)
    assert best.gain_share > 0.4
    assert any("frame.panels" in key for one in found.changes for key in one.settings)


def test_with_machines_each_says_how_sure() -> None:
    found = improve(textbook("desk-corexy", SHORT), draws=16, seed=3)
    steel = next(one for one in found.changes if one.settings.get("belts.part") == "belt-2mm-6-steel")
    assert (steel.sure, steel.pair.of) == ("yes", 16)
    assert all(one.sure in ("yes", "likely", "no", "same") for one in (*found.changes, *found.together, *found.motion))
    assert any("16 machines: sure" in s for s in improvement_sentences(found))


def test_an_early_end_keeps_what_is_finished(monkeypatch) -> None:
    done = []

    def told(what: str, count: int, whole: int) -> None:
        done.append(count)
        if count == 3:
            raise KeyboardInterrupt

    found = improve(textbook("desk-corexy", SHORT), told=told)
    assert (found.tried, found.complete, found.together) == (3, False, ())
    assert found.changes
    assert all(one.new_stops == () for one in found.changes)
    assert improvement_sentences(found)[-1] == f"Ended early: 3 of {found.possible} changes were tried."
    assert done[-1] == 3


def test_what_cannot_be_judged_is_told() -> None:
    with pytest.raises(ScenarioError, match=r"nothing to judge.*move\.pattern=square"):
        improve(textbook("desk-corexy", {"move.pattern": "chirp"}))


def test_a_program_that_would_take_long_is_refused_first(monkeypatch) -> None:
    from beltspring.sim.chain.burden import Burden
    from beltspring.sim.chain.chain import Prepared

    monkeypatch.setattr(Prepared, "burden_of", lambda self, runs: Burden(1e8, 10.0 * runs, 1e6, 0.0))
    monkeypatch.setattr(module, "judging", lambda *_: pytest.fail("nothing is simulated"))
    with pytest.raises(InputError, match=r"`improve` of this move would take about 1\.\d hours|about \d\d minutes"):
        improve(textbook("desk-corexy"))


def test_words_by_hand(desk) -> None:
    best = desk.changes[0]
    assert gain_words(desk, best).startswith("−")
    assert gain_words(desk, best).endswith("judged) for +3.62 EUR: belts with steel cord")
    assert as_written(textbook("desk-corexy")).label == "as written"
