"""By how much a design breaks what is asked of a search, by hand: built, then simulated whole, then passed by `check`."""

from __future__ import annotations

from typing import Any

import pytest
from beltspring.sim.study.search.goals import goals_of
from beltspring.sim.study.search.search import REFUSED, STOPPED, UNJUDGED, _One

GOALS = goals_of(["judged_um", "price"], ["price<100"], priced=True)
FINE = {"refused": False, "judged_um": 30.0, "passages": 0, "slack_s": 0.0, "whole": True, "price": 80.0}


def amiss(check: dict[str, Any] | None = None, **more: Any) -> float:
    return _One((0,), {}, FINE | more, None, check).amiss(GOALS)


def test_a_design_that_keeps_everything_breaks_nothing() -> None:
    assert amiss() == 0.0
    assert amiss(check={"stops": [], "refused": False}) == 0.0
    assert 0.0 < amiss(price=130.0) < 1.0


@pytest.mark.parametrize(
    "wrong", [{"judged_um": None}, {"passages": 2}, {"slack_s": 1e-3}, {"whole": False}, {"price": None}], ids=str
)
def test_any_one_thing_that_is_wrong_leaves_it_unjudged(wrong: dict[str, Any]) -> None:
    """A belt that hangs slack for a moment, a step lost, a run cut off: none of them makes up for another."""
    assert amiss(**wrong) >= UNJUDGED


def test_what_cannot_be_built_is_worst_and_what_check_stops_is_better_than_unjudged() -> None:
    assert amiss(refused=True) == REFUSED > UNJUDGED > STOPPED
    two = amiss(check={"stops": ["a", "b"], "refused": False})
    assert STOPPED < amiss(check={"stops": ["a"], "refused": False}) < two < UNJUDGED
