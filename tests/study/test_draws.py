"""Uncertain numbers: their distribution by hand, the same draw for the same part, and what it does to a design."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.machine.build import build_machine, uncertain_numbers
from beltspring.sim.parts.design import Drawn, Uncertain
from beltspring.sim.scenario.load import load_scenario, with_changes
from beltspring.sim.study.draws import sobol_draws, values
from scipy import stats

EA = Uncertain(
    "belts.ea_n", ("belts.ea_n",), 15000, 10000, 19000, "N", "", ("file", "belts.ea_n"), ("file", "belts.ea_n")
)


def test_median_band_and_cut_by_hand() -> None:
    """z of 2 gives the band's ends by its definition; shares by scipy.stats.truncnorm, which is not used inside."""
    shares = stats.truncnorm(-3, 3).cdf([-2, 0, 1, 2, 3, -3])
    by_hand = [10000, 15000, 15000 * np.sqrt(19 / 15), 19000, 15000 * (19 / 15) ** 1.5, 15000 * (10 / 15) ** 1.5]
    assert values(EA, shares) == pytest.approx(by_hand, rel=1e-9)


def test_nineteen_of_twenty_keep_the_band() -> None:
    drawn = values(EA, (np.arange(20000) + 0.5) / 20000)
    assert np.mean((drawn >= 10000) & (drawn <= 19000)) == pytest.approx(0.957, abs=0.002)  # 0.9545 / 0.9973 by tables
    assert np.median(drawn) == pytest.approx(15000, rel=1e-3)


def test_zero_is_half_normal() -> None:
    none = replace(EA, value=0.0, low=0.0, high=0.1)
    drawn = values(none, (np.arange(20000) + 0.5) / 20000)
    assert drawn.min() >= 0
    assert drawn.max() <= 0.15
    # Mean of a half-normal, sigma sqrt(2 / pi) (any text), the tail beyond three sigma taken off.
    assert drawn.mean() == pytest.approx(0.05 * np.sqrt(2 / np.pi), rel=0.02)


def test_one_sided_bands_and_points() -> None:
    up = replace(EA, value=10000)
    assert values(up, np.array([0.0, 0.3, 0.5])) == pytest.approx([10000] * 3)
    assert values(replace(EA, low=15000, high=15000), np.array([0.01, 0.99])) == pytest.approx([15000, 15000])


@pytest.mark.parametrize("other", ["belts.part=belt-2mm-9-glass", 'title="other"', "feet.part=feet-hard"])
def test_the_same_draw_for_the_same_part(other: str) -> None:
    key, _, value = other.partition("=")
    here = load_scenario("desk-corexy")
    there = with_changes(here, {key: value.strip('"')})
    mine, theirs = (uncertain_numbers(build_machine(s)) for s in (here, there))
    both = sobol_draws([mine, theirs], 16)
    for i in range(16):
        a, b = both.machine(mine, i), both.machine(theirs, i)
        assert all(a.parts[k] == b.parts[k] for k in a.parts.keys() & b.parts.keys())
        assert len(a.parts.keys() & b.parts.keys()) > 10


def test_belts_of_one_cord_are_wrong_together() -> None:
    """Nobody knows how stiff a millimetre of the cord is: 6 and 9 mm of it are off by the same factor."""
    here = load_scenario("desk-corexy")
    wide = with_changes(here, {"belts.part": "belt-2mm-9-glass"})
    mine, theirs = (uncertain_numbers(build_machine(s)) for s in (here, wide))
    draws = sobol_draws([mine, theirs], 8)
    narrow_n = draws.machine(mine, 3).parts["belts", "belt-2mm-6-glass", "ea_n"]
    assert draws.machine(theirs, 3).parts["belts", "belt-2mm-9-glass", "ea_n"] == pytest.approx(1.5 * narrow_n)


def test_seeds_and_evenness() -> None:
    numbers = uncertain_numbers(build_machine(load_scenario("desk-corexy")))
    one, again, other = sobol_draws([numbers], 128, 1), sobol_draws([numbers], 128, 1), sobol_draws([numbers], 128, 2)
    assert np.array_equal(one.shares, again.shares)
    assert not np.array_equal(one.shares, other.shares)
    for column in one.shares.T:
        assert np.array_equal(np.histogram(column, 16, (0, 1))[0], np.full(16, 8)), (
            "Sobol points are even in each number"
        )
    off = np.corrcoef(one.shares.T) - np.eye(len(one.columns))
    assert np.abs(off[:10, :10]).max() < 0.1, "the widest bands are drawn apart from each other"
    assert np.sqrt(np.mean(off**2)) < 0.05, "random ones have 1 / sqrt(128) = 0.09"


def test_what_is_drawn_reaches_the_design() -> None:
    scenario = with_changes(load_scenario("desk-corexy"), {"band.carriage.mass_g": [300, 350], "belts.ea_n": 16000})
    told = build_machine(scenario)
    drawn = Drawn(
        {
            ("guides", "rod-8-pair", "friction_n"): 0.5,
            ("guides", "rod-8-pair", "static_ratio"): 1.2,
            ("joints", "bracket", "joint_nm_per_rad"): 500.0,
            ("materials", "petg", "elastic_gpa"): 2.0,
            ("belts", "belt-2mm-6-glass", "ea_n"): 11000.0,
        },
        {("carriage", "mass_g"): 333.0},
        {"base": 1.04},
    )
    got = build_machine(scenario, drawn)
    guide, frame = got.design.carriage.guide, got.design.frame
    assert guide is not None
    assert frame is not None
    assert (guide.friction_n, guide.friction_static_n) == (pytest.approx(1.0), pytest.approx(1.2))  # two rods
    assert (frame.joint_nm_rad, frame.elastic_modulus_pa) == (500, pytest.approx(2e9))
    assert got.design.belts["a"].ea_n == 16000, "written: measured, whatever the part's band is"
    assert got.body("carriage").mass_kg == pytest.approx(0.333)
    assert got.body("base").mass_kg == pytest.approx(1.04 * told.body("base").mass_kg)
    assert got.body("base").inertia == pytest.approx([1.04 * i for i in told.body("base").inertia])
    keys = {n.key for n in uncertain_numbers(told)}
    assert "belts.ea_n" not in keys
    assert {"carriage.mass_g", "belts.damping", "frame.base_mass_g"} <= keys
    assert "bed.mass_g" not in keys, "written in the file: weighed"


def test_simple_leaves_out_what_it_does_not_have() -> None:
    keys = {n.key for n in uncertain_numbers(build_machine(load_scenario("desk-corexy", ["detail=simple"])))}
    assert not any(key.startswith("feet.") or "stiffness_n_per_mm" in key for key in keys)
    assert {"belts.ea_n", "carriage.friction_n", "frame.joint_nm_per_rad"} <= keys


BAND = {"band.belts.ea_n": [12000, 19000]}


@pytest.mark.parametrize(
    ("own", "reached"),
    [
        ({"belts.a.pretension_n": 20}, True),  # a table of its own, the same part
        ({"belts.a.part": "belt-2mm-6-glass"}, True),  # the same part by name
        ({"belts.a.part": "belt-2mm-9-glass"}, False),  # another EA: its own catalogue band holds
        ({"belts.a.ea_n": 15000}, False),  # written for that belt alone: measured
        ({"belts.a.pretension_n": 20, "band.belts.a.ea_n": [14000, 16000]}, False),  # its own band
    ],
)
def test_the_band_of_all_belts_reaches_one_with_a_table_of_its_own(own, reached) -> None:
    here = load_scenario("desk-corexy", ["detail=simple"])
    numbers = uncertain_numbers(build_machine(with_changes(here, {**BAND, **own})))
    (all_belts,) = [n for n in numbers if n.key == "belts.ea_n"]
    assert ("belts.a.ea_n" in all_belts.keys) is reached
    drawn = Drawn()
    drawn.put(all_belts, 13000.0)
    machine = build_machine(with_changes(here, {**BAND, **own}), drawn)
    ea = {drive: belt.ea_n for drive, belt in machine.design.belts.items()}
    assert ea["b"] == 13000
    assert (ea["a"] == 13000) is reached
    # Nothing is uncertain twice: a's number is drawn from one band, or from none where it is written.
    assert sum("belts.a.ea_n" in n.keys for n in numbers) == (0 if own == {"belts.a.ea_n": 15000} else 1)


def test_the_band_of_all_motors_reaches_one_with_a_table_of_its_own() -> None:
    here = load_scenario("desk-corexy", ["detail=simple"])
    changed = with_changes(here, {"band.motors.rotor_inertia_g_cm2": [40, 90], "motors.a.current_a": 1.3})
    (number,) = [n for n in uncertain_numbers(build_machine(changed)) if n.key == "motors.rotor_inertia_g_cm2"]
    assert "motors.a.rotor_inertia_g_cm2" in number.keys
