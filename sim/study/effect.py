"""What one key does: the model, the findings and the order list with its value and with another, side by side."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..check.check import check
from ..errors import InputError
from ..machine.build import bands_by_key, build_machine
from ..machine.machine import Machine
from ..model.build import build_model
from ..model.facts import held_stiffness, moving_mass
from ..model.modes import bare_modes, swings_most
from ..order.shopping import items
from ..parts.design import Origin
from ..parts.keys import KeyFact, key_fact, key_facts
from ..scenario.index import dotted
from ..scenario.load import with_changes
from ..scenario.schema import Scenario

MORE = 0.1  # a number is raised by this share; the way back where its range ends
LEAST_SHARE = 5e-4  # a change below this is none
MOST_CHOICES = 10
MOTION = ("motion", "move", "record")


@dataclass(frozen=True)
class Other:
    """One other value, in words, and what is then different, in sentences without a full stop; () where nothing is."""

    value: str
    changes: tuple[str, ...]


@dataclass(frozen=True)
class Effect:
    """A key of one scenario. origin: its value and who decided it.  band: that 19 of 20 machines keep, file units.

    others: what other values would do.  words: what kind of key it is, in a sentence; "" where the changes say it.
    """

    fact: KeyFact
    origin: Origin
    band: tuple[float, float] | None
    others: tuple[Other, ...]
    words: str


def effect(scenario: Scenario, name: str) -> Effect:
    """What a key of a scenario is and does. Raises InputError for a key that is none, or that this machine does not have."""
    fact = _fact(name)
    machine = build_machine(scenario)
    found = next((o for o in machine.design.origins if o.key == fact.name), None)
    if found is None:
        above = f"; {dotted((fact.path[0], fact.path[2]))} holds" if len(fact.path) == 3 else ""
        why = f"this machine does not use it, layout {scenario.layout}" + above
        return Effect(fact, Origin(fact.name, None, "not used", why), None, (), "")
    if fact.path[0] in MOTION:
        words = (
            "It belongs to the move, not to the machine: the frequencies stay, and how hard they are struck changes."
        )
        return Effect(fact, found, None, (), words)
    values = _values(fact, found.value)
    now = _Seen.of(scenario) if values else None
    others = tuple(_other(scenario, now, fact, value) for value in values) if now else ()
    same = "Nothing is computed from it." if not any(o.changes for o in others) and others else ""
    return Effect(fact, found, bands_by_key(machine).get(fact.name), others, same)


def _fact(name: str) -> KeyFact:
    facts = key_facts(name)
    if len(facts) == 1:
        return facts[0]
    exact = key_fact(tuple(name.split(".")))
    if exact is not None:
        return exact
    keys = ", ".join(f.name for f in facts[:6])
    raise InputError(f"{name!r}: which of {keys}{', ...' if len(facts) > 6 else ''}? Write one of them")


def _values(fact: KeyFact, now: Any) -> list[Any]:
    """Other values to try, in file units."""
    if fact.choices:
        return [choice for choice in fact.choices if choice != now][:MOST_CHOICES]
    if not isinstance(now, int | float) or isinstance(now, bool) or fact.low is None or fact.high is None:
        return []
    if isinstance(now, int) and fact.allowed.startswith("a whole number"):
        return [now + 1 if now < fact.high else now - 1]
    step = MORE * abs(now) or MORE * min(fact.high, 10.0)
    return [float(f"{now + step if now + step <= fact.high else now - step:.6g}")]


@dataclass(frozen=True)
class _Seen:
    """What is compared of one machine."""

    quantities: dict[str, float]
    findings: dict[str, str]
    bought: dict[str, str]

    @classmethod
    def of(cls, scenario: Scenario) -> _Seen:
        machine = build_machine(scenario)
        return cls(_quantities(machine), _findings(scenario), _bought(machine))


def _other(scenario: Scenario, now: _Seen, fact: KeyFact, value: Any) -> Other:
    unit = f" {fact.unit}" if fact.unit and not fact.choices else ""
    told = f"{value:g}{unit}" if isinstance(value, float) else str(value)
    try:
        then = _Seen.of(with_changes(scenario, {fact.name: value}))
    except InputError as error:
        return Other(told, (f"cannot be: {str(error).splitlines()[0]}",))
    changes = [
        f"{what} {_figure(then.quantities[what])}{unit} and not {_figure(before)}"
        for what, unit in QUANTITIES.items()
        if (before := now.quantities.get(what)) is not None
        and what in then.quantities
        and abs(then.quantities[what] - before) > LEAST_SHARE * max(abs(before), 1e-9)
    ]
    changes += _judged(now.findings, then.findings)
    changes += _ordered(now.bought, then.bought)
    return Other(told, tuple(changes))


#: What is compared, with its unit.
QUANTITIES = {
    "X rings at": " Hz",
    "Y rings at": " Hz",
    "its damping in X is": "",
    "its damping in Y is": "",
    "the tool is held in X with": " N/mm",
    "the tool is held in Y with": " N/mm",
    "what moves in X weighs": " g",
    "what moves in Y weighs": " g",
}


def _quantities(machine: Machine) -> dict[str, float]:
    """Facts of the model with the tool in mid-reach, in the units of QUANTITIES."""
    system = build_model(machine)
    out: dict[str, float] = {}
    known = bare_modes(system)
    stiffness = held_stiffness(system, machine.middle)
    for axis, name in enumerate("XY"):
        mode = swings_most(system, known, axis)
        if mode is not None:
            out[f"{name} rings at"] = mode.frequency_hz
            out[f"its damping in {name} is"] = mode.damping_ratio
        held = stiffness[axis]
        if held is not None and np.isfinite(held):
            out[f"the tool is held in {name} with"] = held / 1e3
        out[f"what moves in {name} weighs"] = 1e3 * moving_mass(system)[axis]
    return out


def _findings(scenario: Scenario) -> dict[str, str]:
    """Stops and warnings of `check`, each with its rule."""
    return {f"{f.severity} {f.rule}": "" for f in check(scenario).findings if f.severity != "note"}


def _bought(machine: Machine) -> dict[str, str]:
    """Names of what is on the order list with count and words."""
    out: dict[str, str] = {}
    for item in items(machine):
        out[item.name] = f"{out.get(item.name, '')} {item.count} {item.words} {item.length_m}"
    return out


def _judged(now: Mapping[str, str], then: Mapping[str, str]) -> list[str]:
    new, gone = [k for k in then if k not in now], [k for k in now if k not in then]
    out = [f"`check` then says {', '.join(new)}"] if new else []
    return out + ([f"`check` no longer says {', '.join(gone)}"] if gone else [])


def _ordered(now: Mapping[str, str], then: Mapping[str, str]) -> list[str]:
    differ = [k for k in dict.fromkeys([*now, *then]) if now.get(k) != then.get(k)]
    more = " and more" if len(differ) > 6 else ""
    return [f"the order list changes: {', '.join(differ[:6])}{more}"] if differ else []


def _figure(value: float) -> str:
    return f"{value:.4g}" if abs(value) < 1e4 else f"{value:.0f}"
