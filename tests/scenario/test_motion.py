"""Motion, move and recording in SI: each key by its own factor."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
from beltspring.sim.errors import ScenarioError
from beltspring.sim.scenario import names
from beltspring.sim.scenario.load import scenario_of
from beltspring.sim.scenario.motion import (
    PatternChoices,
    ShaperSpec,
    axis_limits,
    motion_limits,
    move_spec,
    pattern_choices,
    reach,
    record_spec,
    shapers,
)


@pytest.fixture(autouse=True)
def _everything_built(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(names, "NOT_BUILT", {})
    monkeypatch.setattr(names, "SHAPERS", ("zero-vibration",))


def test_file_units_become_si(small: dict[str, Any]) -> None:
    small["motion"] = {
        "speed_mm_s": 150, "acceleration_mm_s2": 4000, "jerk_mm_s3": 200000, "corner_speed_step_mm_s": 5,
        "corner_tolerance_mm": 0.05,
    }  # fmt: skip
    small["move"] |= {"size_mm": 60, "settle_ms": 250, "repeats": 3}
    small["record"] = {"step_ms": 0.5}
    scenario = scenario_of(small)
    limits = motion_limits(scenario)
    assert limits.speed_m_s == pytest.approx(0.150)
    assert limits.acceleration_m_s2 == pytest.approx(4.0)
    assert limits.jerk_m_s3 == pytest.approx(200.0)
    assert limits.corner_speed_step_m_s == pytest.approx(0.005)
    assert limits.corner_tolerance_m == pytest.approx(5e-5)
    move = move_spec(scenario)
    assert (move.pattern, move.program, move.repeats, move.axis) == ("square", None, 3, "x")
    assert move.size_m == pytest.approx(0.060)
    assert move.settle_s == pytest.approx(0.250)
    assert record_spec(scenario).step_s == pytest.approx(0.0005)
    assert reach(scenario) == pytest.approx((0.180, 0.160, 0.150))


def test_shapers_by_axis(small: dict[str, Any]) -> None:
    small["motion"] = {"shaper": {"y": {"kind": "zero-vibration", "frequency_hz": "auto"}}}
    assert shapers(scenario_of(small)) == {"y": ShaperSpec("zero-vibration", "auto", 0.05)}
    small["motion"]["shaper"]["x"] = {"kind": "zero-vibration", "frequency_hz": 48, "damping": 0.1}
    assert next(iter(shapers(scenario_of(small)).items())) == ("x", ShaperSpec("zero-vibration", 48.0, 0.1))
    assert shapers(scenario_of({k: v for k, v in small.items() if k != "motion"})) == {}


def test_a_program_is_looked_for_beside_the_scenario(small: dict[str, Any]) -> None:
    small["move"] = {"gcode": "parts/bracket.gcode"}
    assert move_spec(scenario_of(small, folder=Path("shed"))).program == Path("shed/parts/bracket.gcode")


def test_the_usual_size_fits_a_small_machine(small: dict[str, Any]) -> None:
    assert move_spec(scenario_of(small)).size_m == pytest.approx(0.060)
    small["space"] = {"x_mm": 50, "y_mm": 80, "z_mm": 50}
    assert move_spec(scenario_of(small)).size_m == pytest.approx(0.025)


def test_choices_of_patterns_become_si(small: dict[str, Any]) -> None:
    assert pattern_choices(scenario_of(small)) == PatternChoices()
    small["move"] |= {
        "levels": 8, "level_rise_mm": 0.4, "row_spacing_mm": 1.5, "from_hz": 20, "to_hz": 90, "sweep_ms": 4000,
    }  # fmt: skip
    found = pattern_choices(scenario_of(small))
    assert (found.levels, found.from_hz, found.to_hz) == (8, 20.0, 90.0)
    assert (found.level_rise_m, found.row_spacing_m, found.sweep_s) == pytest.approx((4e-4, 1.5e-3, 4.0))


def test_limits_of_single_axes(small: dict[str, Any]) -> None:
    none = (math.inf, math.inf, math.inf)
    assert axis_limits(scenario_of(small)) == (none, none)
    small["motion"] = {"axes": {"z_speed_mm_s": 12, "x_acceleration_mm_s2": 3000}}
    speeds, accelerations = axis_limits(scenario_of(small))
    assert speeds == (math.inf, math.inf, pytest.approx(0.012))
    assert accelerations == (pytest.approx(3.0), math.inf, math.inf)


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ({"to_hz": 10}, "[move] to_hz = 10: must be above from_hz = 10: a chirp rises"),
        ({"from_hz": 60, "to_hz": 40.5}, "[move] to_hz = 40.5: must be above from_hz = 60: a chirp rises"),
        ({"from_hz": 300}, "[move] from_hz = 300: must be below to_hz = 120: a chirp rises"),
    ],
)
def test_a_chirp_rises(small: dict[str, Any], written: dict[str, float], told: str) -> None:
    with pytest.raises(ScenarioError) as caught:
        scenario_of(small | {"move": {"pattern": "chirp"} | written}, "bench.toml")
    assert caught.value.problems == [f"bench.toml {told}"]
    assert scenario_of(small | {"move": {"pattern": "square"} | written}), "to other patterns it does not matter"
