"""[frame.panels] as written: what is filled in, what is weighed, ordered and told, and what is refused with the way on."""

from __future__ import annotations

import math

import pytest
from beltspring.sim.errors import MachineError, ScenarioError
from beltspring.sim.order.shopping import items
from beltspring.sim.parts.completed import completed_toml
from beltspring.sim.scenario.load import scenario_of, with_changes

from tests.support import bare, machine_of, shipped

SLOT = {"frame.part": "slot-2020"}
SIDES = "frame.panels.sides"


def built(panels, layout="corexy", more=None):
    return machine_of(bare(layout, {**SLOT, **(more or {}), **panels}))


def test_what_is_not_written_comes_from_the_part():
    (panel,) = built({f"{SIDES}.part": "plywood"}).design.frame.panels
    assert (panel.thickness_m, panel.shear_modulus_pa, panel.screws, panel.screw_n_m) == (
        pytest.approx(0.006), pytest.approx(0.6e9), 12, pytest.approx(2.9e6))  # fmt: skip
    # EN 1995-1-1, from memory: rho^1.5 d / 23 at the density the part has, for a screw of 4 mm.
    assert panel.density_kg_m3**1.5 * 4 / 23 == pytest.approx(2.9e3, rel=0.01)


def test_a_printed_sheet_is_of_the_frames_material():
    (panel,) = built({f"{SIDES}.part": "printed"}).design.frame.panels
    assert (panel.material, panel.shear_modulus_pa) == ("petg", pytest.approx(0.66e9))
    machine = built({f"{SIDES}.part": "printed", "frame.material": "abs"})
    assert machine.design.frame.panels[0].shear_modulus_pa == pytest.approx(0.74e9)
    assert not any("frame.material" in n for n in machine.design.notices)


def test_sheets_weigh_what_their_area_does_and_stand_half_on_each():
    size = {"frame.width_mm": 600, "frame.depth_mm": 700, "frame.height_mm": 500}
    open_one = built({}, more=size)
    closed = built({f"{SIDES}.part": "plywood", "frame.panels.top.part": "aluminium"}, more=size)
    sides, top = 2 * 0.7 * 0.5 * 0.006 * 650, 0.6 * 0.7 * 0.002 * 2700
    gained = {n: closed.body(n).mass_kg - open_one.body(n).mass_kg for n in ("frame", "base")}
    assert gained == {"frame": pytest.approx(sides / 2 + top), "base": pytest.approx(sides / 2)}
    # Their upper halves hang a quarter of the height below the ring, the top lies in it.
    before, after = open_one.body("frame"), closed.body("frame")
    ring = closed.frame_point[2]
    moment = after.mass_kg * (ring - after.centre[2]) - before.mass_kg * (ring - before.centre[2])
    assert moment == pytest.approx(sides / 2 * 0.125, rel=1e-6)


@pytest.mark.parametrize("layout", ["corexy", "moving-bed"])
def test_bars_weigh_what_their_length_does(layout):
    size = {"frame.width_mm": 600, "frame.depth_mm": 700, "frame.height_mm": 500}
    open_one = built({}, layout, size)
    braced = built({SIDES: {"part": "slot-2020", "diagonals": 1}}, layout, size)
    behind = 0.7 if layout == "corexy" else 0.35 - 0.030  # two columns stand 30 mm behind the middle
    kg = 0.46 * math.hypot(behind, 0.5)  # one at each side, half of both on the top
    for name in ("frame", "base"):
        assert braced.body(name).mass_kg - open_one.body(name).mass_kg == pytest.approx(kg)
    bars = [i for i in items(braced) if i.words.startswith("diagonal")]
    assert [(i.name, i.count, i.length_m) for i in bars] == [("slot-2020", 2, pytest.approx(math.hypot(behind, 0.5)))]


def test_sheets_bars_and_their_screws_are_ordered():
    def counts(panels):
        return {(i.name, i.words): (i.count, i.mass_kg) for i in items(built(panels))}

    def screws(found, name):
        return sum(n for (what, _), (n, _) in found.items() if what == name)

    before = counts({})
    after = counts(
        {SIDES: {"part": "plywood", "screws": 16}, "frame.panels.front": {"part": "slot-2040", "diagonals": 2}}
    )
    (sheet,) = [v for (name, _), v in after.items() if name == "panel-plywood"]
    assert sheet[0] == 2
    assert [n for (name, words), (n, _) in after.items() if name == "slot-2040" and "diagonal" in words] == [2]
    # 16 a sheet, and two at each end of a bar.
    for name in ("screw-m5", "slot-nut-m5"):
        assert screws(after, name) - screws(before, name) == 2 * 16 + 2 * 2 * 2


def test_a_bottom_is_told_to_do_nothing():
    machine = built({"frame.panels.bottom.part": "plywood"})
    assert any(n.startswith("frame.panels.bottom does nothing against swaying") for n in machine.design.notices)
    assert any("below" in i.words for i in items(machine))


@pytest.mark.parametrize(
    ("panels", "said"),
    [
        ({SIDES: {"part": "slot-2020"}}, "write diagonals = 1 or 2 beside it, or name a sheet"),
        ({SIDES: {"part": "plywood", "diagonals": 2}}, "diagonals are bars: name one of slot-2020"),
        ({SIDES: {"part": "slot-2020", "diagonals": 1, "screws": 8}}, r"screws = 8: only a sheet has it"),
        ({SIDES: {"part": "plywood", "end_n_per_mm": 5000}}, "only diagonals have ends"),
        ({SIDES: {"part": "plywod"}}, "did you mean plywood"),
        ({SIDES: {"part": "plywood", "screws": 3}}, "must be a whole number, 4 to 1000"),
        ({SIDES: {"part": "slot-2020", "diagonals": 3}}, "must be a whole number, 1 to 2"),
        ({SIDES: {"part": "plywood", "thickness_mm": 0}}, "must be 0.2 to 50 mm"),
        ({SIDES: {"thickness_mm": 4}}, r"\[frame.panels.sides\] part is missing"),
        ({SIDES: {"part": "plywood", "thickness": 4}}, "the unit belongs in the key; write thickness_mm"),
        ({"frame.panels.left": {"part": "plywood"}}, "allowed here: sides, rear, front, top, bottom"),
        ({"frame.panels": "plywood"}, 'write frame.panels.sides = { part = "plywood", thickness_mm = 6 }'),
    ],
)
def test_errors_teach(panels, said):
    with pytest.raises(ScenarioError, match=said):
        built(panels)


@pytest.mark.parametrize("place", ["sides", "rear", "front", "top"])
def test_two_columns_refuse_sheets_with_what_they_can_have(place):
    with pytest.raises(MachineError, match=rf"frame.panels.{place}: .*frame.panels.sides = {{ diagonals = 1"):
        built({f"frame.panels.{place}.part": "plywood"}, "moving-bed")


def test_a_panel_that_changes_drops_the_written_sway_and_says_so():
    start = bare("corexy", {**SLOT, "frame.stiffness_x_n_per_mm": 1000, "frame.top_mass_g": 3000})
    changed = with_changes(start, {f"{SIDES}.part": "plywood"})
    assert any("drops frame.stiffness_x_n_per_mm = 1000, frame.top_mass_g = 3000" in n for n in changed.notices)
    assert machine_of(changed).design.frame.stiffness_x_n_m is None


def test_none_leaves_a_side_open():
    opened = shipped("desk-corexy", {f"frame.panels.{p}.part": "none" for p in ("sides", "rear", "top")})
    assert machine_of(opened).design.frame.panels == ()


def test_the_completed_file_loads_to_the_same_panels():
    import tomllib

    panels = {SIDES: {"part": "composite", "screws": 20}, "frame.panels.front": {"part": "slot-2020", "diagonals": 2}}
    scenario = bare("corexy", {**SLOT, **panels})
    machine = machine_of(scenario)
    again = machine_of(scenario_of(tomllib.loads(completed_toml(scenario, machine.design))))
    assert again.design.frame.panels == machine.design.frame.panels
    assert again.frame_stiffness == pytest.approx(machine.frame_stiffness)
