"""What a design is set beside, and what is compared of two machines: by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from beltspring.sim.machine.build import build_machine
from beltspring.sim.study import budget, effect
from beltspring.sim.study.deciding import plain_name
from beltspring.sim.study.improve_words import gain_words
from beltspring.sim.study.sure import _other

from tests.support import shipped


@pytest.mark.parametrize(
    ("best", "order", "other"), [(2, (2, 0, 1), 0), (0, (0, 2, 1), 2), (0, (0,), None), (1, (1, 0), 0)]
)
def test_the_best_is_set_against_the_first_or_that_against_the_next(best: int, order: Any, other: int | None) -> None:
    assert _other(SimpleNamespace(best=best, order=order)) == other  # type: ignore[arg-type]


def test_what_holds_a_tool_without_end_or_not_at_all_is_no_number(monkeypatch: pytest.MonkeyPatch) -> None:
    machine = build_machine(shipped("spring-mass"))
    monkeypatch.setattr(effect, "held_stiffness", lambda system, place: (107143.0, np.inf))
    told = effect._quantities(machine)
    assert told["the tool is held in X with"] == pytest.approx(107.143)
    assert "the tool is held in Y with" not in told
    monkeypatch.setattr(effect, "held_stiffness", lambda system, place: (None, 2e4))
    told = effect._quantities(machine)
    assert "the tool is held in X with" not in told
    assert told["the tool is held in Y with"] == pytest.approx(20.0)
    assert set(told) <= set(effect.QUANTITIES)


def test_a_gain_is_told_with_its_price_and_what_it_takes() -> None:
    """27.4 % less: by hand 58 um become 42.1."""
    found: Any = SimpleNamespace(judged=SimpleNamespace(judged_m=58e-6), priced=SimpleNamespace(currency="EUR"))
    one: Any = SimpleNamespace(
        judged_m=42.1e-6, gain_share=0.274, price=3.62, longer_share=0.0, words="belts with steel cord"
    )
    assert gain_words(found, one) == "−27 % ringing (58 µm → 42 µm judged) for +3.62 EUR: belts with steel cord"
    one.price, one.longer_share, one.gain_share = None, 0.124, -0.05
    assert gain_words(found, one) == "+5 % ringing (58 µm → 42 µm judged), 12 % longer: belts with steel cord"
    one.gain_share, one.longer_share = None, 0.004
    assert gain_words(found, one) == "no motor slips at most speeds any more (42 µm judged): belts with steel cord"


def test_what_costs_a_little_too_much_is_told_with_what_would_save(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(budget, "_cheaper", lambda scenario, prices, price: iter(["a part"]))
    monkeypatch.setattr(budget, "dearest", lambda made: ())

    def told(price: float) -> Any:
        scenario: Any = SimpleNamespace(file=SimpleNamespace(budget=SimpleNamespace(money=150.0)))
        made: Any = SimpleNamespace(price=price, currency="EUR", unpriced=())
        return budget.spent(scenario, None, made, object())  # type: ignore[arg-type]

    assert (told(150.4).over, told(150.4).cheaper) == (pytest.approx(0.4), ("a part",))
    assert (told(150.0).over, told(150.0).cheaper) == (0.0, ())
    assert told(140.0).cheaper == ()


def test_damping_is_called_by_its_part_wherever_it_was_written() -> None:
    def named(of: tuple[str, str], key: str) -> str:
        number: Any = SimpleNamespace(draw=(of[0], key), of=of, key=key)
        return plain_name(number)

    assert named(("file", "belts.damping"), "belts.damping") == "damping of the belts"
    assert named(("guides", "rod-8-pair"), "carriage.damping") == "damping of the guides"
    assert named(("file", "carriage.damping"), "carriage.damping") == "damping of the carriage"


def test_a_part_is_worth_a_line_from_one_per_cent_of_the_price_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of 100: what saves 1.05 is told, what saves 0.95 is not; the most first."""
    saves = {"p": 1.05, "q": 0.95, "r": 7.0}
    ready = SimpleNamespace(machine="as written")
    monkeypatch.setattr(budget, "as_written", lambda scenario: SimpleNamespace(ready=ready))
    monkeypatch.setattr(budget, "_other_parts", lambda scenario, machine: [(f"{part}.part", part) for part in saves])
    monkeypatch.setattr(
        budget, "candidate",
        lambda scenario, settings, label: SimpleNamespace(ready=SimpleNamespace(machine=label[-1]), stands=True),
    )  # fmt: skip
    monkeypatch.setattr(budget, "priced", lambda machine, prices: machine)
    monkeypatch.setattr(budget, "dearer", lambda one, base: -saves[one])
    monkeypatch.setattr(budget, "checked", lambda one: SimpleNamespace(stops=()))
    monkeypatch.setattr(budget, "paces_of", lambda ready: None)
    monkeypatch.setattr(budget, "judging", lambda designs, paces: [])
    found = list(budget._cheaper(None, None, 100.0))  # type: ignore[arg-type]
    assert [(one.key, one.saves) for one in found] == [("r.part", 7.0), ("p.part", 1.05)]
