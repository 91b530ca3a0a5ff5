"""[band] in the scenario file: strict, taught by its errors, and gone with the part it was about."""

from __future__ import annotations

from typing import Any

import pytest
from beltspring.sim.errors import ScenarioError
from beltspring.sim.scenario.bands import bands_of, nested
from beltspring.sim.scenario.load import load_scenario, scenario_of, with_changes

BARE: dict[str, Any] = {
    "title": "x",
    "layout": "corexy",
    "space": {"x_mm": 200, "y_mm": 200, "z_mm": 200},
    "move": {"pattern": "square"},
}


def with_band(band: Any, **more: Any) -> dict[str, Any]:
    return {**BARE, **more, "band": band}


@pytest.mark.parametrize("band", [{"belts.ea_n": [12000, 19000]}, {"belts": {"ea_n": [12000, 19000]}}])
def test_dotted_and_nested_are_the_same(band: Any) -> None:
    assert bands_of(scenario_of(with_band(band))) == {("belts", "ea_n"): (12000.0, 19000.0)}


@pytest.mark.parametrize(
    ("band", "said"),
    [
        ({"belts.ea_n": 15000}, r"\[band\] belts.ea_n = 15000: must be two numbers, the low and the high"),
        ({"belts.ea_n": [15000]}, "must be two numbers"),
        ({"belts.ea_n": [1, 2, 3]}, r"= \[1, 2, 3\]: must be two numbers"),
        ({"belts.ea_n": [1, 2, 3, 4]}, r"= \[1, ...\]: must be two numbers"),
        ({"belts.a.ea": [1, 2]}, r"no such number; did you mean belts\.a\.ea_n\?"),
        ({"motors.b.holding_torque": [1, 2]}, r"did you mean motors\.b\.holding_torque_nm\?"),
        ({"belts.a.ea_n": [19000, 12000]}, r"belts.a.ea_n = .* its low is above its high"),
        ({"belts.ea_n": ["12000", 19000]}, "must be two numbers"),
        ({"belts.ea_n": [float("nan"), 19000]}, "must be two numbers"),
        ({"belts.ea_n": [19000, 12000]}, r"its low is above its high; write \[12000, 19000\]"),
        ({"belts.ea_n": [1, 19000]}, "both must be 100 to 10000000 N"),
        ({"belts.stiffness_n": [1, 2]}, "no such number; did you mean"),
        ({"belts.ea": [1, 2]}, "did you mean belts.ea_n?"),
        ({"carriage.width_mm": [50, 70]}, "lengths are taken as measured"),
        ({"motion.speed_mm_s": [50, 70]}, "what is asked of the machine is known"),
        ({"feet.count": [3, 5]}, "no number that can be uncertain"),
        ({"belts.part": [3, 5]}, "no number that can be uncertain"),
        ([1, 2], r"must be a table; write \[band\], and below it such as"),
        ({"": [1, 2]}, "no such number"),
        ({"belts": [1, 2], "belts.ea_n": [1, 2]}, "belts = "),
    ],
)
def test_errors_teach(band: Any, said: str) -> None:
    with pytest.raises(ScenarioError, match=said):
        scenario_of(with_band(band))


def test_a_band_of_one_belt_is_its_own() -> None:
    scenario = scenario_of(with_band({"belts.a.ea_n": [12000, 19000], "belts.b": {"ea_n": [13000, 18000]}}))
    assert bands_of(scenario) == {
        ("belts", "a", "ea_n"): (12000.0, 19000.0),
        ("belts", "b", "ea_n"): (13000.0, 18000.0),
    }
    assert nested({" belts . a.ea_n": 3}) == {"belts": {"a": {"ea_n": 3}}}


def test_the_written_value_lies_within() -> None:
    scenario_of(with_band({"belts.ea_n": [12000, 19000]}, belts={"ea_n": 15000}))
    with pytest.raises(ScenarioError, match="the value 20000 lies outside"):
        scenario_of(with_band({"belts.ea_n": [12000, 19000]}, belts={"ea_n": 20000}))
    with pytest.raises(ScenarioError, match="its low must be above 0"):
        scenario_of(with_band({"belts.damping": [0, 0.1]}, belts={"damping": 0.03}))
    scenario_of(with_band({"belts.damping": [0, 0.1]}, belts={"damping": 0}))


def test_changed_from_outside_and_told_so() -> None:
    plain = scenario_of(with_band({"belts.ea_n": [12000, 19000]}))
    assert bands_of(with_changes(plain, {"band.belts.ea_n": [14000, 16000]}))["belts", "ea_n"] == (14000, 16000)
    with pytest.raises(ScenarioError, match=r"--set band.belts.ea_n = 3: must be two numbers"):
        with_changes(plain, {"band.belts.ea_n": 3})
    assert bands_of(load_scenario("desk-corexy", ["band.belts.damping=[0.02, 0.04]"])) == {
        ("belts", "damping"): (0.02, 0.04)
    }


def test_a_new_part_drops_the_band_of_the_old_one() -> None:
    other = with_changes(scenario_of(with_band({"belts.ea_n": [12000, 19000]})), {"belts.part": "belt-2mm-6-steel"})
    assert bands_of(other) == {}
    assert any("band.belts.ea_n" in notice for notice in other.notices)


def test_another_value_drops_the_band_of_the_old_one() -> None:
    plain = scenario_of(with_band({"belts.ea_n": [12000, 19000]}, belts={"ea_n": 15000}))
    other = with_changes(plain, {"belts.ea_n": 40000})
    assert bands_of(other) == {}
    assert any("belts.ea_n is now another value, which drops band.belts.ea_n" in notice for notice in other.notices)
    both = with_changes(plain, {"belts.ea_n": 40000, "band.belts.ea_n": [36000, 45000]})
    assert bands_of(both) == {("belts", "ea_n"): (36000, 45000)}
