"""Whatever is written, loading and resolving end in a design or a ScenarioError, never in anything else."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from beltspring.sim.errors import ScenarioError
from beltspring.sim.machine.layouts import LAYOUTS
from beltspring.sim.parts.completed import completed_toml
from beltspring.sim.parts.design import Design
from beltspring.sim.parts.resolve import resolve
from beltspring.sim.scenario.changes import parse_sets
from beltspring.sim.scenario.index import all_keys, dotted, tables
from beltspring.sim.scenario.load import load_scenario, scenario_of, with_changes, with_variant
from beltspring.sim.scenario.schema import Scenario
from beltspring.sim.scenario.source import shipped_scenarios
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.tries import examples

TEXTS = [shipped.path.read_text(encoding="utf-8") for shipped in shipped_scenarios()]
TREES = [tomllib.loads(text) for text in TEXTS]
PATHS = [path for path, _ in all_keys()] + [path for path in tables() if path]
PATHS += [("belts", "a", "ea_n"), ("belts", "y", "part"), ("motors", "b", "part"), ("belts", "q", "ea_n"), ("variant",)]

words = st.sampled_from(
    ["rigid", "ideal", "printed", "slot-2040", "belt-2mm-9-steel", "rail-12", "wheels", "pla", "plates", "x", "y", "",
     "square", "circle", "corexy", "moving-bed", "auto", "zero-vibration", "\x1b[0m", "ζ", "a.b", "\x7f"]
)  # fmt: skip
scalars = st.one_of(
    words,
    st.text(max_size=8),
    st.booleans(),
    st.integers(),
    st.integers(-3, 400),
    st.floats(),
    st.floats(0, 500),
    st.just(10**400),
)
values = st.recursive(
    scalars,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(words | st.text(max_size=6), inner, max_size=3),
    max_leaves=6,
)
keys = st.one_of(st.sampled_from(PATHS), st.tuples(st.text(max_size=6)), st.tuples(words, st.text(max_size=6)))


def ends_well(scenario: Scenario) -> None:
    """Resolving, completing, and every variant: a design that comes back from its own file, or a ScenarioError."""
    drives = LAYOUTS[scenario.layout].drives
    try:
        design = resolve(scenario, drives)
        for variant in scenario.variants:
            resolve(with_variant(scenario, variant), drives)
    except ScenarioError as error:
        check(error)
        return
    again = scenario_of(tomllib.loads(completed_toml(scenario, design)))
    assert same(resolve(again, drives), design)


def same(one: Design, other: Design) -> bool:
    """Equal but for who decided what."""
    blank: dict[str, object] = {"origins": [], "notices": []}
    return vars(one) | blank == vars(other) | blank


def check(error: ScenarioError) -> None:
    assert error.problems
    for problem in error.problems:
        assert problem.isprintable(), problem
        assert len(problem) < 2000


@given(tree=st.sampled_from(TREES), changes=st.lists(st.tuples(keys, values), min_size=1, max_size=4))
@settings(max_examples=examples(400))
def test_any_value_at_any_key(tree: dict[str, Any], changes: list[tuple[tuple[str, ...], Any]]) -> None:
    tree = tomllib.loads(TEXTS[TREES.index(tree)])
    for path, value in changes:
        inner = tree
        for name in path[:-1]:
            below = inner.get(name)
            if not isinstance(below, dict):
                below = inner[name] = {}
            inner = below
        inner[path[-1]] = value
    try:
        scenario = scenario_of(tree, "bench.toml")
    except ScenarioError as error:
        check(error)
    else:
        ends_well(scenario)


lines = st.sampled_from(sorted({line for text in TEXTS for line in text.splitlines()}))


@given(
    text=st.sampled_from(TEXTS),
    cuts=st.lists(st.tuples(st.floats(0, 1), st.floats(0, 0.05)), max_size=2),
    extra=st.lists(st.tuples(st.floats(0, 1), lines | st.text(max_size=20)), max_size=4),
)
@settings(max_examples=examples(400), suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_mutated_files(
    tmp_path: Path, text: str, cuts: list[tuple[float, float]], extra: list[tuple[float, str]]
) -> None:
    for at, share in cuts:
        start = int(at * len(text))
        text = text[:start] + text[start + int(share * len(text)) :]
    rows = text.split("\n")
    for at, row in extra:
        rows.insert(int(at * len(rows)), row)
    path = tmp_path / "bench.toml"
    path.write_bytes("\n".join(rows).encode("utf-8", "surrogatepass"))
    try:
        scenario = load_scenario(path)
    except ScenarioError as error:
        check(error)
    else:
        ends_well(scenario)


@given(data=st.binary(max_size=200) | st.text(alphabet='[]{}="\n.#abx1 -,', max_size=200).map(str.encode))
@settings(max_examples=examples(200), suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_bytes(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "bench.toml"
    path.write_bytes(data)
    with pytest.raises(ScenarioError) as caught:
        load_scenario(path)
    check(caught.value)


@given(sets=st.lists(st.one_of(st.text(max_size=20), st.builds("{}={}".format, keys.map(dotted), scalars)), max_size=3))
@settings(max_examples=examples(300))
def test_any_set(sets: list[str]) -> None:
    scenario = scenario_of(TREES[0], "bench.toml")
    try:
        ends_well(with_changes(scenario, parse_sets(sets)) if sets else scenario)
    except ScenarioError as error:
        check(error)
