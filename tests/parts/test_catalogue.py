"""The catalogue keeps its own rules: a source for every number, a reason for every estimate, units that are known."""

from __future__ import annotations

from dataclasses import replace

import pytest
from beltspring.sim.errors import PartError
from beltspring.sim.parts.catalogue import catalogue, read_parts, rows
from beltspring.sim.parts.kinds import KINDS, MARKS, Kind
from beltspring.sim.scenario.index import all_keys
from beltspring.sim.scenario.units import SI_FACTOR

STONE = Kind("stones", "stones", {"mass_g": "g"}, {"colour": ("grey", "red")}, off="none", off_meaning="weighs nothing")
GOOD = """
[sources.scale]
mark = "published"
text = "kitchen scale"
[pebble]
description = "a pebble"
colour = "grey"
mass_g = { value = 12, unit = "g", band = [10, 14], source = "scale" }
"""


def test_a_good_file_loads() -> None:
    pebble = read_parts(GOOD, STONE, "stones.toml")["pebble"]
    assert (pebble.value("mass_g"), pebble.si("mass_g"), pebble.words["colour"]) == (12, pytest.approx(0.012), "grey")
    assert pebble.numbers["mass_g"].source.words == "kitchen scale (published)"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (', source = "scale"', "", "a number without a source does not load"),
        ('source = "scale"', 'source = "guess"', r"no \[sources.guess\] in this file"),
        ('mark = "published"', 'mark = "sure"', "must be one of published"),
        ('mark = "published"', 'mark = "estimate"', "an estimate needs why"),
        ('text = "kitchen scale"', 'text = " "', "say where the number comes from"),
        ('text = "kitchen scale"', "", "a source has mark and text"),
        ('unit = "g"', 'unit = "kg"', "unit = 'kg': must be 'g'"),
        ("[10, 14]", "[13, 14]", "must be two numbers around the value"),
        ("value = 12", "value = -1", "must be a number, 0 or more"),
        ("value = 12", "value = nan", "must be a number, 0 or more"),
        ("value = 12", "value = true", "must be a number, 0 or more"),
        ("mass_g = {", "mass_kg = {", "mass_kg is nothing that stones have"),
        ('description = "a pebble"', "", "description is missing"),
        ('colour = "grey"', 'colour = "blue"', "must be one of grey, red"),
        ("[pebble]", "[none]", "switches the stones off"),
        ("[pebble]", "[sources.idle]\nmark = 'memory'\ntext = 'x'\n[pebble]", "no number of this file uses it"),
        ("[pebble]", "[pebble", "stones.toml"),
    ],
)
def test_what_a_part_must_not_lack(old: str, new: str, said: str) -> None:
    assert old in GOOD
    with pytest.raises(PartError, match=said):
        read_parts(GOOD.replace(old, new), STONE, "stones.toml")


def test_parts_that_the_scenario_file_promises() -> None:
    """The names that other tools read, and nothing but plain names of our own."""
    promised = {
        "belts": {f"belt-2mm-{w}-{cord}" for w in (6, 9, 12) for cord in ("glass", "steel", "aramid")},
        "motors": {f"motor-17-{length}" for length in (28, 34, 40, 48)} | {"ideal"},
        "guides": {"rod-8-pair", "rod-10-pair", "rod-12-pair", "wheels", "rail-9", "rail-12", "rail-15", "rigid"},
        "frames": {"slot-2020", "slot-2040", "slot-4040", "printed", "rigid"},
        "joints": {"bracket", "tapped-bore"},
        "materials": {"abs", "petg", "petg-carbon", "pla"},
        "feet": {"feet-rubber", "feet-hard", "rigid"},
        "plates": {"aluminium", "glass"},
    }
    for kind, names in promised.items():
        assert names <= set(catalogue().names(kind)), kind


def test_every_number_is_listed_with_its_source() -> None:
    listed = rows()
    assert len(listed) == sum(len(part.numbers) for part in catalogue())
    for row in listed:
        assert row.source.strip()
        assert row.mark in MARKS.values()
        assert row.unit in SI_FACTOR
        assert bool(row.why) == (row.mark == MARKS["estimate"]) or row.why == ""
        if row.band:
            assert row.band[0] <= row.value <= row.band[1]
    assert {row.kind for row in rows("belts")} == {"belts"}


def test_a_part_number_that_a_scenario_can_override_has_the_same_unit_and_fits_its_range() -> None:
    """What the catalogue says must be something the person could have written."""
    compared = 0
    for path, key in all_keys():
        if key.low is None or not key.overrides:
            continue
        table_kind = {
            "belts": "belts",
            "motors": "motors",
            "idlers": "idlers",
            "frame": "frames",
            "feet": "feet",
            "delta": "arms",
        }
        kind = "plates" if key.overrides == ("plate",) else "guides" if key.overrides == ("guide",) else ""
        kind = kind or ("joints" if key.overrides == ("joints",) else table_kind[path[0]])
        unit = KINDS[kind].unit(path[-1])
        assert unit in (None, key.unit), path
        for part in catalogue().parts[kind].values():
            if path[-1] in part.numbers:
                compared += 1
                assert key.low <= part.value(path[-1]) <= (key.high or 0), (path, part.name)
    assert compared > 50


def test_an_unknown_part_is_told_with_its_nearest_spelling() -> None:
    with pytest.raises(PartError, match="did you mean rail-12"):
        catalogue().find("guides", "rail_12")
    with pytest.raises(PartError, match="neither bends nor rubs"):
        catalogue().get("guides", "rigid")
    assert catalogue().find("guides", "rigid") is None


@pytest.mark.parametrize("part", list(catalogue()), ids=lambda part: f"{part.kind}/{part.name}")
def test_no_makers_name_in_a_part(part: object) -> None:
    """A part's own name and description are plain words."""
    makers = {"gates", "elatech", "optibelt", "tsubaki", "schneeberger", "sdp", "unitta", "nema"}
    words = f"{part.name} {part.description}".lower().replace("-", " ").split()  # type: ignore[attr-defined]
    assert not makers & set(words)


BASALT = replace(STONE, uncertain=("mass_g",))


def test_a_number_that_moves_an_answer_needs_its_band() -> None:
    assert read_parts(GOOD, BASALT, "stones.toml")["pebble"].numbers["mass_g"].band == (10, 14)
    bare = GOOD.replace("band = [10, 14], ", "")
    assert read_parts(bare, STONE, "stones.toml")["pebble"].numbers["mass_g"].band is None
    with pytest.raises(PartError, match=r"\[pebble\] mass_g: has no band.*19 of 20 keep"):
        read_parts(bare, BASALT, "stones.toml")
    assert read_parts(bare.replace("value = 12", "value = 0"), BASALT, "stones.toml"), "what is left out has no band"
    with pytest.raises(PartError, match="its low must be above 0"):
        read_parts(GOOD.replace("[10, 14]", "[0, 14]"), BASALT, "stones.toml")


def test_a_band_may_have_a_source_of_its_own() -> None:
    two = GOOD.replace("[pebble]", "[sources.beach]\nmark = 'practice'\ntext = 'what lies there'\n[pebble]")
    two = two.replace('source = "scale" }', 'source = "scale", band_source = "beach" }')
    mass = read_parts(two, STONE, "stones.toml")["pebble"].numbers["mass_g"]
    assert (mass.source.text, mass.band_source.text) == ("kitchen scale", "what lies there")
    with pytest.raises(PartError, match=r"band_source = 'sea': no \[sources.sea\]"):
        read_parts(two.replace('band_source = "beach"', 'band_source = "sea"'), STONE, "stones.toml")


@pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))
def test_uncertain_numbers_are_numbers_of_their_kind(kind: Kind) -> None:
    for key in (*kind.uncertain, *kind.follows, *kind.follows.values()):
        assert kind.unit(key) is not None, key
    assert set(kind.follows) <= set(kind.uncertain)
    told = [row for row in rows(kind.name) if row.key in kind.uncertain and row.key not in kind.follows]
    assert all(row.band is not None for row in told if row.value > 0)
