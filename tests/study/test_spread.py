"""Spread of a machine whose answers have closed forms, paired designs, and how sure a verdict is."""

from __future__ import annotations

import gc
import weakref
from dataclasses import replace

import beltspring.sim as door
import numpy as np
import pytest
from beltspring.sim.chain.chain import prepare
from beltspring.sim.machine.build import build_machine, uncertain_numbers
from beltspring.sim.machine.machine import Machine
from beltspring.sim.model.build import build_model
from beltspring.sim.scenario.load import load_scenario, with_changes
from beltspring.sim.simulate.generated import source
from beltspring.sim.simulate.lanes import lane_of
from beltspring.sim.study import spread
from beltspring.sim.study.draws import sobol_draws
from beltspring.sim.study.spread import Answer, Pair, Spread, paired, spreads, sureness
from beltspring.sim.study.spread_words import pair_sentence, verdict_sentence
from scipy import stats

from tests.study.calibration import FREE, cut_normal, simulated, spring_mass, two_piece
from tests.support import shipped


def test_frequency_spreads_as_the_product_of_two_log_normals() -> None:
    """f is in proportion to sqrt(EA / m) (any text on vibrations); percentiles of 200 000 independent machines."""
    scenario = with_changes(load_scenario("spring-mass"), FREE)
    (found,) = spreads([scenario], 256)
    ea = two_piece(18000, 13000, 25000, cut_normal(200_000, 11))
    mass = two_piece(450, 400, 500, cut_normal(200_000, 12))
    ratio = np.sqrt(ea / 18000 * 450 / mass)
    told = found.answers["x_hz"]
    nominal = np.median(told.values)
    assert np.array([told.low, told.high]) / nominal == pytest.approx(np.percentile(ratio, [10, 90]), rel=6e-3)
    assert np.ptp(found.answers["y_hz"].values) > 0, "the bed hangs on a belt of the same cord"


def test_four_of_five_independent_machines_lie_in_the_told_range() -> None:
    """1000 machines by another sampler, judged by the closed form: 80 +- 4 % inside what 256 draws tell."""
    share, found, by_hand = spring_mass(1000, 256, 21)
    told = found.answers["judged_um"]
    assert np.median(by_hand) == pytest.approx(told.middle, rel=0.05)
    assert share == pytest.approx(0.80, abs=0.04)


def test_the_desk_machine_sampled() -> None:
    """48 machines of its own sampler, simulated: two sigma of a binomial of 0.8 are 0.115. By hand: 200, 72 to 88 %."""
    share, found, judged = simulated(load_scenario("desk-corexy", ["detail=simple"]), 48, 64, 101)
    assert np.isfinite(judged).all()
    assert share == pytest.approx(0.80, abs=0.13)
    assert np.median(judged) == pytest.approx(found.answers["judged_um"].middle, rel=0.12)


def test_a_change_that_does_nothing_is_the_same_in_every_machine() -> None:
    here = load_scenario("desk-corexy", ["detail=simple"])
    one, other = spreads([here, with_changes(here, {"title": "another name"})], 32)
    pair = paired(one, other)
    assert (pair.less, pair.same, pair.of, pair.difference) == (0, 32, 32, 0)
    assert np.array_equal(one.judged, other.judged)
    assert one.answers["judged_um"].high > 1.1 * one.answers["judged_um"].low, "though each alone is uncertain"
    assert sureness(pair, np.ones(13), np.ones(13)) == "same"
    assert pair_sentence("b", "a", pair) == "b rings like a in every one of 32 machines."


def test_nothing_uncertain_has_no_spread() -> None:
    (found,) = spreads([load_scenario("spring-mass")], 16)
    assert found.uncertain == 0
    judged = found.answers["judged_um"]
    assert judged.low == judged.high
    assert found.sentences[0].endswith("every number is written, and counts as measured.")
    assert found.shares == ()


def test_of_a_machine_no_more_is_kept_than_it_takes_to_run(monkeypatch: pytest.MonkeyPatch) -> None:
    """A comparison holds hundreds of them at a time: each with its own parts and its own printed loop would be 200 kB more."""
    built = []

    def watched(*values: object) -> Machine:
        machine = build_machine(*values)  # type: ignore[arg-type]
        built.append(weakref.ref(machine))
        return machine

    ready = prepare(load_scenario("desk-corexy", ["detail=simple"]))
    monkeypatch.setattr(spread, "build_machine", watched)
    numbers = uncertain_numbers(ready.machine)
    found = spread._machines(ready, sobol_draws([numbers], 4), numbers, None)
    gc.collect()
    assert [one() for one in built] == [None] * 4
    texts = [one.rig.lane.text for one in found if one is not None]
    assert len(texts) == 4
    assert len({id(text) for text in texts}) == len(set(texts))


def made(judged: list[float]) -> Spread:
    values = np.array(judged)
    low, middle, high = np.percentile(values, [10, 50, 90])
    return Spread(len(values), 1, {"judged_um": Answer(low, middle, high, values)}, (), 0, 0, 1)


def test_pairs_by_hand() -> None:
    pair = paired(made([8, 9, 12, 20]), made([10, 10, 10, 20]))
    assert (pair.less, pair.same, pair.of) == (2, 1, 4)
    assert pair.difference == pytest.approx((0.1 + 0.0) / 2)  # of 0.2, 0.1, -0.2 and 0
    with_gap = paired(made([8.0, 9.0]), replace(made([10, 10]), answers={}))
    assert with_gap.of == 0
    assert sureness(with_gap, np.ones(3), np.ones(3)) is None


@pytest.mark.parametrize(
    ("less", "difference", "speeds", "said"),
    [
        (122, 0.3, 13, "yes"),  # 19 of 20 of 128 are 121.6
        (121, 0.3, 13, "likely"),
        (128, 0.3, 8, "likely"),  # two thirds of 13 speeds are 8.7
        (128, 0.3, 9, "yes"),
        (96, 0.3, 13, "likely"),
        (95, 0.3, 13, "no"),
        (128, 0.09, 13, "same"),
        (10, -0.3, 0, "no"),
    ],
)
def test_sure_by_hand(less: int, difference: float, speeds: int, said: str) -> None:
    best = np.where(np.arange(13) < speeds, 1.0, 3.0)
    pair = Pair(less, 0, 128, difference)
    assert sureness(pair, best, np.full(13, 2.0)) == said
    assert f"in {less} of 128 machines" in verdict_sentence("b", "a", pair, said)


def test_steel_cord_beats_glass_surely_at_simple() -> None:
    here = load_scenario("desk-corexy", ["detail=simple"])
    glass, steel = spreads([here, with_changes(here, {"belts.part": "belt-2mm-6-steel"})], 32)
    pair = paired(steel, glass)
    assert pair.less >= 31
    assert pair.difference > 0.1


def test_the_cut_normal_of_this_test_is_one() -> None:
    assert stats.kstest(cut_normal(5000, 1), stats.truncnorm(-3, 3).cdf).pvalue > 0.01


def test_how_far_it_has_come_is_told_over_all_designs_together() -> None:
    """Two designs at thirteen speeds each: 26 steps in all, counted on from one to the other."""
    told: list[tuple[int, int]] = []
    plain = load_scenario("spring-mass")
    spreads(
        [plain, with_changes(plain, {"carriage.mass_g": 600})], 2, told=lambda done, whole: told.append((done, whole))
    )
    steps = {whole for _, whole in told}
    assert len(steps) == 1
    done = [d for d, _ in told]
    assert done == sorted(done)
    assert done[-1] == steps.pop()
    assert done[0] <= done[-1] / 2


@pytest.mark.parametrize("name", [one.name for one in door.shipped()])
def test_machines_drawn_of_one_design_share_their_machine_code(name: str) -> None:
    # What is printed follows from how a machine is built, never from rounding in its numbers: else each would be compiled anew.
    scenario = shipped(name)
    ready = prepare(scenario)
    numbers = uncertain_numbers(ready.machine)
    draws = sobol_draws([numbers], 8, 1)
    drawn = [build_model(build_machine(scenario, draws.machine(numbers, i))) for i in range(draws.count)]
    texts = {(source(system)[0], lane_of(system).text) for system in [ready.system, *drawn]}
    assert len(texts) == 1
