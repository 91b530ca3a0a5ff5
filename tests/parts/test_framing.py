"""How large a frame becomes where nobody wrote it: reach, carriage and room, added by hand."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import pytest
from beltspring.sim.machine.layouts import LAYOUTS
from beltspring.sim.parts.design import Origin
from beltspring.sim.parts.keys import key_fact
from beltspring.sim.parts.numbers import Uncertain
from beltspring.sim.parts.resolve import resolve
from beltspring.sim.parts.uncertain import key_bands
from beltspring.sim.scenario.load import scenario_of

SLOT = {"part": "slot-2020"}


def size(small: dict[str, Any], layout: str = "corexy", **more: Any) -> tuple[float, float, float]:
    """(width, depth, height) of the frame, mm."""
    kind = LAYOUTS[layout]
    found = resolve(scenario_of(small | {"layout": layout} | more, "bench.toml"), kind.drives, kind.frame_beside_mm)
    return tuple(
        round(1e3 * v, 6) for v in (found.frame_size.width_m, found.frame_size.depth_m, found.frame_size.height_m)
    )


def up(mm: float) -> float:
    """To whole centimetres, upwards."""
    return 10.0 * math.ceil(mm / 10 - 1e-9)


def test_reach_carriage_and_room_add_up(small: dict[str, Any]) -> None:
    """Reach 180 x 160 x 150; 100 beside and 110 before and behind the carriage, 200 above and below."""
    sizes = size(small, frame=SLOT, carriage={"width_mm": 70, "depth_mm": 60})
    assert sizes == (up(180 + 70 + 100), up(160 + 60 + 110), up(150 + 200))
    beside = LAYOUTS["box"].frame_beside_mm
    assert size(small, "box", frame=SLOT, carriage={"width_mm": 70, "depth_mm": 60})[0] == up(180 + 70 + 100 + beside)


@pytest.mark.parametrize(("pulley", "idler"), [(20, 20), (16, 16), (30, 20), (20, 31), (36, 28)])
def test_larger_wheels_take_their_diameters_at_both_sides(small: dict[str, Any], pulley: int, idler: int) -> None:
    """A tooth more is 2 mm of circumference: 2 / pi of diameter, at either side of the belts' way."""
    wheels = {"motors": {"pulley_teeth": pulley}, "idlers": {"teeth": idler}}
    more = (max(0, pulley - 20) + max(0, idler - 20)) * 2 * 2.0 / math.pi
    assert size(small, frame=SLOT, carriage={"width_mm": 70, "depth_mm": 60}, **wheels)[0] == up(180 + 70 + 100 + more)


def test_a_written_size_stands(small: dict[str, Any]) -> None:
    assert size(small, frame=SLOT | {"width_mm": 413, "depth_mm": 407, "height_mm": 391}) == (413, 407, 391)


def number(key: str, value: float) -> Uncertain:
    return Uncertain(key, (key,), value, 1.0, 4.0, "N", "by hand", ("file", key), ("file", key))


def test_a_band_goes_to_the_keys_of_the_file_that_hold_its_number() -> None:
    """Scaled where the file holds a multiple; as it stands where the number is 0 or what is held is a word; else nowhere."""
    origins = [Origin("a", 4.0, "part"), Origin("b", 0.0, "part"), Origin("c", "auto", "part")]
    found = key_bands(
        SimpleNamespace(origins=origins), [number("a", 2.0), number("b", 0.0), number("c", 2.0), number("d", 2.0)]
    )
    assert found == {"a": (2.0, 8.0), "b": (1.0, 4.0), "c": (1.0, 4.0)}


def test_each_drive_may_say_it_by_itself_where_its_table_has_drives() -> None:
    assert key_fact(("belts", "ea_n")).each
    assert key_fact(("motors", "pulley_teeth")).each
    assert not key_fact(("move", "pattern")).each
    assert not key_fact(("frame", "part")).each


def test_a_key_deep_in_a_table_of_tables_is_known() -> None:
    found = key_fact(("frame", "panels", "rear", "part"))
    assert found is not None
    assert "plywood" in found.choices
    assert not found.each
    assert key_fact(("frame", "panels", "rear", "colour")) is None


def test_how_stiff_an_arm_is_says_how_that_was_worked_out(small: dict[str, Any]) -> None:
    """Springs in a row: the tube's EA / l and a joint at each end."""
    kind = LAYOUTS["delta"]
    scenario = scenario_of(small | {"layout": "delta", "space": {"x_mm": 180, "y_mm": 180, "z_mm": 150}}, "bench.toml")
    found = resolve(scenario, kind.drives, kind.frame_beside_mm, None, kind.on_arms)
    (said,) = [o for o in found.origins if o.key == "delta.arm_stiffness_n_per_mm"]
    assert "1 / (l / EA + 2 / k of a joint)" in said.note
    assert said.note.startswith(found.arms.part)
