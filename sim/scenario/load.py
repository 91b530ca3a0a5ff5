"""Loading a scenario, and the same scenario with changes: every door into this room."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ..errors import ScenarioError
from .bands import BAND, nested
from .changes import DEEPEST, Layered, apply, origins_of, parse_sets
from .rules import MOST_PROBLEMS, validated
from .schema import Scenario, Where
from .source import read
from .telling import nearest


def load_scenario(source: str | Path, overrides: Sequence[str] = (), variant: str | None = None) -> Scenario:
    """The scenario at a path, or the shipped one of that name, one of its variants and `key=value` overrides laid over it.

    Its variants are tried one by one, so that a fault in any is told at once. Raises ScenarioError with all problems.
    """
    found = read(source)
    if variant is None:
        return scenario_of(found.tree, found.label, found.folder, overrides)
    varied = with_variant(scenario_of(found.tree, found.label, found.folder), variant)
    return with_changes(varied, parse_sets(overrides)) if overrides else varied


def scenario_of(
    tree: Mapping[str, Any], label: str = "scenario", folder: Path | None = None, overrides: Sequence[str] = ()
) -> Scenario:
    """A scenario from a tree of tables as TOML gives it."""
    _refuse_depth(tree, label)
    written = dict(tree)
    if BAND in written:
        written[BAND] = nested(written[BAND])
    layered = Layered(written, origins_of(written, Where("file", label)))
    plain = _finished(layered, label, folder)
    _try_variants(plain)
    return with_changes(plain, parse_sets(overrides)) if overrides else plain


def with_changes(scenario: Scenario, changes: Mapping[str, Any], source: str = "--set") -> Scenario:
    """The scenario with dotted keys changed, all rules asked again. source: how messages call these changes.

    Changing a part drops what overrode it in its table, and `notices` says so. Raises ScenarioError.
    """
    layered = apply(_layers(scenario), changes, Where("set", source))
    return _finished(layered, scenario.label, scenario.folder, scenario.variant)


def with_variant(scenario: Scenario, name: str) -> Scenario:
    """The scenario with one of its own variants laid over it. Raises ScenarioError for a name it does not have."""
    for variant in scenario.file.variant:
        if variant.name == name:
            where = Where("variant", f'{scenario.label} variant "{name}"')
            return _finished(apply(_layers(scenario), variant.set, where), scenario.label, scenario.folder, name)
    near = nearest(name, scenario.variants)
    known = ", ".join(f'"{known}"' for known in scenario.variants)
    hint = f'did you mean "{near}"?' if near else f"it has {known}" if known else "it has no [[variant]]"
    raise ScenarioError([f'{scenario.label}: no variant "{name}"; {hint}'])


def _refuse_depth(tree: Mapping[str, Any], label: str) -> None:
    """Refuse what no scenario needs before anything walks down into it. Walks level by level, never recursively."""
    level: list[Any] = [tree]
    for _ in range(DEEPEST + 3):
        level = [inner for value in level for inner in (value.values() if isinstance(value, Mapping) else value)]
        level = [value for value in level if isinstance(value, Mapping | list)]
    if level:
        raise ScenarioError([f"{label}: tables or lists are nested deeper than any key of a scenario"])


def _layers(scenario: Scenario) -> Layered:
    return Layered(scenario.tree, scenario.origins, list(scenario.notices))


def _finished(layered: Layered, label: str, folder: Path | None, variant: str | None = None) -> Scenario:
    file = validated(layered, label)
    return Scenario(file, layered.tree, layered.origins, label, folder, tuple(layered.notices), variant)


def _try_variants(scenario: Scenario) -> None:
    problems: list[str] = []
    for index, variant in enumerate(scenario.file.variant):
        if variant.name in scenario.variants[:index]:
            problems.append(
                f'{scenario.label} [[variant]] number {index + 1}: there is already a variant "{variant.name}"'
            )
            continue
        try:
            with_variant(scenario, variant.name)
        except ScenarioError as error:
            problems.extend(error.problems)
        if len(problems) >= MOST_PROBLEMS:
            break
    if problems:
        raise ScenarioError(problems)
