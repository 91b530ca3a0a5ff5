"""Written masses that follow a change of parts."""

from __future__ import annotations

from dataclasses import replace

from ..machine.build import MASS_KEYS, machine_of
from ..machine.machine import Machine
from ..scenario.bands import bands_of
from ..scenario.schema import Scenario
from .improve_change import Settings


def with_masses(scenario: Scenario, before: Machine, after: Machine) -> Settings:
    """Written masses as they must become where a change of parts makes a body heavier or lighter; their bands with them.

    A mass that somebody weighed holds whatever the parts are: a heavier rail would cost nothing. So it goes up or down by
    what the mass computed from the parts does.
    """
    was, now = _computed(before), _computed(after)
    banded, values = bands_of(scenario), {o.key: o for o in after.design.origins}
    found: Settings = {}
    for body, key in MASS_KEYS.items():
        origin = values.get(key)
        written = origin is not None and origin.origin in ("file", "set", "variant")
        if not written or body not in was or body not in now or not isinstance(origin.value, int | float):  # type: ignore[union-attr]
            continue
        more = 1e3 * (now[body] - was[body])
        if abs(more) < 0.05:
            continue
        found[key] = round(float(origin.value) + more, 1)  # type: ignore[union-attr]
        band = banded.get(tuple(key.split(".")))
        if band is not None:
            found[f"band.{key}"] = [round(end + more, 1) for end in band]
    return found


def _computed(machine: Machine) -> dict[str, float]:
    """The mass that each body has by its parts, kg, whatever is written."""
    d = machine.design
    bare = replace(
        d,
        carriage=replace(d.carriage, mass_kg=None),
        gantry=replace(d.gantry, mass_kg=None),
        bed=replace(d.bed, mass_kg=None),
        origins=list(d.origins),
    )
    return {body.kind: body.mass_kg for body in machine_of(bare).bodies}
