"""A trial of `limits` says what a run of its own says, and the climb ends where nothing changes any more."""

from __future__ import annotations

from dataclasses import replace

import pytest
from beltspring.sim.analyse.ringing import AXES, find_ringdowns, worst
from beltspring.sim.chain import stand as trial
from beltspring.sim.chain.chain import prepare
from beltspring.sim.scenario.load import load_scenario
from beltspring.sim.scenario.motion import motion_limits, move_spec, record_spec, shapers
from beltspring.sim.simulate.run import run
from beltspring.sim.study.limits import find_limits

A_M_S2 = 1.7


@pytest.fixture(scope="module")
def bench():
    scenario = load_scenario("spring-mass")
    return trial.Bench(
        prepare(scenario), motion_limits(scenario), move_spec(scenario), shapers(scenario), trial.Criteria(),
        record_spec(scenario).step_s,
    )  # fmt: skip


def test_a_trial_tells_the_ringing_of_a_run_of_its_own(bench):
    plan = bench.plan(replace(bench.limits, acceleration_m_s2=A_M_S2))
    downs = find_ringdowns(run(bench.ready.system, plan, bench.record_s), plan)
    own = max(r.peak_m for axis in AXES if (r := worst(downs, axis)) is not None)
    for allowed_m in (0.9 * own, 1.1 * own):
        strict = replace(bench, criteria=trial.Criteria(ringing_m=allowed_m))
        told = strict.try_out(replace(bench.limits, acceleration_m_s2=A_M_S2), A_M_S2)
        assert told.ringing_m == own
        assert told.holds == (own <= allowed_m)


def test_the_climb_ends_soon_after_nothing_changes_any_more():
    # 20 mm at 3 m/s2 reach sqrt(a D) at most: nine steps of 5 % beyond it at most, not up to the range's 5 m/s.
    loud = trial.Criteria(ringing_m=2e-3)
    (limit,) = find_limits(load_scenario("spring-mass"), loud, moves=("own",), quantities=("speed",)).limits
    reached = (3.0 * 0.020) ** 0.5
    values = [t.value for t in limit.curve]
    assert reached < max(values) < reached * 1.05**10
