"""Which designs are compared: a scenario with its variants, or with its keys at several values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np

from ..errors import ScenarioError
from ..scenario.changes import parse_sets
from ..scenario.index import key_at
from ..scenario.load import with_changes, with_variant
from ..scenario.schema import Scenario

MOST_DESIGNS = 60
AS_WRITTEN = "as written"


@dataclass(frozen=True)
class Named:
    """A design to compare and what to call it."""

    label: str
    scenario: Scenario


def designs(scenario: Scenario, vary: Sequence[str] = ()) -> list[Named]:
    """What to compare: each `key=v1,v2,v3` of `vary` in turn, or the scenario and its variants. Raises ScenarioError."""
    return varied(scenario, vary) if vary else variants_of(scenario)


def variants_of(scenario: Scenario) -> list[Named]:
    """The scenario as written and each of its variants. Raises ScenarioError if it has none."""
    if not scenario.variants:
        raise ScenarioError(
            [
                f"{scenario.label}: nothing to compare, it has no [[variant]]; write one, or say what to vary, "
                "for example --vary belts.part=belt-2mm-6-glass,belt-2mm-9-glass"
            ]
        )
    for variant in scenario.file.variant:
        _refuse_idle(f'{scenario.label} variant "{variant.name}"', variant.set, with_variant(scenario, variant.name))
    return [Named(AS_WRITTEN, scenario), *(Named(n, with_variant(scenario, n)) for n in scenario.variants)]


def _refuse_idle(who: str, changed: Mapping[str, object], scenario: Scenario) -> None:
    """Refuse to compare what the simple model does not have: feet and the stiffness of guides do nothing there."""
    if scenario.detail != "simple":
        return
    for path in changed:
        key = key_at(tuple(path.split(".")))
        if key is not None and key.full_only:
            raise ScenarioError(
                [
                    f'{who}: {path} does nothing at detail = "simple", so there is nothing to compare; use detail = "full"'
                ]
            )


def varied(scenario: Scenario, texts: Sequence[str]) -> list[Named]:
    """The scenario with each `key=v1,v2,v3` in turn; several keys give every combination. Raises ScenarioError."""
    choices: list[list[tuple[str, Any]]] = []
    for text in texts:
        key, equals, values = text.partition("=")
        listed = [v.strip() for v in values.split(",")]
        if not equals or not key.strip() or len(listed) < 2 or not all(listed):
            raise ScenarioError(
                [
                    f"--vary {text[:60]}: write it as key=v1,v2 with two values or more, for example belts.pretension_n=10,20"
                ]
            )
        choices.append([next(iter(parse_sets([f"{key.strip()}={v}"]).items())) for v in listed])
    count = int(np.prod([len(c) for c in choices]))
    if count > MOST_DESIGNS:
        raise ScenarioError([f"--vary: that makes {count} designs, and {MOST_DESIGNS} is the most; give fewer values"])
    found = []
    for combination in product(*choices):
        label = ", ".join(v if isinstance(v, str) else f"{key.rsplit('.', 1)[-1]} {v}" for key, v in combination)
        changed = with_changes(scenario, dict(combination), source="--vary")
        _refuse_idle("--vary", dict(combination), changed)
        found.append(Named(label, changed))
    return found
