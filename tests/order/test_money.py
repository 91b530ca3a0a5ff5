"""Prices of one's own: the form, what the list does not know, names that nothing goes by, and a budget."""

from __future__ import annotations

import re
import tomllib

import pytest
from beltspring.sim.errors import InputError
from beltspring.sim.machine.build import build_machine
from beltspring.sim.order.form import price_form
from beltspring.sim.order.names import known_names
from beltspring.sim.order.order import order
from beltspring.sim.order.prices import load_prices, read_prices
from beltspring.sim.order.shopping import items
from beltspring.sim.scenario.load import load_scenario
from beltspring.sim.scenario.source import shipped_scenarios
from beltspring.sim.study.budget import dearest, spent

NAMES = [s.name for s in shipped_scenarios()]
WORTH = 'currency = "EUR"\n'


@pytest.mark.parametrize("name", NAMES)
def test_the_form_filled_in_prices_the_whole_list(name):
    machine = build_machine(load_scenario(name))
    form = price_form(order(machine))
    assert tomllib.loads(form).keys() <= {"currency", "saw_mm", "each", "per_m", "per_kg", "stock", "extra"}
    filled = re.sub(r'^# (".*?" = )', r"\1", form, flags=re.M).replace("0.00", "1.00")
    made = order(machine, read_prices(filled, "mine.toml"))
    assert made.unpriced == ()
    assert made.price > 0
    assert [n for n in made.notices if "mine.toml" in n or "not on this list" in n] == []


@pytest.mark.parametrize("name", NAMES)
def test_every_name_on_a_list_is_one_that_prices_may_go_by(name):
    assert {item.name for item in items(build_machine(load_scenario(name)))} <= known_names()


def test_the_example_names_only_what_there_is():
    assert set(load_prices("example").names()) <= known_names()


def test_every_line_says_what_to_ask_for():
    lines = {item.name: item.words for item in items(build_machine(load_scenario("large-corexy")))}
    for name, words in {
        "belt-2mm-9-glass": "2 mm pitch, 9 mm wide, glass cord",
        "motor-17-48": "42.3 x 42.3 x 48 mm",
        "pulley-20": "bore 5 mm",
        "rod-12": "12 mm h6 rod",
        "rail-12": "size 12",
        "block-12": "size 12",
        "bushing-12": "for 12 mm rod",
        "slot-4040": "40 x 40 mm slot profile for M8",
        "idler-20-smooth": "12 mm outside",
        "screw-m8": "M8 x 16 mm",
    }.items():
        assert words in lines[name], name


def test_extra_is_listed_and_counted():
    machine = build_machine(load_scenario("small-hframe"))
    bare = order(machine, read_prices(WORTH, "mine.toml"))
    text = WORTH + "[extra]\ncontroller = 38\nfan = { price = 4, count = 2 }\n"
    made = order(machine, read_prices(text, "mine.toml"))
    assert made.price - bare.price == pytest.approx(46)
    assert {line.item.name: line.item.count for line in made.lines if line.item.group == "extra"} == {
        "controller": 1,
        "fan": 2,
    }
    assert "controller" not in made.notices[0]
    assert "supply" in made.notices[0]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[extra]\nfan = -1", "must be a number"),
        ("[extra]\nfan = { count = 2 }", "write a price"),
        ("[extra]\nfan = { price = 2, count = 0 }", "whole number"),
        ('[each]\n"motor-17-40" = "16,5"', "write 16.5"),
        ("[each]\nmotor = 16,5", "write 16.5"),
        ("[extras]\nfan = 1", "did you mean extra?"),
    ],
)
def test_a_wrong_price_file_is_told(text, words):
    with pytest.raises(InputError, match=re.escape(words)):
        read_prices(WORTH + text, "mine.toml")


def test_a_name_that_nothing_goes_by_is_told_and_another_machines_is_not():
    text = WORTH + '[each]\n"motor-17-4O" = 3\n"gold-plating" = 3\n"motor-17-48" = 3\n'
    notes = order(build_machine(load_scenario("desk-corexy")), read_prices(text, "mine.toml")).notices
    assert any("'motor-17-4O' is not on this list; did you mean 'motor-17-40'?" in n for n in notes)
    assert any("'gold-plating'" in n and "[extra]" in n for n in notes)
    assert not any("motor-17-48" in n for n in notes)


def test_a_budget_that_is_kept_and_one_that_is_not():
    prices = load_prices("example")
    kept = load_scenario("small-hframe", ["budget.money=1000"])
    machine = build_machine(kept)
    made = order(machine, prices)
    found = spent(kept, machine, made, prices)
    assert found.over == pytest.approx(made.price - 1000)
    assert found.cheaper == ()
    tight = load_scenario("small-hframe", ["budget.money=150", "motion.speed_mm_s=60"])
    found = spent(tight, machine, made, prices)
    assert found.over == pytest.approx(made.price - 150)
    assert found.dearest == dearest(made)
    prices_of = [d.price for d in found.dearest]
    assert prices_of == sorted(prices_of, reverse=True)
    assert found.cheaper
    for one in found.cheaper:
        # What it says it saves is what the list says when the part is bought.
        other = order(build_machine(load_scenario("small-hframe", [f"{one.key}={one.part}"])), prices)
        assert made.price - other.price == pytest.approx(one.saves)
        assert one.more_share is not None
    assert spent(load_scenario("small-hframe"), machine, made, prices) is None
    with pytest.raises(InputError, match="add --prices"):
        spent(kept, machine, order(machine), None)
