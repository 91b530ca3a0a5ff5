"""Which single changes of a machine are tried, worked out by hand from its file: the next part up, open sides closed, a fifth
less mass. How much is more (half the wall again, twice the screws, a fifth lighter) is our choice, said in the guide."""

from __future__ import annotations

from typing import Any

import pytest
from beltspring.sim.machine.build import build_machine
from beltspring.sim.machine.machine import Machine
from beltspring.sim.study.improve_change import Change, next_up
from beltspring.sim.study.improve_changes import _arms, _feet, _guides, _heights, _lighter
from beltspring.sim.study.improve_frame import frame_changes

from tests.support import shipped


def machine(name: str, **changes: Any) -> Machine:
    return build_machine(shipped(name, {key.replace("__", "."): value for key, value in changes.items()}))


def settings(found: Any) -> list[dict[str, Any]]:
    return [change.settings for change in found]


def words(found: Any) -> list[str]:
    return [change.words for change in found]


@pytest.mark.parametrize(
    ("guide", "wanted"),
    [
        ("rod-8-pair", ["rod-10-pair", "rail-9"]),
        ("rod-12-pair", ["rail-9"]),
        ("rail-9", ["rail-12"]),
        ("rail-15", []),
        ("wheels", ["rail-9"]),
    ],
)
def test_the_next_guide_up_and_the_smallest_rail(guide: str, wanted: list[str]) -> None:
    found = settings(_guides(machine("desk-corexy", carriage__guide=guide, gantry__guide="rigid")))
    assert found == [{"carriage.guide": name} for name in wanted]


def test_what_is_rigid_has_nothing_next() -> None:
    assert next_up("guides", "rigid", lambda p: 1.0, lambda a, b: True) is None
    assert next_up("guides", "no such guide", lambda p: 1.0, lambda a, b: True) is None


def test_feet_and_arms_become_the_next_stiffer_ones() -> None:
    assert settings(_feet(machine("desk-corexy").design)) == [{"feet.part": "feet-hard"}]
    assert settings(_feet(machine("desk-corexy", feet__part="feet-hard").design)) == []
    assert settings(_feet(machine("desk-corexy", detail="simple").design)) == []
    assert settings(_arms(machine("desk-corexy").design)) == []
    # Tubes of carbon fibre, and a steel rod of 4 mm, whose 12.6 mm2 times 200 GPa are 2.5 MN.
    stiffness = {"arm-tube-6": "arm-tube-8", "arm-tube-8": "arm-rod-4", "arm-tube-10": None}
    for now, wanted in stiffness.items():
        found = settings(_arms(machine("small-delta", delta__arm=now).design))
        assert found == ([{"delta.arm": wanted}] if wanted else [])


def test_belts_come_to_the_height_of_the_mass_centre() -> None:
    (found,) = _heights(machine("desk-corexy", carriage__mass_centre_above_guide_mm=7.5).design)
    assert found.settings == {"carriage.belt_above_guide_mm": 7.5}
    level = {"carriage__belt_above_guide_mm": 7.5, "carriage__mass_centre_above_guide_mm": 7.5}
    assert settings(_heights(machine("desk-corexy", **level).design)) == []
    assert settings(_heights(machine("desk-corexy", detail="simple").design)) == []
    assert settings(_heights(machine("small-delta").design)) == []


def test_a_fifth_lighter() -> None:
    """320 g written become 256; a platform of 300 g becomes 240; of what is computed the tool loses a fifth of the whole."""
    (written,) = _lighter(machine("desk-corexy", carriage__mass_g=320).design)
    assert written.settings == {"carriage.mass_g": 256.0}
    assert written.words == "a carriage of 256 g, a fifth lighter"
    (platform,) = _lighter(machine("small-delta", delta__effector_mass_g=300).design)
    assert platform.settings == {"delta.effector_mass_g": 240.0}
    assert platform.words == "a platform of 240 g, a fifth lighter"


def test_a_printed_frame() -> None:
    """Walls of 4 mm become 6 in a member of 40 mm; a side of 10 mm leaves no room for more than 5."""
    found = list(frame_changes(machine("desk-corexy").design))
    told = settings(found)
    assert {"frame.wall_mm": 6.0} in told
    assert {"frame.side_mm": 50.0} in told
    assert {"frame.joints": "plates"} in told
    assert {"frame.part": "slot-4040"} in told
    for place in ("sides", "rear", "top"):
        assert {f"frame.panels.{place}.screws": 24} in told
    assert "24 screws round each sheet on the sides" in words(found)
    thick = {"frame__wall_mm": 14, "frame__side_mm": 40}
    assert not any("frame.wall_mm" in one for one in settings(frame_changes(machine("desk-corexy", **thick).design)))
    just = {"frame__wall_mm": 10, "frame__side_mm": 30}
    assert {"frame.wall_mm": 15.0} in settings(frame_changes(machine("desk-corexy", **just).design))


def test_a_frame_of_profile() -> None:
    found = list(frame_changes(machine("desk-corexy-slot").design))
    told = settings(found)
    assert {"frame.part": "slot-2040"} in told
    assert {"frame.columns": "slot-2040"} in told
    assert {"frame.panels.rear.part": "plywood"} in told
    assert {"frame.panels.rear.part": "slot-2020", "frame.panels.rear.diagonals": 1} in told
    assert {f"frame.panels.{place}.part": "plywood" for place in ("sides", "rear", "top")} in told
    assert "plywood sheets on sides, rear and top" in words(found)
    braced = {"frame.panels.rear.part": "slot-2020", "frame.panels.rear.diagonals": 1}
    more = settings(frame_changes(build_machine(shipped("desk-corexy-slot", braced)).design))
    assert {"frame.panels.rear.diagonals": 2} in more
    assert not any("frame.panels.rear.part" in one for one in more)


def test_a_printed_frame_is_closed_with_printed_sheets_and_a_rigid_one_not_at_all() -> None:
    open_rear = {f"frame.panels.{place}.part": "none" for place in ("sides", "rear", "top")}
    told = settings(frame_changes(build_machine(shipped("desk-corexy", open_rear)).design))
    assert {"frame.panels.rear.part": "printed"} in told
    assert {"frame.panels.rear.part": "slot-2020", "frame.panels.rear.diagonals": 1} in told
    assert not any("plywood" in one.values() for one in told)
    assert list(frame_changes(machine("desk-corexy", frame__part="rigid").design)) == []


def test_a_change_says_what_it_is_about() -> None:
    change = Change({"belts.part": "belt-2mm-9-glass"}, "9 mm belts", "belts")
    assert (change.kind, change.listed) == ("machine", True)
