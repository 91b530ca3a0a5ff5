"""From a scenario to a machine: parts resolved, layout laid out, frame condensed, computed values recorded."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..errors import MachineError
from ..parts.design import Design, Drawn, Origin, Uncertain
from ..parts.resolve import resolve
from ..scenario.schema import Scenario
from .frame import frame_stiffness, two_column_stiffness
from .layouts import LAYOUTS
from .machine import Array, Machine
from .panels import base_reach
from .routing import belt_path

#: Body whose computed mass belongs to which key of the file.
MASS_KEYS = {
    "carriage": "carriage.mass_g",
    "gantry": "gantry.mass_g",
    "bed": "bed.mass_g",
    "frame": "frame.top_mass_g",
    "base": "frame.base_mass_g",
}


def build_machine(scenario: Scenario, drawn: Drawn | None = None) -> Machine:
    """The machine a scenario describes. drawn: numbers that stand in place of those told.

    Raises ScenarioError, PartError or MachineError; the message says what to change.
    """
    return machine_of(design_of(scenario, drawn))


def design_of(scenario: Scenario, drawn: Drawn | None = None) -> Design:
    """The completed design of a scenario, as its layout takes it. Raises ScenarioError or PartError."""
    layout = LAYOUTS[scenario.layout]
    return resolve(scenario, layout.drives, layout.frame_beside_mm, drawn)


def machine_of(design: Design) -> Machine:
    """The machine of a completed design."""
    machine = LAYOUTS[design.layout].build(design)
    machine = replace(
        machine,
        frame_stiffness=_frame(machine),
        frame_damping_ratio=0.0 if design.frame is None else design.frame.damping_ratio,
    )
    for belt in machine.belts:
        belt_path(machine, belt)  # raises where the belt cannot pass
    machine = _weighed(machine)
    _check_masses(machine)
    _record_computed(machine)
    return machine


def _frame(machine: Machine) -> Array | None:
    """The frame's 6x6, scaled so that an override of the sway stiffness is met exactly; None when rigid."""
    spec, size = machine.design.frame, machine.design.frame_size
    if spec is None:
        return None
    if machine.gantry_height_m is None:
        k = frame_stiffness(spec, size)
    else:
        ys = [p[1] for p in machine.feet_points]
        reach = base_reach(size.depth_m, (min(ys) + max(ys)) / 2, machine.frame_point[1])
        k = two_column_stiffness(spec, size, machine.gantry_height_m, reach)
    compliance = np.linalg.inv(k)
    scale = np.ones(6)
    for axis, wanted in enumerate((spec.stiffness_x_n_m, spec.stiffness_y_n_m)):
        if wanted is not None:
            scale[axis] = np.sqrt(wanted * compliance[axis, axis])
    return np.asarray(k * np.outer(scale, scale))


def sway_stiffness(machine: Machine, axis: int) -> float:
    """Force at the frame top per metre it sways along an axis (0 X, 1 Y), free to tilt, N/m."""
    if machine.frame_stiffness is None:
        raise MachineError("the frame is rigid: it has no sway stiffness")
    return float(1.0 / np.linalg.inv(machine.frame_stiffness)[axis, axis])


def _weighed(machine: Machine) -> Machine:
    """The machine with its computed masses, and what turns with them, times the factors of its design."""
    factors, written = machine.design.mass_factors, {o.key for o in machine.design.origins if o.value is not None}
    if not factors:
        return machine
    bodies = []
    for body in machine.bodies:
        f = 1.0 if MASS_KEYS.get(body.name) in written else factors.get(body.name, 1.0)
        x, y, z = body.inertia
        bodies.append(replace(body, mass_kg=body.mass_kg * f, inertia=(x * f, y * f, z * f)))
    return replace(machine, bodies=tuple(bodies))


#: How well a mass computed from parts is known: 0.95 to 1.05 times it, 19 of 20 machines (our estimate: screws, cables
#: and voids of prints are counted by nobody).
MASS_BAND = (0.95, 1.05)


def uncertain_numbers(machine: Machine) -> tuple[Uncertain, ...]:
    """Every number of a machine that is known within a band only: its design's, and the masses computed from parts."""
    computed = {o.key: o for o in machine.design.origins if o.origin == "computed"}
    found = []
    for body in machine.bodies:
        origin = computed.get(MASS_KEYS.get(body.name, ""))
        if origin is None or (body.name == "base" and machine.design.detail == "simple"):
            continue
        value = body.mass_kg * 1e3
        low, high = (share * value for share in MASS_BAND)
        of = ("mass", body.name)
        reason = "computed from parts: screws, cables and voids of prints are not counted (our estimate)"
        found.append(Uncertain(origin.key, (origin.key,), value, low, high, "g", reason, of, of))
    return (*machine.design.uncertain, *found)


def _check_masses(machine: Machine) -> None:
    for body in machine.bodies:
        if body.driven and not body.mass_kg > 0:
            raise MachineError(f"{body.name}: mass is {body.mass_kg * 1e3:g} g; a moving part needs a mass above zero")


def _record_computed(machine: Machine) -> None:
    """Add the masses and stiffnesses that nobody wrote to the origins, so that `show` can say where they come from."""
    origins = machine.design.origins
    known = {o.key for o in origins if o.value is not None}
    for body in machine.bodies:
        key = MASS_KEYS.get(body.name)
        if key is None or key in known or (body.name in ("frame", "base") and machine.design.frame is None):
            continue
        value = float(f"{body.mass_kg * 1e3:.4g}")
        _put(origins, Origin(key, value, "computed", body.mass_note))
    for axis, letter in enumerate("xy"):
        key = f"frame.stiffness_{letter}_n_per_mm"
        if machine.frame_stiffness is not None and key not in known:
            value = float(f"{sway_stiffness(machine, axis) / 1e3:.4g}")
            _put(origins, Origin(key, value, "computed", "beams, joints and panels of the frame, sideways at its top"))


def _put(origins: list[Origin], new: Origin) -> None:
    for i, old in enumerate(origins):
        if old.key == new.key:
            origins[i] = new
            return
    origins.append(new)
