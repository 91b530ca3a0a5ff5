"""What is compared: variants of a file, keys at several values, or several files; each a candidate."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np

from ..errors import ScenarioError
from ..parts.catalogue import catalogue
from ..scenario.changes import parse_sets
from ..scenario.index import key_at
from ..scenario.load import scenario_of, with_changes, with_variant
from ..scenario.schema import Scenario
from ..scenario.telling import choice_rule
from .designs import AS_WRITTEN, Candidate, candidate, made

MOST_DESIGNS = 60


def designs(scenario: Scenario, vary: Sequence[str] = (), others: Sequence[Scenario] = ()) -> list[Candidate]:
    """What to compare: each `key=v1,v2,v3` of `vary` in turn, other files beside the first, or the scenario's variants.

    What cannot be built is among them, with the reason. Raises ScenarioError for what is wrong in itself, and where
    nothing can be built.
    """
    if vary and others:
        raise ScenarioError(["--vary takes one scenario; compare several files without it, or vary one of them"])
    found = varied(scenario, vary) if vary else beside(scenario, others) if others else variants_of(scenario)
    if not any(one.stands for one in found):
        raise ScenarioError(list(dict.fromkeys(one.refused for one in found)))
    return found


def variants_of(scenario: Scenario) -> list[Candidate]:
    """The scenario as written and each of its variants. Raises ScenarioError if it has none."""
    if not scenario.variants:
        raise ScenarioError(
            [
                f"{scenario.label}: nothing to compare, it has no [[variant]]; write one, or say what to vary, "
                "for example --vary belts.part=belt-2mm-6-glass,belt-2mm-9-glass"
            ]
        )
    found = [made(scenario, AS_WRITTEN, {})]
    for variant in scenario.file.variant:
        changed = with_variant(scenario, variant.name)
        idle = _idle(f'{scenario.label} variant "{variant.name}"', variant.set, changed)
        found.append(_told(made(changed, variant.name, variant.set, scenario.notices), idle))
    return found


def varied(scenario: Scenario, texts: Sequence[str]) -> list[Candidate]:
    """The scenario with each `key=v1,v2,v3` in turn; several keys give every combination. Raises ScenarioError."""
    choices = [_choices(text) for text in texts]
    count = int(np.prod([len(c) for c in choices]))
    if count > MOST_DESIGNS:
        raise ScenarioError([f"--vary: that makes {count} designs, and {MOST_DESIGNS} is the most; give fewer values"])
    found = []
    for combination in product(*choices):
        label = ", ".join(v if isinstance(v, str) else f"{key.rsplit('.', 1)[-1]} {v}" for key, v in combination)
        settings = dict(combination)
        changed = with_changes(scenario, settings, source="--vary")
        idle = _idle("--vary", settings, changed)
        found.append(_told(candidate(scenario, settings, label, "--vary"), idle))
    return found


def _choices(text: str) -> list[tuple[str, Any]]:
    """(key, value) for each value of `key=v1,v2`. Raises ScenarioError for what is no list of values, or names no part."""
    key, equals, values = text.partition("=")
    listed = [v.strip() for v in values.split(",")]
    if not equals or not key.strip() or len(listed) < 2 or not all(listed):
        raise ScenarioError(
            [f"--vary {text[:60]}: write it as key=v1,v2 with two values or more, for example belts.pretension_n=10,20"]
        )
    found = [next(iter(parse_sets([f"{key.strip()}={v}"]).items())) for v in listed]
    problems = [p for name, value in found for p in _no_such_part(name, value)]
    if problems:
        raise ScenarioError(problems)
    return found


def _no_such_part(name: str, value: Any) -> Iterator[str]:
    """A sentence where a value names a part that is not in the catalogue: a slip, not a design that cannot be built."""
    path = tuple(name.split("."))
    key = key_at(path)
    if key is None or key.names is None:
        return
    names = catalogue().names(key.names)
    if path[:2] == ("frame", "panels"):
        names = (*names, *catalogue().parts["frames"])  # diagonals are bars
    if value not in names:
        yield f"--vary {name} = {value}: {choice_rule(value, names)}"


def _idle(who: str, changed: Mapping[str, object], scenario: Scenario) -> list[str]:
    """Keys that the simple model does not have, in words. Raises ScenarioError where nothing else is changed."""
    if scenario.detail != "simple":
        return []
    idle = [path for path in changed if (key := key_at(tuple(path.split(".")))) is not None and key.full_only]
    if idle and len(idle) == len(changed):
        raise ScenarioError(
            [f'{who}: {idle[0]} does nothing at detail = "simple", so there is nothing to compare; use detail = "full"']
        )
    return [f'{path} does nothing at detail = "simple"' for path in idle]


def _told(one: Candidate, remarks: Sequence[str]) -> Candidate:
    return replace(one, remarks=(*one.remarks, *remarks)) if remarks else one


def beside(first: Scenario, others: Sequence[Scenario]) -> list[Candidate]:
    """Several files, each by its name, all under the first one's move.

    A program counts as a move of its own: it says itself where and how fast it goes. A file of the same name as another is
    numbered.
    """
    scenarios = [first, *others]
    names = [s.label.removesuffix(".toml") + (f", {s.variant}" if s.variant else "") for s in scenarios]
    found = []
    for i, (scenario, name) in enumerate(zip(scenarios, names, strict=True)):
        label = name if names.count(name) == 1 else f"{name} {i + 1}"
        own, wanted = scenario.tree.get("move"), first.tree.get("move")
        remarks = []
        if own != wanted and isinstance(wanted, dict):
            remarks.append(f"moves as {names[0]} does")
            scenario = scenario_of(
                {**scenario.tree, "move": wanted},
                scenario.label,
                first.folder if "gcode" in wanted else scenario.folder,
            )
        found.append(_told(made(scenario, label, {}), remarks))
    return found
