"""A machine on arms beside others in one file, and what only it tells."""

from __future__ import annotations

import pytest
from beltspring.sim.chain.chain import simulate_scenario
from beltspring.sim.errors import ScenarioError
from beltspring.sim.machine.build import build_machine
from beltspring.sim.model.facts import mixing, mixing_rim, moving_mass
from beltspring.sim.scenario.load import with_changes
from beltspring.sim.study.choosing import varied
from beltspring.sim.study.report import run as study

from tests.support import model_of, shipped, textbook


def test_one_file_compares_layouts_and_keys_that_do_not_apply_are_told():
    scenario = textbook("desk-corexy")
    with_arms = with_changes(scenario, {"delta.arm_mm": 240, "frame.height_mm": 700})
    found = {
        d.scenario.layout: build_machine(d.scenario).design.notices for d in varied(with_arms, ["layout=corexy,delta"])
    }
    assert any(n.startswith("delta.arm_mm does nothing here") for n in found["corexy"])
    assert any(n.startswith("gantry.mass_g does nothing here") or n.startswith("gantry.") for n in found["delta"])
    assert not any(n.startswith("delta.") for n in found["delta"])


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"space.y_mm": 150}, "as wide as deep"),
        ({"delta.arm_mm": 150}, "write 210 or more"),  # (103 + 80) / cos 28 degrees, up to 5 mm
        ({"delta.tower_radius_mm": 50}, "the joints meet"),
    ],
)
def test_what_cannot_be_is_refused_with_the_way_on(changes, said):
    with pytest.raises(ScenarioError, match=said):
        build_machine(shipped("small-delta", changes))


def test_mixing_has_a_third_column_and_the_rim_differs():
    system = model_of(shipped("small-delta"))
    assert mixing(system)[:, 2] == pytest.approx([1, 1, 1], abs=1e-12)
    rim = mixing_rim(system)
    assert len(rim) == 3
    (_, front), *_ = rim  # farthest from tower a
    assert front[0, 1] == pytest.approx(183 / (215**2 - 183**2) ** 0.5, abs=1e-9)
    x, y, z = moving_mass(system)
    assert x == pytest.approx(y, rel=1e-9)
    assert z > x
    assert mixing_rim(model_of(textbook("desk-corexy"))) == []


def test_a_run_tells_of_height_and_of_ringing_in_z():
    outcome = simulate_scenario(shipped("small-delta", {"move.size_mm": 20, "move.settle_ms": 200}))
    assert set(outcome.analysis.ringing) == {"x", "y", "z"}
    most, rms = outcome.analysis.path.height_m
    assert 0 < rms < most < 1e-3
    assert any("height" in s for s in outcome.analysis.sentences)


def test_what_shakes_it_on_is_told_until_it_may_fade():
    # On arms no axis stands still by itself: X is shaken along the last leg, and dies only in the rest after it.
    short = study(shipped("small-delta", {"move.settle_ms": 350})).untold
    assert {axis for axis, why in short.items() if "has not faded" in why} == {"x", "z"}
    assert "all carriages run on" in short["x"]
    assert "when the run ends (move.settle_ms), after 350 ms" in short["z"]
    assert "carriages" not in short["z"]
    whole = study(shipped("small-delta"))
    assert not any("has not faded" in why for why in whole.untold.values())
    assert whole.analysis.ringing["x"].fades_to_5_percent_s > 1.0
