"""The climb of `limits` ends soon after nothing changes any more."""

from __future__ import annotations

from beltspring.sim.chain.stand import Criteria
from beltspring.sim.scenario.load import load_scenario
from beltspring.sim.study.limits import find_limits


def test_the_climb_ends_soon_after_nothing_changes_any_more():
    # 20 mm at 3 m/s2 reach sqrt(a D) at most: nine steps of 5 % beyond it at most, not up to the range's 5 m/s.
    loud = Criteria(ringing_m=2e-3)
    (limit,) = find_limits(load_scenario("spring-mass"), loud, moves=("own",), quantities=("speed",)).limits
    reached = (3.0 * 0.020) ** 0.5
    values = [t.value for t in limit.curve]
    assert reached < max(values) < reached * 1.05**10
