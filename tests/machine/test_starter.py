"""A file to begin with: it reads, works as it stands whatever its size, and tells the choices beside each key."""

from __future__ import annotations

import re
import tomllib

import pytest
from beltspring.sim import check, load, run
from beltspring.sim.errors import InputError, ScenarioError
from beltspring.sim.machine.layouts import LAYOUTS
from beltspring.sim.machine.starter import starter
from beltspring.sim.parts.keys import key_fact
from beltspring.sim.scenario.index import leaves
from beltspring.sim.scenario.load import scenario_of

SPACES = [(60, 60, 60), (200, 200, 200), (250, 300, 300), (1000, 1000, 1000)]


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("space", SPACES, ids=str)
def test_nothing_stops_it(layout, space):
    if LAYOUTS[layout].on_arms:
        space = (space[1], space[1], space[2])
    found = check(scenario_of(tomllib.loads(starter(layout, space))))
    assert [f.words for f in found.findings if f.severity == "stop"] == []
    if space == SPACES[1]:
        assert [f.words for f in found.findings if f.severity == "warn"] == []


@pytest.mark.parametrize("layout", LAYOUTS)
def test_it_runs_and_says_something(layout, tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text(starter(layout, (120, 120, 100)), encoding="utf-8")
    report = run(load(file))
    assert report.trace.ending.value == "complete"
    assert report.sentences


@pytest.mark.parametrize("layout", LAYOUTS)
def test_choices_stand_beside_each_key(layout):
    text = starter(layout)
    lines = text.splitlines()
    assert len(lines) < 90
    assert max(map(len, lines)) <= 120
    comments = " ".join(line.partition("#")[2].strip() for line in lines)
    for path, _ in leaves(tomllib.loads(text)):
        fact = key_fact(path)
        if fact is None or path == ("title",):
            continue
        for choice in fact.choices or re.findall(r"[\d.]+", fact.allowed):
            assert str(choice) in comments, (path, choice)


def test_changes_are_written_into_it():
    tree = tomllib.loads(starter("hframe", changes={"belts.part": "belt-2mm-9-steel", "feet.part": "feet-hard"}))
    assert (tree["belts"]["part"], tree["feet"]["part"]) == ("belt-2mm-9-steel", "feet-hard")


def test_what_cannot_be_is_told():
    with pytest.raises(InputError, match="did you mean corexy"):
        starter("corxy")
    with pytest.raises(ScenarioError, match="10 to 3000"):
        starter("box", (5, 100, 100))
    with pytest.raises(ScenarioError, match="pretension_n"):
        starter("box", changes={"belts.pretension": 3})
