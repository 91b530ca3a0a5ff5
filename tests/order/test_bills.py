"""Whole lists counted, measured and weighed by hand: a machine on rods and rails, one on wheels, one on arms, odd frames.

Masses: profiles and rails by the metre as the catalogue has them, printed parts and screws as the order room estimates.
"""

from __future__ import annotations

import math

import pytest
from beltspring.sim.errors import InputError
from beltspring.sim.machine.build import build_machine
from beltspring.sim.order.cutting import cut
from beltspring.sim.order.order import order
from beltspring.sim.order.prices import load_prices, read_prices
from beltspring.sim.order.shopping import items
from beltspring.sim.scenario.load import load_scenario

# g a metre: rods 12 mm of steel, rails, profiles; g a piece of what is bought; prints g.
ROD_12, RAIL_12 = math.pi * 6.0**2 * 7.85, 650.0
SLOT_2020, SLOT_2040, SLOT_4040 = 460.0, 920.0, 1410.0
M3, M5, M8, NUT_5, NUT_8 = 0.8, 3.5, 12.0, 3.0, 8.0
PLATE_5, PLATE_8, BRACKET_5 = 25.0, 90.0, 10.0
#: 70 x 60 x 12 mm and 50 x 60 x 30 mm of prints at 1050 kg/m3.
CARRIAGE_PLATE, GANTRY_END = 52.92, 94.5


def bill(name: str, *sets: str) -> list[tuple[str, str, int, float | None, float | None]]:
    """(name, words, count, length mm, mass g) of every line."""
    made = items(build_machine(load_scenario(name, sets)))
    return [
        (i.name, i.words, i.count, None if i.length_m is None else 1e3 * i.length_m,
         None if i.mass_kg is None else 1e3 * i.mass_kg)
        for i in made
    ]  # fmt: skip


def held(found, wanted) -> None:
    """Every line of `wanted`, (name, how its words begin, count, length mm, mass g), is there once."""
    for name, words, count, length, mass in wanted:
        (line,) = [line for line in found if line[0] == name and line[1].startswith(words)]
        assert line[2] == count, line
        assert (line[3] is None) == (length is None), line
        if length is not None:
            assert line[3] == pytest.approx(length, abs=0.05), line
        assert line[4] == pytest.approx(mass, rel=2e-3), line


def test_a_machine_on_rods_and_rails() -> None:
    """Frame 620 x 620 x 700 of 40 mm, reach 400 x 400 x 400, bed on two drives, two levels of belt 9 mm wide."""
    found = bill("large-corexy")
    # Two rails of the gantry and one of the carriage, 12 mm, with a screw every 25 mm from 5 mm on, four in each block.
    rails = 2 * (math.floor((540 - 10) / 25) + 1) + math.floor((519.5 - 10) / 25) + 1
    held(found, [
        ("motor-17-48", "motor a, b", 2, None, 2 * 360.0),
        ("pulley-20", "pulley, 20 teeth, 2 mm pitch, for 9 mm belt", 2, None, 2 * 4.2),
        ("idler-20-toothed", "toothed idler, 20 teeth", 6, None, 6 * 7.0),
        ("idler-20-smooth", "smooth idler, 12 mm", 2, None, 2 * 7.0),
        ("z-drive", "Z drive: motor, screw of 520 mm, nut, coupling", 2, None, 900.0),  # the travel and 120 mm
        ("rod-12", "12 mm h6 rod of the bed", 4, 540.0, 4 * 0.540 * ROD_12),
        ("rail-12", "miniature profile rail, size 12, of the gantry", 2, 540.0, 2 * 0.540 * RAIL_12),
        ("rail-12", "miniature profile rail, size 12, of the carriage", 1, 519.5, 0.5195 * RAIL_12),
        ("bushing-12", "linear ball bushing", 8, None, 256.0),
        ("block-12", "block for a profile rail", 3, None, 120.0),
        ("slot-4040", "column", 4, 700.0, 4 * 0.700 * SLOT_4040),
        ("slot-4040", "top member across", 2, 540.0, 2 * 0.540 * SLOT_4040),
        ("slot-4040", "top member from front", 2, 540.0, 2 * 0.540 * SLOT_4040),
        ("slot-4040", "base member across", 2, 540.0, 2 * 0.540 * SLOT_4040),
        ("slot-4040", "base member from front", 2, 540.0, 2 * 0.540 * SLOT_4040),
        ("plates-m8", "corner plate", 32, None, 32 * PLATE_8),  # two at each of sixteen ends
        ("feet-hard", "hard foot", 4, None, 40.0),
        ("plate-aluminium", "aluminium plate, 420 x 420 x 6 mm", 1, None, 42 * 42 * 0.6 * 2.7),
        ("slot-4040", "arm under the bed", 2, 450.0, 2 * 0.450 * SLOT_4040),
        ("printed", "carriage plate", 1, None, CARRIAGE_PLATE),
        ("printed", "gantry end", 2, None, 2 * GANTRY_END),
        ("printed", "motor mount", 2, None, 2 * 45.0),
        ("printed", "rod holder", 8, None, 8 * 12.0),  # two at each of the bed's four rods
        ("printed", "belt clamp", 4, None, 4 * 4.0),
        ("printed", "idler mount on the frame", 4, None, 4 * 20.0),
        # Four at each of two motors and two drives, two in each of four clamps, the rails', four in each of three blocks.
        ("screw-m3", "screw M3", 4 * 4 + 8 + rails + 12, None, M3 * (4 * 4 + 8 + rails + 12)),
        ("screw-m5", "screw M5 x 10 mm: frame, wheels, holders; 8 of them x 25 mm", 8, None, 8 * M5),
        ("screw-m8", "screw M8", 144, None, 144 * M8),
        ("slot-nut-m8", "slot nut M8", 144, None, 144 * NUT_8),
    ])  # fmt: skip
    assert len(found) == 2 + 29  # and the two belts: nothing else is on the list


def test_a_machine_on_wheels() -> None:
    """Two columns of 440 with a beam, a ring of 400 x 400 below, all of 20 x 40 mm; carriage, bed and lift on wheels."""
    found = bill("moving-bed-wheels")
    held(found, [
        ("z-drive", "Z drive: motor, screw of 360 mm", 1, None, 450.0),
        ("slot-2040", "column", 2, 440.0, 2 * 0.440 * SLOT_2040),
        ("slot-2040", "beam on the columns", 1, 400.0 - 2 * 20, 0.360 * SLOT_2040),
        ("slot-2040", "base member across", 2, 400.0, 2 * 0.400 * SLOT_2040),
        ("slot-2040", "base member from front", 2, 400.0 - 2 * 20, 2 * 0.360 * SLOT_2040),
        # Eight ends of the ring, two of the beam, the feet of two columns; two plates at each.
        ("plates", "corner plate", 24, None, 24 * PLATE_5),
        ("wheel", "V-wheel", 4 * 4, None, 320.0),  # the columns carry the lift's on two lines, carriage and bed have one each
        ("plate-glass", "glass, 240 x 240 x 4 mm", 1, None, 24 * 24 * 0.4 * 2.5),
        # Two motors and a drive; two belts.
        ("screw-m3", "screw M3", 4 * 3 + 8, None, M3 * 20),
        # Plates: four in each of two members at twelve joints. Wheels of two bought lines, two idlers of 7 mm.
        ("screw-m5", "screw M5 x 10 mm: frame, wheels, holders; 2 of them x 20 mm", 12 * 8 + 2 * 4 + 2, None, M5 * 106),
        ("slot-nut-m5", "slot nut M5", 12 * 8, None, NUT_5 * 96),
    ])  # fmt: skip


def test_a_machine_on_arms() -> None:
    """Three columns of 950, a triangle at top and base, three rails on the columns, six arms between twelve joints."""
    found = bill("tall-delta")
    machine = build_machine(load_scenario("tall-delta"))
    side = 1e3 * math.sqrt(3) * machine.column_radius_m - 40
    rails = 3 * (math.floor((950 - 10) / 25) + 1)
    held(found, [
        ("slot-4040", "column", 3, 950.0, 3 * 0.950 * SLOT_4040),
        ("slot-4040", "top member, ends cut at 60", 3, side, 3e-3 * side * SLOT_4040),
        ("slot-4040", "base member, ends cut at 60", 3, side, 3e-3 * side * SLOT_4040),
        ("plates-m8", "corner plate", 2 * 12, None, 24 * PLATE_8),
        ("block-12", "block", 3, None, 120.0),
        # Two to each of three carriages, 44 g a metre; a joint of 7 g at either end.
        ("arm-tube-10", "arm, 355 mm between ball centres: pulled carbon tube", 6, 355.0, 6 * 0.355 * 44),
        ("arm-tube-10-joint", "ball joint", 12, None, 12 * 7.0),
        ("printed", "carriage plate", 3, None, 3 * CARRIAGE_PLATE),
        ("printed", "platform", 1, None, 60.0),
        ("screw-m3", "screw M3", 4 * 3 + 2 * 2 * 3 + rails + 4 * 3, None, M3 * (36 + rails)),
        ("screw-m5", "screw M5", 3, None, 3 * M5),
        ("screw-m8", "screw M8", 12 * 8, None, 96 * M8),
    ])  # fmt: skip
    assert not [line for line in found if line[1].startswith(("gantry end", "rod holder"))]


def test_what_closes_a_frame_is_bought_or_printed() -> None:
    """Frame 620 x 620 x 700: a plywood rear, a printed bottom, two crossed bars at each side."""
    sets = ("frame.part=slot-2020", "frame.panels.rear.part=plywood", "frame.panels.bottom.part=printed",
            "frame.panels.sides.part=slot-2020", "frame.panels.sides.diagonals=2")  # fmt: skip
    found = bill("large-corexy", *sets)
    diagonal = math.hypot(620, 700)
    held(found, [
        ("panel-plywood", "plywood panel at the rear, 620 x 700 x 6 mm", 1, None, 62 * 70 * 0.6 * 0.65),
        ("printed", "printed panel below, 620 x 620 x 4 mm", 1, None, 62 * 62 * 0.4 * 1.27),
        ("slot-2020", "diagonal at the sides", 4, diagonal, 4e-3 * diagonal * SLOT_2020),
        # Plates: 16 x 8. Twelve in each sheet, two at each end of four bars, the holders of four rods, eight idlers.
        ("screw-m5", "screw M5", 128 + 24 + 16 + 16 + 8, None, M5 * 192),
        ("slot-nut-m5", "slot nut M5", 128 + 24 + 16 + 16, None, NUT_5 * 184),
    ])  # fmt: skip


def test_brackets_hold_where_one_of_the_two_has_a_slot() -> None:
    """Printed columns with rings of slot profile: sixteen brackets; a screw into each member, a nut into the slot."""
    found = bill("large-corexy", "frame.part=slot-2020", "frame.columns=printed", "frame.joints=bracket")
    held(found, [
        ("bracket", "cast angle bracket for M5", 16, None, 16 * BRACKET_5),
        ("screw-m5", "screw M5", 2 * 16 + 16 + 8, None, M5 * 56),
        ("slot-nut-m5", "slot nut M5", 16 + 16, None, NUT_5 * 32),
    ])  # fmt: skip


def test_rings_that_are_printed_into_slotted_columns_get_brackets_too() -> None:
    found = bill(
        "large-corexy", "frame.part=slot-2020", "frame.top=printed", "frame.base=printed", "frame.joints=bracket"
    )
    (line,) = [line for line in found if line[0] == "bracket"]
    assert line[2] == 16


def test_a_piece_as_long_as_the_longest_bar_is_cut_from_it() -> None:
    made = cut([1.0, 1.0], [0.5, 1.0], 0.003)
    assert [bar.length_m for bar in made.bars] == [1.0, 1.0]
    assert [bar.offcut_m for bar in made.bars] == [0.0, 0.0]
    assert cut([], [1.0]).bars == ()
    with pytest.raises(InputError, match="1001 mm is longer than the longest bar sold, 1000 mm"):
        cut([1.001], [0.5, 1.0], 0.003)


def test_bars_without_a_list_of_them_are_sold_by_one_two_and_three_metres() -> None:
    """Where a price file names no bars (common practice): 8.02 m of pieces, by the metre, from three of three metres."""
    prices = read_prices('currency = "EUR"\n[per_m]\n"slot-4040" = 10', "mine.toml")
    made = order(build_machine(load_scenario("large-corexy")), prices)
    (bars,) = [b for b in made.bars if b.name == "slot-4040"]
    assert {bar.length_m for bar in bars.cutting.bars} <= {1.0, 2.0, 3.0}
    assert bars.cutting.bought_m == 9.0
    assert bars.price == pytest.approx(90.0)


def test_bars_are_of_two_metres_where_those_fit_best() -> None:
    """Of 2020 profile moving-bed-wheels needs two lines of 360 mm or less: one metre holds both."""
    made = order(build_machine(load_scenario("moving-bed-wheels")))
    bought = {b.name: sorted(bar.length_m for bar in b.cutting.bars) for b in made.bars}
    assert bought["slot-2020"] == [1.0]
    # 440 x 2, 360, 400 x 2, 360 x 2: 2760 mm and six cuts; nothing shorter than a bar of three metres holds it.
    assert bought["slot-2040"] == [3.0]


def test_prices_of_ones_own_are_not_called_invented() -> None:
    assert not read_prices('currency = "EUR"', "mine.toml").invented
    assert load_prices("example").invented
