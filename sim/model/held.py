"""What the belts do when a hand holds the tool away from where its motors want it: statics for the bench.

Motors stand still, frame and guides are rigid, friction and the rotors' detents are left out: only the belts give way. SI units.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .statics import equilibrium
from .system import Array, RunElement, System

#: Where the weight rests is found by steps, the last one shorter than this, m: less than 0.1 um is left, some millinewtons.
LAST_STEP = 1e-5


@dataclass(frozen=True)
class Held:
    """tension_n: by (belt, run).  force_n: (3,), what the hand feels from the belts on the tool, N."""

    tension_n: dict[tuple[str, str], float]
    force_n: Array


def held(system: System, tool: Array, pushed: Array) -> Held:
    """Tensions with the motors at rest for `tool` (3,), m, and the tool pushed from there by `pushed` (3,), m.

    Each run pulls T = max(0, T0 + EA x / L) with x its stretch at the motors' angles; the force follows from the
    principle of virtual work, F = - sum T dx/dr, with the free lengths' change left out as second order.
    """
    # Weight hangs on upright belts.
    q = equilibrium(system.once(_without_detents), tool, last_step=LAST_STEP) if system.arms else system.rest(tool)
    push = system.travel_at(tool).copy()
    for motor in system.motors:
        if motor.row is not None:
            # Rotors keep their angle against the stator: turn them back by what would have turned them, and only them.
            rotor = system.dof_names.index(f"rotor {motor.name}")
            push[rotor] -= (motor.row @ push) / motor.row[rotor]
    moved = push @ np.asarray(pushed, float)
    tension: dict[tuple[str, str], float] = {}
    force = np.zeros(3)
    for run in system.runs:
        stretch = float(run.row @ moved) + (_sagged(system, run, q, tool) if system.arms else 0.0)
        pull = max(0.0, run.pretension_n + run.stiffness(q) * stretch)
        tension[run.belt, run.name] = pull
        force -= pull * (run.row @ push)
    if system.arms:
        force += system.gravity @ push  # the belts carry that; the hand does not feel it
    return Held(tension, force)


def _sagged(system: System, run: RunElement, q: Array, tool: Array) -> float:
    """How much further a run is stretched at equilibrium than with nothing strained, m."""
    return float(run.row @ q + run.command_row @ system.motor_command(tool))


def _without_detents(system: System) -> System:
    """The same model with rotors that are held by their command alone."""
    return replace(system, motors=tuple(replace(motor, detent_nm=0.0) for motor in system.motors))
