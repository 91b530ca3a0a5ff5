"""From a scenario to a machine: parts resolved, layout laid out, frame condensed, computed values recorded."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np

from ..errors import MachineError
from ..parts.design import Design, DiagonalSpec, Drawn, FrameSize, FrameSpec, Origin, PanelSpec, Uncertain
from ..parts.resolve import resolve
from ..parts.uncertain import key_bands
from ..scenario.schema import Scenario
from .frame import frame_stiffness, triangle_stiffness, two_column_stiffness
from .layouts import LAYOUTS
from .machine import Array, Machine
from .panels import base_reach
from .routing import belt_path

#: Kind of body whose computed mass belongs to which key of the file; bodies of one kind are made alike and are wrong together.
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


def design_of(scenario: Scenario, drawn: Drawn | None = None, told: bool = True) -> Design:
    """The completed design of a scenario, as its layout takes it. told: see `resolve`. Raises ScenarioError or PartError."""
    layout = LAYOUTS[scenario.layout]
    return resolve(scenario, layout.drives, layout.frame_beside_mm, drawn, layout.on_arms, layout.levels, told)


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
    spec = machine.design.frame
    if spec is None:
        return None
    k = _beams(spec, *_stands(machine))
    compliance = np.linalg.inv(k)
    scale = np.ones(6)
    for axis, wanted in enumerate((spec.stiffness_x_n_m, spec.stiffness_y_n_m)):
        if wanted is not None:
            scale[axis] = np.sqrt(wanted * compliance[axis, axis])
    return np.asarray(k * np.outer(scale, scale))


def reframed(machine: Machine, design: Design) -> Machine:
    """The machine with the frame stiffness of another design of the same sizes."""
    return replace(machine, frame_stiffness=_frame(replace(machine, design=design)))


Stands = tuple[FrameSize, float | None, tuple[float, float], float | None]


def _stands(machine: Machine) -> Stands:
    """Size, height of what runs on two or three columns (None: four columns), how far the base reaches behind and before
    two, distance of three from their middle (None: there are not three)."""
    size = machine.design.frame_size
    ys = [p[1] for p in machine.feet_points]
    reach = base_reach(size.depth_m, (min(ys) + max(ys)) / 2, machine.frame_point[1])
    return size, machine.gantry_height_m, reach, machine.column_radius_m


@lru_cache(maxsize=64)
def _beams(
    spec: FrameSpec, size: FrameSize, gantry_m: float | None, reach: tuple[float, float], radius_m: float | None
) -> Array:
    """(6, 6) as beams, corners and panels make it."""
    if radius_m is not None and gantry_m is not None:
        found = triangle_stiffness(spec, radius_m, size.height_m, gantry_m)
    elif gantry_m is None:
        found = frame_stiffness(spec, size)
    else:
        found = two_column_stiffness(spec, size, gantry_m, reach)
    found.setflags(write=False)  # it is handed out again
    return found


#: Relative change of a stiffness that tells its share; the error goes with its square.
SHARE_STEP = 1e-3


def frame_shares(machine: Machine) -> dict[str, Array]:
    """What holds the frame's top: "corners", "columns" (the bending of all members), "panels", (6, 6) each, together its 6x6.

    A part of an elastic structure holds half of d' (dK/d ln k) d, k its stiffness (Castigliano's theorem; any text on
    structures), and all parts hold the whole because K is of first degree in all stiffnesses together (Euler). Empty where
    the frame is rigid, and where its sway stiffness was written: nobody knows then what gives.
    """
    spec = machine.design.frame
    if spec is None or spec.stiffness_x_n_m is not None or spec.stiffness_y_n_m is not None:
        return {}
    return _shares(spec, *_stands(machine))


@lru_cache(maxsize=64)
def _shares(
    spec: FrameSpec, size: FrameSize, gantry_m: float | None, reach: tuple[float, float], radius_m: float | None
) -> dict[str, Array]:
    out: dict[str, Array] = {}
    for name, stiffer in (("corners", _stiffer_corners), ("panels", _stiffer_panels)):
        if (name == "panels" and not spec.panels) or (name == "corners" and not np.isfinite(spec.joint_nm_rad)):
            continue
        more, less = (
            _beams(stiffer(spec, 1.0 + way * SHARE_STEP), size, gantry_m, reach, radius_m) for way in (1.0, -1.0)
        )
        out[name] = (more - less) / (2 * SHARE_STEP)
    out["columns"] = _beams(spec, size, gantry_m, reach, radius_m) - sum(out.values(), np.zeros((6, 6)))
    return out


def _stiffer_corners(spec: FrameSpec, by: float) -> FrameSpec:
    return replace(spec, joint_nm_rad=spec.joint_nm_rad * by)


def _stiffer_panels(spec: FrameSpec, by: float) -> FrameSpec:
    made: list[PanelSpec | DiagonalSpec] = []
    for panel in spec.panels:
        if isinstance(panel, PanelSpec):
            made.append(replace(panel, shear_modulus_pa=panel.shear_modulus_pa * by, screw_n_m=panel.screw_n_m * by))
        else:
            bar = replace(panel.section, elastic_modulus_pa=panel.section.elastic_modulus_pa * by)
            made.append(replace(panel, section=bar, end_n_m=panel.end_n_m * by))
    return replace(spec, panels=tuple(made))


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
        f = 1.0 if MASS_KEYS.get(body.kind) in written else factors.get(body.kind, 1.0)
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
    for body in {body.kind: body for body in machine.bodies}.values():
        origin = computed.get(MASS_KEYS.get(body.kind, ""))
        if origin is None or (body.name == "base" and machine.design.detail == "simple"):
            continue
        value = body.mass_kg * 1e3
        low, high = (share * value for share in MASS_BAND)
        of = ("mass", body.kind)
        reason = "computed from parts: screws, cables and voids of prints are not counted (our estimate)"
        found.append(Uncertain(origin.key, (origin.key,), value, low, high, "g", reason, of, of))
    return (*machine.design.uncertain, *found)


def bands_by_key(machine: Machine) -> dict[str, tuple[float, float]]:
    """(low, high) of every value of the completed scenario that is known within a band only, in file units."""
    return key_bands(machine.design, uncertain_numbers(machine))


def _check_masses(machine: Machine) -> None:
    for body in machine.bodies:
        if body.driven and not body.mass_kg > 0:
            raise MachineError(f"{body.name}: mass is {body.mass_kg * 1e3:g} g; a moving part needs a mass above zero")


def _record_computed(machine: Machine) -> None:
    """Add the masses and stiffnesses that nobody wrote to the origins, so that `show` can say where they come from."""
    origins = machine.design.origins
    known = {o.key for o in origins if o.value is not None}
    for body in machine.bodies:
        key = MASS_KEYS.get(body.kind)
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
