"""The order list: counts, lengths, masses, bars, a person's own prices, and its three forms."""

from __future__ import annotations

import csv
import io
import json

import pytest
from beltspring.sim.errors import InputError
from beltspring.sim.machine.build import build_machine
from beltspring.sim.machine.routing import belt_path
from beltspring.sim.order.members import members
from beltspring.sim.order.order import order
from beltspring.sim.order.prices import load_prices, read_prices
from beltspring.sim.order.shopping import items
from beltspring.sim.scenario.load import load_scenario
from beltspring.sim.scenario.source import shipped_scenarios
from beltspring.viz.cli import main

NAMES = [s.name for s in shipped_scenarios()]
OWN = """
currency = "EUR"
saw_mm = 2
[each]
"motor-17-48" = 10
[per_m]
"belt-2mm-9-glass" = 5
[per_kg]
printed = 20
[stock]
"slot-4040" = { 1000 = 10, 3000 = 24 }
"""


def machine(name="large-corexy", *sets):
    return build_machine(load_scenario(name, sets))


def by_name(found):
    out = {}
    for item in found:
        out.setdefault(item.name, []).append(item)
    return out


def test_parts_of_the_large_machine_counted_by_hand():
    found = by_name(items(machine()))
    assert [i.count for i in found["motor-17-48"]] == [2]
    assert [i.count for i in found["idler-20-toothed"]] == [6]
    assert [i.count for i in found["idler-20-smooth"]] == [2]
    # The bed's two drives: a pair of 12 mm rods at each side, two bushings on each.
    assert [i.count for i in found["rod-12"]] == [4]
    assert [i.count for i in found["bushing-12"]] == [8]
    assert sum(i.count for i in found["rail-12"]) == 3
    assert [i.count for i in found["block-12"]] == [3]
    # Four columns of 700, rings of 620 - 2 x 40 between them, arms under the bed of 420 + 2 x 15.
    lengths = sorted(round(1e3 * i.length_m) for i in found["slot-4040"] for _ in range(i.count))
    assert lengths == [450] * 2 + [540] * 8 + [700] * 4


def test_a_belt_is_as_long_as_its_way_and_its_clamps():
    built = machine()
    for item, belt in zip(by_name(items(built))["belt-2mm-9-glass"], built.belts, strict=True):
        exact = belt_path(built, belt).length_m + 2 * 0.030
        assert 0 <= item.length_m - exact < 2e-3
        assert item.note.startswith(f"{round(item.length_m / 2e-3)} teeth")
        assert item.mass_kg == pytest.approx(item.length_m * 10.8e-3)


@pytest.mark.parametrize("name", NAMES)
def test_masses_add_up_and_belong_to_the_machine(name):
    built = machine(name)
    made = order(built)
    assert made.total_kg == pytest.approx(sum(i.mass_kg or 0.0 for i in items(built)))
    assert made.printed_kg <= made.total_kg
    for item in items(built):
        assert item.count >= 1
        assert item.length_m is None or item.length_m > 0
        assert (item.cut_from == "bar") <= (item.length_m is not None)


def test_members_of_a_frame_weigh_what_the_model_says():
    """The model's frame: its members' outer lengths. The cut ones are shorter by the columns between them."""
    built = machine()
    spec, size = built.design.frame, built.design.frame_size
    cut = sum(count * length for _, count, length, _ in members(built))
    outer = 4 * (size.width_m + size.depth_m) + 4 * size.height_m
    assert outer - cut == pytest.approx(16 * spec.side_a_m)


def test_two_columns_where_the_gantry_stands_on_two():
    words = {w: n for w, n, _, _ in members(machine("moving-bed-wheels"))}
    assert words["column"] == 2
    assert words["beam on the columns"] == 1


def test_bars_hold_every_piece_and_state_their_offcut():
    made = order(machine(), read_prices(OWN, "own.toml"))
    (bars,) = [b for b in made.bars if b.name == "slot-4040"]
    pieces = sorted(p for bar in bars.cutting.bars for p in bar.pieces_m)
    assert pieces == pytest.approx(sorted([0.45] * 2 + [0.54] * 8 + [0.7] * 4))
    for bar in bars.cutting.bars:
        left = bar.length_m - sum(bar.pieces_m) - 0.002 * len(bar.pieces_m)
        assert bar.offcut_m == pytest.approx(max(0.0, left))
    # 8.02 m of pieces: three bars of 3 m are the cheapest; four of 1 m and two of 3 m would be 88.
    assert bars.price == pytest.approx(72)


def test_own_prices_and_what_has_none():
    made = order(machine(), read_prices(OWN, "own.toml"))
    prices = {line.item.name: line.price for line in made.lines}
    assert prices["motor-17-48"] == 20
    assert prices["belt-2mm-9-glass"] == pytest.approx(5 * 2.02)
    printed = sum(line.price for line in made.lines if line.item.name == "printed")
    assert printed == pytest.approx(20 * made.printed_kg)
    assert "rod-12" in made.unpriced
    assert "slot-4040" not in made.unpriced
    bars = sum(b.price for b in made.bars if b.price is not None)
    assert made.price == pytest.approx(20 + 2 * 5 * 2.02 + printed + bars)


def test_no_price_without_a_price_file():
    made = order(machine())
    assert made.price is None
    assert made.currency == ""
    assert all(line.price is None for line in made.lines)


def test_the_shipped_example_says_that_it_is_invented(capsys):
    assert load_prices("example").invented
    assert main(["order", "desk-corexy", "--prices", "example"]) == 0
    assert "INVENTED" in capsys.readouterr().out


@pytest.mark.parametrize("name", NAMES)
def test_the_example_prices_every_shipped_machine(name):
    made = order(machine(name), load_prices("example"))
    free = {"motor, any", "frame, any"}  # a teaching machine's ideal motor and rigid frame cannot be bought
    assert set(made.unpriced) <= free


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "currency"),
        ("currency = 5", "currency = 5"),
        ('currency = "EUR"\n[each]\nx = "3"', "[each] x = '3': must be a number"),
        ('currency = "EUR"\n[each]\nx = -3', "must be a number, 0 to"),
        ('currency = "EUR"\n[each]\nx = true', "must be a number"),
        ('currency = "EUR"\n[per_m]\nx = nan', "must be a number"),
        ('currency = "EUR"\n[eech]\nx = 3', "did you mean each?"),
        ('currency = "EUR"\neach = 3', "must be a table"),
        ('currency = "EUR"\n[stock]\nx = { long = 3 }', "the length must be a number of mm"),
        ('currency = "EUR"\n[stock]\nx = {}', "no length is given"),
        ('currency = "EUR"\nsaw_mm = 50', "saw_mm = 50: must be a number, 0 to 20"),
        ("currency = ", "currency has no value"),
        ("currency", "must be TOML"),
        ("a = " + "[" * 3000, "nested too deeply"),
    ],
)
def test_a_price_file_that_is_wrong_is_refused_in_words(text, says):
    with pytest.raises(InputError) as error:
        read_prices(text, "mine.toml")
    assert "mine.toml" in str(error.value)
    assert says in str(error.value)


def test_a_misspelt_name_in_the_price_file_is_told():
    prices = read_prices('currency = "EUR"\n[each]\n"moter-17-48" = 3\n"motor-17-28" = 3', "mine.toml")
    notices = order(machine(), prices).notices
    assert any("moter-17-48" in n and "motor-17-48" in n for n in notices)
    assert not any("motor-17-28" in n for n in notices)


def test_a_piece_longer_than_every_bar(tmp_path, capsys):
    prices = tmp_path / "short.toml"
    prices.write_text('currency = "EUR"\n[stock]\n"slot-4040" = { 500 = 4 }\n', encoding="utf-8")
    assert main(["order", "large-corexy", "--prices", str(prices)]) == 2
    assert "longer than the longest bar" in capsys.readouterr().err


@pytest.mark.parametrize("data", [b"\xff\xfe", None])
def test_a_price_file_that_cannot_be_read(tmp_path, capsys, data):
    file = tmp_path / "mine.toml"
    if data is not None:
        file.write_bytes(data)
    assert main(["order", "desk-corexy", "--prices", str(file)]) == 2
    assert "mine.toml" in capsys.readouterr().err


def test_json_and_csv_say_the_same(capsys):
    assert main(["order", "large-corexy", "--prices", "example", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert main(["order", "large-corexy", "--prices", "example", "--csv"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    listed = [r for r in rows if r["group"] not in ("bars", "total")]
    assert [(r["name"], int(r["count"])) for r in listed] == [(i["name"], i["count"]) for i in said["items"]]
    total = next(r for r in rows if r["group"] == "total")
    assert float(total["mass_g"]) == pytest.approx(said["total_mass_g"])
    assert float(total["price"]) == pytest.approx(said["total_price"])
    assert {b["name"] for b in said["bars"]} == {r["name"] for r in rows if r["group"] == "bars"}
    assert said["prices_invented"] is True


def test_out_writes_text_csv_and_json(tmp_path):
    place = tmp_path / "list"
    assert main(["order", "desk-corexy", "--out", str(place), "--quiet"]) == 0
    assert sorted(p.name for p in place.iterdir()) == [
        "build.svg",
        "order.csv",
        "order.json",
        "order.txt",
        "scenario.toml",
    ]
    assert "Total mass" in (place / "order.txt").read_text(encoding="utf-8")


def test_csv_and_json_at_once_are_refused(capsys):
    assert main(["order", "desk-corexy", "--csv", "--json"]) == 2
    assert "--out writes all forms" in capsys.readouterr().err


def test_screws_and_nuts_follow_the_slot():
    """40 mm profile has 8 mm slots, which take M8. Plates: sixteen corners of two plates with eight screws and nuts."""
    large = by_name(items(machine()))
    assert [i.count for i in large["screw-m8"]] == [16 * 8 + 2 * 2 * 4]  # and the holders of the bed's four rods
    assert [i.count for i in large["slot-nut-m8"]] == [16 * 8 + 2 * 2 * 4]
    assert "slot-nut-m5" not in large
    small = by_name(items(machine("large-corexy", "frame.part=slot-2020")))
    assert "screw-m8" not in small
    assert [i.count for i in small["slot-nut-m5"]] == [16 * 8 + 2 * 2 * 4]
    assert [i.count for i in small["plates"]] == [i.count for i in large["plates-m8"]] == [32]


def test_mixed_members_take_each_its_own_screws():
    """Brackets between columns of 40 mm and rings of 20 mm: one screw into each."""
    mixed = by_name(
        items(machine("large-corexy", "frame.part=slot-2020", "frame.columns=slot-4040", "frame.joints=bracket"))
    )
    assert [i.count for i in mixed["screw-m8"]] == [16]
    assert [i.count for i in mixed["slot-nut-m5"]] == [16 + 2 * 2 * 4]


def test_a_tapped_bore_takes_a_screw_and_no_nut():
    found = by_name(items(machine("large-corexy", "frame.joints=tapped-bore")))
    assert [i.count for i in found["screw-m8"]] == [16 + 2 * 2 * 4]
    assert [i.count for i in found["slot-nut-m8"]] == [2 * 2 * 4]
