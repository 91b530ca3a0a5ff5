"""The schema: every key has a unit that its name shows and a range that is kept; strictness in every table."""

from __future__ import annotations

import copy
import math
import tomllib
from typing import Any

import pytest
from beltspring.sim.errors import ScenarioError
from beltspring.sim.scenario import names
from beltspring.sim.scenario.fields import Key
from beltspring.sim.scenario.index import EACH, all_keys, dotted, keys_of, tables
from beltspring.sim.scenario.load import scenario_of
from beltspring.sim.scenario.units import SI_FACTOR

SMALL = {
    "title": "Bench",
    "layout": "corexy",
    "space": {"x_mm": 3000, "y_mm": 3000, "z_mm": 150},
    "move": {"pattern": "step", "axis": "x"},
}
KEYS = list(all_keys()) + [((t, "a", n), k) for t in EACH for n, k in keys_of((t, "a")).items()]
NUMBERS = [(path, key) for path, key in KEYS if key.low is not None]

# The unit a key's ending promises; written down here by hand, so that schema and names are held against a third list.
ENDINGS = {
    "_mm_s3": "mm/s3", "_mm_s2": "mm/s2", "_mm_s": "mm/s", "_n_per_mm": "N/mm", "_nm_per_rad": "N m/rad", "_nm": "N m",
    "_g_cm2": "g cm2", "_g_mm2": "g mm2", "_g_m": "g/m", "_mm": "mm", "_um": "um", "_ms": "ms", "_mh": "mH", "_hz": "Hz",
    "_ohm": "ohm", "_degc": "degC", "_g": "g", "_n": "N", "_a": "A", "_v": "V",
}  # fmt: skip


def write(tree: dict[str, Any], path: tuple[str, ...], value: Any) -> dict[str, Any]:
    """A copy of the tree with one value written; a shaper and a panel are written whole, as they have required keys."""
    out = copy.deepcopy(tree)
    inner = out
    for name in path[:-1]:
        inner = inner.setdefault(name, {})
    if path[:2] == ("motion", "shaper") and len(path) == 4:
        inner |= {"kind": "zero-vibration", "frequency_hz": 40}
    if path[:2] == ("frame", "panels") and len(path) == 4:
        inner |= {"part": "plywood"}
    inner[path[-1]] = value
    return out


def problems(tree: dict[str, Any]) -> list[str]:
    try:
        scenario_of(tree, "bench.toml")
    except ScenarioError as error:
        return error.problems
    return []


@pytest.fixture(autouse=True)
def _everything_built(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ranges and units hold for keys whose work is still to come, too."""
    monkeypatch.setattr(names, "NOT_BUILT", {})
    monkeypatch.setattr(names, "SHAPERS", ("zero-vibration",))


def test_only_title_layout_space_and_move_must_be_written() -> None:
    assert problems(SMALL) == []
    for name in SMALL:
        without = {k: v for k, v in SMALL.items() if k != name}
        assert len(problems(without)) == 1
        assert "missing" in problems(without)[0]
        assert name in problems(without)[0]


@pytest.mark.parametrize(("path", "key"), KEYS, ids=[dotted(p) for p, _ in KEYS])
def test_the_unit_stands_in_the_name(path: tuple[str, ...], key: Key) -> None:
    ending = next((e for e in ENDINGS if path[-1].endswith(e)), "")
    assert ENDINGS.get(ending, "ratio" if path[-1].endswith("damping") else "") == key.unit
    assert key.unit in SI_FACTOR
    assert key.meaning


def with_unit(key: Key) -> str:
    """The range as an error says it: the unit stands behind the numbers."""
    unit = "" if key.unit in ("", "ratio") else f" {key.unit}"
    span, _, other = key.allowed.partition(", or ")
    return f"{span}{unit}, or {other}" if other else f"{span}{unit}"


@pytest.mark.parametrize(("path", "key"), NUMBERS, ids=[dotted(p) for p, _ in NUMBERS])
def test_every_range_is_kept_at_both_ends(path: tuple[str, ...], key: Key) -> None:
    whole = key.allowed.startswith("a whole number")
    one = 1 if whole else 1e-6 * max(1.0, abs(key.high or 0), abs(key.low or 0))
    said = f"must be {with_unit(key)}"
    for outside in (key.low - one, key.high + one):  # type: ignore[operator]
        value = int(outside) if whole else outside
        found = problems(write(SMALL, path, value))
        assert any(said in text and path[-1] in text and "bench.toml" in text for text in found), found
    for inside in (key.low, key.high):
        # An end of the range may break a rule that ties two keys together, never this one.
        assert not any(said in text for text in problems(write(SMALL, path, inside)))


@pytest.mark.parametrize(("path", "key"), NUMBERS, ids=[dotted(p) for p, _ in NUMBERS])
@pytest.mark.parametrize("value", [True, "16", math.nan, math.inf, -math.inf, [1], {"a": 1}, 10**400], ids=str)
def test_a_number_is_a_finite_number(path: tuple[str, ...], key: Key, value: Any) -> None:
    found = problems(write(SMALL, path, value))
    assert len(found) == 1
    assert path[-1] in found[0]
    assert f"must be {with_unit(key)}" in found[0] or "unknown" in found[0]


@pytest.mark.parametrize("path", list(tables()), ids=dotted)
def test_no_table_takes_a_key_it_does_not_have(path: tuple[str, ...]) -> None:
    found = problems(write(SMALL, (*path, "colour_of_paint"), 3))
    assert len(found) == 1
    assert found[0].startswith("bench.toml ")
    assert "unknown key colour_of_paint" in found[0]
    assert "allowed here:" in found[0]


@pytest.mark.parametrize("path", [p for p in tables() if p], ids=dotted)
@pytest.mark.parametrize("value", [3, "text", [{}], True])
def test_a_table_is_a_table(path: tuple[str, ...], value: Any) -> None:
    tree = copy.deepcopy(SMALL)
    inner: dict[str, Any] = tree
    for name in path[:-1]:
        inner = inner.setdefault(name, {})
    inner[path[-1]] = value
    found = problems(tree)
    assert any(f"[{dotted(path)}]" in text for text in found), found


@pytest.mark.parametrize(("name", "accepted"), [("layout", names.LAYOUTS), ("detail", names.DETAILS)])
def test_only_what_is_built_is_accepted_and_listed(name: str, accepted: tuple[str, ...]) -> None:
    for value in accepted:
        assert problems(SMALL | {name: value}) == []
    (text,) = problems(SMALL | {name: "cartesian-of-tomorrow"})
    assert text == f'bench.toml {name} = "cartesian-of-tomorrow": must be one of {", ".join(accepted)}'


def test_defaults_lie_in_their_own_ranges() -> None:
    for path, table in tables().items():
        for name, field in table.model_fields.items():
            key = keys_of(path).get(name)
            if key is not None and key.low is not None and isinstance(field.default, int | float):
                assert key.low <= field.default <= (key.high or 0), dotted((*path, name))


EXAMPLE = """
title = "Desk CoreXY, printed frame"
layout = "corexy"
detail = "full"
[space]
x_mm = 180
y_mm = 180
z_mm = 180
[carriage]
mass_g = 320
guide = "rod-8-pair"
belt_above_guide_mm = 12
mass_centre_above_guide_mm = 5
nozzle_below_guide_mm = 45
[gantry]
mass_g = 410
guide = "rod-8-pair"
[bed]
mass_g = 700
guide = "rod-8-pair"
z_drives = 1
[belts]
part = "belt-2mm-6-glass"
pretension_n = 16
damping = 0.03
[belts.a]
ea_n = 15000
[motors]
part = "motor-17-40"
current_a = 1.2
supply_v = 24
microsteps = 16
pulley_teeth = 20
[frame]
part = "slot-2020"
joints = "bracket"
width_mm = 340
depth_mm = 340
height_mm = 380
[feet]
part = "feet-rubber"
[motion]
speed_mm_s = 150
acceleration_mm_s2 = 4000
jerk_mm_s3 = 0
corner_speed_step_mm_s = 5
[motion.shaper]
x = { kind = "zero-vibration", frequency_hz = 48, damping = 0.05 }
[move]
pattern = "square"
size_mm = 60
[[variant]]
name = "9 mm belt"
set = { "belts.part" = "belt-2mm-9-glass" }
"""


def test_the_keys_that_other_tools_read_are_all_there(monkeypatch: pytest.MonkeyPatch) -> None:
    """The example of the design, key by key; these names are fixed."""
    monkeypatch.setattr(names, "DETAILS", ("simple", "full"))
    scenario = scenario_of(tomllib.loads(EXAMPLE), "bench.toml")
    assert scenario.detail == "full"
    assert scenario.variants == ("9 mm belt",)
    written = {dotted(path) for path in scenario.origins} - {"variant"}
    assert len(written) == 40
