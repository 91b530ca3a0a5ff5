"""Pieces to cut, rows of a list and a price file's small print, each counted or measured by hand."""

from __future__ import annotations

import itertools
import math
import re

import pytest
from beltspring.sim.errors import InputError
from beltspring.sim.machine.build import build_machine
from beltspring.sim.order.building import Building, building, rail_holes
from beltspring.sim.order.form import price_form
from beltspring.sim.order.order import order
from beltspring.sim.order.prices import read_prices
from beltspring.sim.order.shopping import items
from beltspring.sim.parts.design import GuideSpec
from beltspring.sim.scenario.load import load_scenario


def built(name: str, *sets: str) -> Building:
    return building(build_machine(load_scenario(name, sets)))


def test_lines_of_a_guide_lie_as_far_apart_as_the_file_says() -> None:
    made = built("large-corexy", "bed.apart_mm=247.5", "carriage.guide=rod-10-pair", "carriage.apart_mm=44")
    words = " ".join(p.words for p in made.lines)
    assert "12 mm rod of the bed, 247.5 mm apart" in words
    assert "10 mm rod of the carriage, 44 mm apart" in words


@pytest.mark.parametrize(("part", "pitch"), [("rail-9", 20), ("rail-12", 25)])
@pytest.mark.parametrize("length", [60, 99, 540, 541.5])
def test_a_rail_has_as_many_holes_as_fit_alike_at_both_ends(part: str, pitch: int, length: float) -> None:
    """Pitch by size as manufacturers' tables have it (from memory); at least 5 mm of steel before the first."""
    made = build_machine(load_scenario("large-corexy", [f"carriage.guide={part}"]))
    guide = made.design.carriage.guide
    assert isinstance(guide, GuideSpec)
    holes = [1e3 * x for x in rail_holes(guide, length / 1e3)]
    assert [b - a for a, b in itertools.pairwise(holes)] == pytest.approx([pitch] * (len(holes) - 1))
    assert holes[0] == pytest.approx(length - holes[-1])
    assert 5 - 1e-9 <= holes[0] < 5 + pitch / 2  # one hole more would not fit


def test_bars_from_the_columns_tops_to_the_ring_below_are_as_long_as_pythagoras_says() -> None:
    """moving-bed-wheels: columns of 440 mm, a ring 400 mm deep; the two bars of a side end behind and before."""
    sets = ["frame.panels={ sides = { diagonals = 2, part = 'slot-2020' } }"]
    machine = build_machine(load_scenario("moving-bed-wheels", sets))
    bars = [p for p in building(machine).pieces if p.words.startswith("diagonal")]
    assert [p.count for p in bars] == [2, 2]
    # What stands behind the columns and what stands before them is the ring's depth.
    legs = [math.sqrt(p.length_m**2 - 0.440**2) for p in bars]
    assert sum(legs) == pytest.approx(0.400)


def test_no_two_pieces_bear_one_letter() -> None:
    """Letters go on after the members', so that a drawing's A is one thing."""
    sets = [
        "frame.panels={ sides = { diagonals = 1, part = 'slot-2020' }, rear = { diagonals = 2, part = 'slot-2020' } }"
    ]
    marks = [p.mark for p in built("large-corexy", *sets).pieces]
    assert marks == list("ABCDEFG")


def test_printed_bars_and_arms_stand_on_the_list() -> None:
    """Frame 620 x 620 x 700: one printed bar at each side; two printed arms under the bed, as far as it reaches."""
    sets = ["frame.panels={ sides = { diagonals = 1, part = 'printed' } }", "bed.arms=printed"]
    found = items(build_machine(load_scenario("large-corexy", sets)))
    (bar,) = [i for i in found if i.words.startswith("diagonal")]
    assert (bar.name, bar.count) == ("printed", 2)
    assert bar.length_m == pytest.approx(math.hypot(0.620, 0.700))
    (arm,) = [i for i in found if "arm under the bed" in i.words]
    assert (arm.name, arm.count) == ("printed", 2)
    assert arm.length_m == pytest.approx(0.450)  # as the slotted ones of the same machine


def test_a_price_file_says_its_money_in_one_to_twelve_signs_and_a_cut_of_three_millimetres() -> None:
    """A currency sign is one sign; a circular saw's cut is about 3 mm (common practice, no source)."""
    assert read_prices('currency = "€"', "mine.toml").currency == "€"
    assert read_prices('currency = "of our own x"', "mine.toml").currency == "of our own x"
    for wrong in ('""', '"of our own xx"'):
        with pytest.raises(InputError, match="1 to 12 characters"):
            read_prices(f"currency = {wrong}", "mine.toml")
    assert read_prices('currency = "EUR"', "mine.toml").saw_m == pytest.approx(0.003)
    assert read_prices('currency = "EUR"\nsaw_mm = 1.8', "mine.toml").saw_m == pytest.approx(0.0018)


def test_remarks_of_a_form_stand_under_each_other() -> None:
    form = price_form(order(build_machine(load_scenario("large-corexy", ["frame.part=printed"]))))
    rows = [re.match(r"(# \"[^\"]*\" = 0\.00|\[\w+\]|saw_mm = 3\.0)( +)#", line) for line in form.splitlines()]
    places = {row.end() for row in rows if row and len(row[2]) > 1}
    assert len(places) == 1
