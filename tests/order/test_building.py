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
from beltspring.sim.order.prices import EXTRA_USUAL, read_prices
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
@pytest.mark.parametrize("length", [20, 60, 99, 540, 541.5])
def test_a_rail_has_as_many_holes_as_fit_alike_at_both_ends(part: str, pitch: int, length: float) -> None:
    """Pitch by size as manufacturers' tables have it (from memory); at least 5 mm of steel before the first."""
    made = build_machine(load_scenario("large-corexy", [f"carriage.guide={part}"]))
    guide = made.design.carriage.guide
    assert isinstance(guide, GuideSpec)
    holes = [1e3 * x for x in rail_holes(guide, length / 1e3)]
    assert [b - a for a, b in itertools.pairwise(holes)] == pytest.approx([pitch] * (len(holes) - 1))
    assert holes[0] == pytest.approx(length - holes[-1])
    assert 5 - 1e-9 <= holes[0] < 5 + pitch / 2 - 1e-9  # one hole more would not fit


def test_bars_from_the_columns_tops_to_the_ring_below_are_as_long_as_pythagoras_says() -> None:
    """moving-bed-wheels: columns of 440 mm, a ring 400 mm deep; the two bars of a side end behind and before."""
    sets = ["frame.panels={ sides = { diagonals = 2, part = 'slot-2020' } }"]
    machine = build_machine(load_scenario("moving-bed-wheels", sets))
    bars = [p for p in building(machine).pieces if p.words.startswith("diagonal")]
    assert [p.count for p in bars] == [2, 2]
    # The columns stand 30 mm behind the middle of the ring.
    legs = sorted(math.sqrt(p.length_m**2 - 0.440**2) for p in bars)
    assert legs == pytest.approx([0.170, 0.230])


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


def test_pieces_with_cut_ends_and_holes_say_so() -> None:
    """Three columns: members leave them at 60 degrees. Rings of 40 mm on tapped 20 x 40 columns: holes in their middles."""
    ends = {p.words.partition(",")[0]: p.ends for p in built("tall-delta").pieces}
    assert "60" in ends["top member"]
    assert "60" in ends["base member"]
    assert "plates" in ends["top member"]  # the angle beside what holds it, not in place of it
    tapped = built("large-corexy", "frame.joints=tapped-bore", "frame.top=slot-2040", "frame.base=slot-4040")
    column = next(p for p in tapped.pieces if p.words.startswith("column"))
    assert column.holes_m[0] == pytest.approx(0.020)  # 40 mm below
    assert column.length_m - column.holes_m[1] == pytest.approx(0.020)  # 20 wide and 40 high above
    assert column.holes.startswith("9 mm")  # for the key of an M8 screw: a millimetre more


def test_wheels_that_stand_on_the_frame_are_mounted_there() -> None:
    """Toothed idlers at the rear: four of a CoreXY's two belts, two of an H-frame's one; all others are on the gantry."""
    for name, count in (("large-corexy", 4), ("small-hframe", 2)):
        found = items(build_machine(load_scenario(name)))
        (mounts,) = [i for i in found if i.words == "idler mount on the frame"]
        assert mounts.count == count
        assert mounts.mass_kg == pytest.approx(count * 0.020)


def test_a_printed_box_is_called_by_its_sides() -> None:
    (words,) = {p.words.partition(", ")[2] for p in built("desk-corexy").pieces if p.words.startswith("column")}
    assert words == "printed box 40 x 40 mm"


def test_who_heats_with_mains_is_cautioned_once_more() -> None:
    """Local codes and licensed people, where it can kill: said for mains, and not said where there is none."""
    low, mains = (
        order(build_machine(load_scenario("large-corexy", [f"bed.heater={h}"]))) for h in ("low-voltage", "mains")
    )
    assert mains.cautions[: len(low.cautions)] == low.cautions
    (more,) = mains.cautions[len(low.cautions) :]
    assert "mains" in more.lower()
    assert not any("mains" in caution.lower() for caution in low.cautions)


def test_a_price_of_one_of_a_metre_and_of_a_kilogram_count_what_there_is_of_it() -> None:
    """Each by its own measure; only what is cut from bars is priced by the bar and not by itself."""
    text = 'currency = "EUR"\n[each]\n"motor-17-48" = 20\n[per_m]\n"belt-2mm-9-glass" = 6\n[per_kg]\nprinted = 30'
    made = order(build_machine(load_scenario("large-corexy")), read_prices(text, "mine.toml"))
    lines = {line.item.name: line for line in made.lines}
    assert lines["motor-17-48"].price == pytest.approx(40.0)
    belt = lines["belt-2mm-9-glass"]
    assert belt.item.length_m is not None
    assert belt.price == pytest.approx(6 * belt.item.length_m * belt.item.count)
    plates = next(line for line in made.lines if line.item.words.startswith("carriage plate"))
    assert plates.price == pytest.approx(0.05292 * 30)
    assert {line.item.cut_from == "bar" for line in made.lines if line.in_bars} == {True}
    assert {line.in_bars for line in made.lines if line.item.cut_from == "bar"} == {True}


def test_a_carriage_on_two_blocks_has_two() -> None:
    """Two rails of the gantry with two blocks each: four, and four of the carriage's; 40 g each."""
    found = items(build_machine(load_scenario("large-corexy", ["gantry.blocks=2", "carriage.blocks=2"])))
    (blocks,) = [i for i in found if i.name == "block-12"]
    assert blocks.count == 2 * 2 + 1 * 2
    assert blocks.mass_kg == pytest.approx(6 * 0.040)


def test_printed_members_weigh_by_the_metre() -> None:
    """Four columns of 380 mm of a printed box, as desk-corexy has them: as heavy as their length says."""
    machine = build_machine(load_scenario("desk-corexy"))
    assert machine.design.frame is not None
    by_m = machine.design.frame.member("columns").mass_kg_m
    (columns,) = [i for i in items(machine) if i.words.startswith("frame column")]
    assert columns.count == 4
    assert columns.mass_kg == pytest.approx(4 * 0.380 * by_m)
    # A box of 40 x 40 mm with walls of some millimetres weighs between a tenth and a whole of a full one.
    assert 0.1 < by_m / (0.040 * 0.040 * 1270) < 1.0


def test_what_a_list_leaves_out_is_said_in_good_order() -> None:
    """Everything usual, all but one, and nothing: commas, an "and", one name alone, silence."""
    machine = build_machine(load_scenario("spring-mass"))
    none = [n for n in order(machine).notices if "not on this list" in n]
    assert len(none) == 1
    assert none[0].startswith(", ".join(EXTRA_USUAL[:-1]) + f" and {EXTRA_USUAL[-1]} are not on this list")
    lines = [f'"{name}" = 1.0' for name in EXTRA_USUAL]
    but_one = order(machine, read_prices('currency = "EUR"\n[extra]\n' + "\n".join(lines[1:]), "mine.toml"))
    said = [n for n in but_one.notices if "not on this list" in n]
    assert said[0].startswith(f"{EXTRA_USUAL[0]} is not on this list")
    all_there = order(machine, read_prices('currency = "EUR"\n[extra]\n' + "\n".join(lines), "mine.toml"))
    assert not [n for n in all_there.notices if "not on this list" in n]


def test_a_longer_bar_is_asked_for_only_where_three_metres_are_too_short() -> None:
    """A frame three metres wide needs bars of more than the usual lengths; one within them does not."""
    long = order(build_machine(load_scenario("large-corexy", ["frame.width_mm=3200"])))
    (bars,) = [b for b in long.bars if b.name == "slot-4040"]
    assert max(bar.length_m for bar in bars.cutting.bars) > 3.0
    usual = order(build_machine(load_scenario("large-corexy", ["frame.width_mm=2900"])))
    (bars,) = [b for b in usual.bars if b.name == "slot-4040"]
    assert max(bar.length_m for bar in bars.cutting.bars) == 3.0
