"""A machine in which no rule finds anything to stop or to warn of, and the same with keys changed."""

from __future__ import annotations

from functools import cache

import pytest
from beltspring.sim.check.check import Findings, check
from beltspring.sim.check.subject import Subject
from beltspring.sim.scenario.load import load_scenario, with_changes

#: The desk machine with its belts clear of the rods and its motor shafts within their load.
SOUND = {"carriage.belt_above_guide_mm": 16, "belts.pretension_n": 15}


def scenario(changes=None, name="desk-corexy"):
    """A shipped scenario made sound, with dotted keys changed."""
    start = load_scenario(name)
    wanted = {**(SOUND if name == "desk-corexy" else {}), **(changes or {})}
    return with_changes(start, wanted) if wanted else start


@cache
def _report(name: str, changes: tuple) -> Findings:
    return check(scenario(dict(changes), name))


@pytest.fixture(scope="session")
def report():
    """The report on a sound machine with keys changed; each is made once."""

    def make(changes=None, name="desk-corexy") -> Findings:
        return _report(name, tuple(sorted((changes or {}).items())))

    return make


@pytest.fixture
def subject():
    """The subject of a sound machine with keys changed, for tests that look inside or change the machine itself."""

    def make(changes=None, name="desk-corexy") -> Subject:
        return Subject(scenario(changes, name))

    return make
