"""Machines of the full model in the file's own words: rigid everywhere except where a check looks."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from beltspring.sim.machine.machine import Machine
from beltspring.sim.model.system import System

from tests.support import OPEN, bare, machine_of, model_of, shipped

#: Real motors without losses: T_h = 0.40 N m at the set current, rotor 50 g cm2; magnetic spring 20 N m/rad.
MOTORS: dict[str, Any] = {
    "motors.part": "motor-17-40",
    "motors.rated_current_a": 1.0,
    "motors.current_a": 2.0**0.5,
    "motors.holding_torque_nm": 0.40,
    "motors.rotor_inertia_g_cm2": 50.0,
    "motors.detent_nm": 0,
    "motors.damping": 0,
    "motors.supply_v": 48,
}
#: A guide of two rails that gives way only by turning, as hard as one wants across.
STIFF_ACROSS = 1_000_000


def rigid(layout: str, changes: Mapping[str, Any] | None = None) -> Machine:
    """A machine at detail full with everything rigid and ideal but what `changes` says."""
    return machine_of(bare(layout, {"detail": "full", **(changes or {})}))


def rigid_model(layout: str, changes: Mapping[str, Any] | None = None) -> System:
    """The model of `rigid`."""
    return model_of(bare(layout, {"detail": "full", **(changes or {})}))


#: The shipped desk machine at full detail, its frame wide enough for every layout.
DESK = {"detail": "full", "frame.width_mm": 480, "frame.depth_mm": 460}
FRICTIONLESS = {f"{part}.friction_n": 0 for part in ("carriage", "gantry", "bed")}


def desk(layout: str = "corexy", changes: Mapping[str, Any] | None = None) -> Any:
    """The desk machine of any layout at full detail, as a scenario."""
    open_ = OPEN if layout == "moving-bed" else {}  # two columns hold no sheets
    tall = {"frame.height_mm": 620} if layout == "delta" else {}  # arms ask for columns
    return shipped("desk-corexy", DESK | open_ | tall | {"layout": layout} | dict(changes or {}))
