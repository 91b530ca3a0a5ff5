"""From a scenario to a machine: parts resolved, layout laid out, frame condensed, computed values recorded."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..errors import MachineError
from ..parts.design import Design, Origin
from ..parts.resolve import resolve
from ..scenario.schema import Scenario
from .frame import frame_stiffness, triangle_stiffness, two_column_stiffness
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


def build_machine(scenario: Scenario) -> Machine:
    """The machine a scenario describes. Raises ScenarioError, PartError or MachineError; the message says what to change."""
    layout = LAYOUTS[scenario.layout]
    return machine_of(resolve(scenario, layout.drives, layout.frame_beside_mm, layout.on_arms))


def machine_of(design: Design) -> Machine:
    """The machine of a completed design. Raises MachineError where its layout has no model of that detail."""
    details = LAYOUTS[design.layout].details
    if design.detail not in details:
        raise MachineError(
            f'detail = "{design.detail}": layout {design.layout} has no such model yet; write detail = "{details[0]}"'
        )
    machine = LAYOUTS[design.layout].build(design)
    machine = replace(
        machine,
        frame_stiffness=_frame(machine),
        frame_damping_ratio=0.0 if design.frame is None else design.frame.damping_ratio,
    )
    for belt in machine.belts:
        belt_path(machine, belt)  # raises where the belt cannot pass
    _check_masses(machine)
    _record_computed(machine)
    return machine


def _frame(machine: Machine) -> Array | None:
    """The frame's 6x6, scaled so that an override of the sway stiffness is met exactly; None when rigid."""
    spec, size = machine.design.frame, machine.design.frame_size
    if spec is None:
        return None
    if machine.column_radius_m is not None and machine.gantry_height_m is not None:
        k = triangle_stiffness(spec, machine.column_radius_m, size.height_m, machine.gantry_height_m)
    elif machine.gantry_height_m is None:
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
