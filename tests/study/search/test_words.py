"""What each step of money buys along a front, by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

from beltspring.sim.study.search.words import _money


def design(price: float | None, judged_um: float | None, *genes: int) -> Any:
    known = {"price": price, "judged_um": judged_um}
    return SimpleNamespace(answer=known.get, genes=genes)


def searched(*front: Any, least: tuple[str, ...] = ("judged_um", "price")) -> Any:
    knobs = (
        SimpleNamespace(key="belts.part", levels=("glass", "steel")),
        SimpleNamespace(key="a.b_mm", levels=(1, 2, 3)),
    )
    return SimpleNamespace(
        front=front, goals=SimpleNamespace(least=least), prices=SimpleNamespace(currency="EUR"),
        space=SimpleNamespace(knobs=knobs),
    )  # fmt: skip


CHEAP, MIDDLE, DEAR = design(100.0, 50.0, 0, 0), design(112.5, 40.0, 1, 0), design(150.0, 10.0, 1, 2)


def test_steps_are_told_from_the_cheapest_on() -> None:
    """40 of 50 um are 20 % less for 12.50, 10 of 40 are 75 % less for 37.50."""
    (said,) = _money(searched(DEAR, CHEAP, MIDDLE))
    assert said.startswith("Along the front, from the cheapest on: 12.50 EUR more buy −20 % ringing (")
    assert "; 37.50 EUR more buy −75 % ringing (" in said
    assert said.index("−20 %") < said.index("−75 %")
    assert "steel" in said


def test_what_is_no_goal_or_not_known_is_left_out() -> None:
    assert _money(searched(CHEAP, DEAR, least=("judged_um", "mass_g"))) == []
    assert _money(searched(CHEAP, DEAR, least=("price", "job_s"))) == []
    assert _money(searched(CHEAP, design(120.0, None, 0, 1))) == []
    assert _money(searched(design(90.0, 0.0, 0, 1), CHEAP)) == [], "of nothing no share can be taken"
    assert _money(searched(CHEAP, design(120.0, 49.99, 0, 1))) == [], "hardly anything is bought"
