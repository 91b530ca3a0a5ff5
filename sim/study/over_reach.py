"""What a machine would ring at, in the middle of its reach and at its corners; nothing is simulated for it. SI units."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..chain.bands import mode_bands
from ..machine.build import build_machine
from ..machine.machine import Machine
from ..model.build import build_model
from ..model.left_out import left_out_words
from ..model.modes import Mode, detent_words
from ..model.modes import modes as modes_at
from ..scenario.schema import Scenario

Array = NDArray[np.float64]


@dataclass(frozen=True)
class PlaceModes:
    """Modes with the tool at a place, the slowest first. tool_m: (3,).

    bands_hz: (k, 2), between which the frequency of each lies in 19 of 20 machines of these parts.
    """

    name: str
    tool_m: Array
    modes: tuple[Mode, ...]
    bands_hz: Array


@dataclass(frozen=True)
class OverReach:
    """The modes at every place, the middle first; guide friction is left out.

    detent: what the mean over the motors' detent leaves out.  left_out: what the model does.  Sentences, or "".
    """

    machine: Machine
    places: tuple[PlaceModes, ...]
    detent: str
    left_out: str


def modes(scenario: Scenario) -> OverReach:
    """Natural frequencies, damping and shapes over the reach. Raises InputError for what is no machine that moves."""
    machine = build_machine(scenario)
    system = build_model(machine)
    there = [(name, tool, modes_at(system, tool)) for name, tool in places(machine)]
    bands = mode_bands(scenario, system, [(tool, listed) for _, tool, listed in there])
    found = tuple(
        PlaceModes(name, tool, tuple(listed), band) for (name, tool, listed), band in zip(there, bands, strict=True)
    )
    return OverReach(machine, found, detent_words(system, found[0].tool_m), left_out_words(machine))


def places(machine: Machine) -> list[tuple[str, Array]]:
    """The middle of the reach and its four corners (or twelve points of its rim) in XY, (name, (3,) m), at half height."""
    x, y, z = (float(v) for v in machine.middle)
    return [(name, np.array([*xy, z])) for name, xy in [("middle", (x, y)), *machine.edge()]]
