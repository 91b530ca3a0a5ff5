"""The 26 natural frequencies of a CoreXY against a general multibody engine: MuJoCo (PyPI `mujoco`).

The machine is written for MuJoCo by hand, as a tree: base on its feet, frame top on the base, rotors and gantry on the frame
top, carriage on the gantry, each with joints at the place where it is held, relative to what carries it. Belts are spatial
tendons through sites at the points where they leave their wheels; a rotor pulls by a site on its rim. beltspring's own
coordinates are absolute and its belts are rows of numbers, so nothing but the parts' data is shared.
"""

from __future__ import annotations

from dataclasses import replace

import mujoco
import numpy as np
import pytest
from beltspring.sim.machine.build import machine_of as from_design
from beltspring.sim.machine.machine import Body, Machine
from beltspring.sim.model.build import build_model
from beltspring.sim.model.facts import run_facts
from beltspring.sim.model.guides import guide_stiffness
from beltspring.sim.model.modes import modes
from beltspring.sim.model.motor import magnetic_stiffness
from scipy.linalg import eigh

from tests.full.machines import desk
from tests.support import machine_of

AXES = ("1 0 0", "0 1 0", "0 0 1")


def text(values) -> str:
    return " ".join(f"{v:.15g}" for v in values)


def joints(name: str, stiffness=(0.0,) * 6) -> str:
    """Three slides, three hinges at the body's origin."""
    out = []
    for i, k in enumerate(stiffness):
        kind = "slide" if i < 3 else "hinge"
        out.append(f'<joint name="{name}{i}" type="{kind}" axis="{AXES[i % 3]}" stiffness="{k:.15g}"/>')
    return "".join(out)


def inertial(body: Body, origin, less=(0.0, 0.0, 0.0)) -> str:
    at = text(np.array(body.centre) - origin)
    return f'<inertial pos="{at}" mass="{body.mass_kg:.15g}" diaginertia="{text(np.array(body.inertia) - less)}"/>'


def springs(name: str, k) -> str:
    """A (6, 6) stiffness over the joints of one body: six fixed tendons along its principal directions."""
    out = []
    values, shapes = np.linalg.eigh(k)
    for value, shape in zip(values, shapes.T, strict=True):
        if value > 1e-9 * np.abs(k).max():
            coefficients = "".join(f'<joint joint="{name}{i}" coef="{c:.15g}"/>' for i, c in enumerate(shape))
            out.append(f'<fixed stiffness="{value:.15g}">{coefficients}</fixed>')
    return "".join(out)


def bushings(body: Body) -> np.ndarray:
    """Stiffness (6, 6) of two rods with two bushings each, in the joints of the sliding body: d_t + d_r x r by components."""
    assert body.guide is not None
    assert body.place is not None
    assert body.slide is not None
    shaft = guide_stiffness(body.name, body.guide, body.place, body.slide).shaft
    assert shaft is not None
    two, _ = shaft.stiffness(0.0)
    k = np.zeros((6, 6))
    for side in (-0.5, 0.5):
        rows: dict[int, list[np.ndarray]] = {p: [] for p in range(3) if p != body.slide}
        for along in (-0.5, 0.5):
            r = np.zeros(3)
            r[body.place.across] += side * body.place.apart_m
            r[body.slide] += along * body.place.spacing_m
            rx, ry, rz = r
            at = {0: [1, 0, 0, 0, rz, -ry], 1: [0, 1, 0, -rz, 0, rx], 2: [0, 0, 1, ry, -rx, 0]}
            for p, listed in rows.items():
                listed.append(np.array(at[p]))
        for pair in rows.values():
            k += np.array(pair).T @ two @ np.array(pair)
    return k


def belt_points(machine: Machine, name: str, sign: int) -> list[list[tuple[str, np.ndarray]]]:
    """Both runs of a belt as (body, point) from carriage to motor and back, by hand. sign: +1 belt a, -1 its mirror image."""
    w = machine.wheels
    near, rear1, rear2, far = (w[f"{place} {name} {which}"] for place, which in
                               (("gantry", "near"), ("rear", "near"), ("rear", "far"), ("gantry", "far")))  # fmt: skip
    motor = w[f"motor {name.upper()}"]
    z = near.centre[2]
    first, last = next((b.start, b.end) for b in machine.belts if b.name == name)

    def at(wheel, dx, dy):
        return np.array([wheel.centre[0] + sign * dx * wheel.radius_m, wheel.centre[1] + dy * wheel.radius_m, z])

    short = [
        ("carriage", np.array(first.point)), ("gantry", at(near, 0, 1)), ("gantry", at(near, -1, 0)),
        (f"rotor_{name}", at(motor, 1, 0)),
    ]  # fmt: skip
    long = [
        (f"rotor_{name}", at(motor, -1, 0)), ("frame", at(rear1, -1, 0)), ("frame", at(rear1, 0, 1)),
        ("frame", at(rear2, 0, 1)), ("frame", at(rear2, 1, 0)), ("gantry", at(far, 1, 0)), ("gantry", at(far, 0, -1)),
        ("carriage", np.array(last.point)),
    ]  # fmt: skip
    return [short, long]


def world(machine: Machine, stiffness: dict[tuple[str, str], float]) -> str:
    """The machine as MuJoCo's text."""
    feet = np.array(machine.feet_points)
    foot = feet.mean(axis=0)
    spec = machine.design.feet
    assert spec is not None
    x2, y2 = (feet[:, 0] - foot[0]) ** 2, (feet[:, 1] - foot[1]) ** 2
    s, v = spec.sideways_n_m, spec.vertical_n_m
    on_feet = (4 * s, 4 * s, 4 * v, v * y2.sum(), v * x2.sum(), s * (x2 + y2).sum())
    top = np.array(machine.frame_point)
    origin = {"base": foot, "frame": top}
    for name in ("gantry", "carriage"):
        place = machine.body(name).place
        assert place is not None
        origin[name] = np.array(place.point)
    for motor in machine.motors:
        origin[f"rotor_{motor.name}"] = np.array(motor.centre)
    runs = {}
    for name, sign in (("a", 1), ("b", -1)):
        short, long = belt_points(machine, name, sign)
        ends = next((b.start.name, b.end.name) for b in machine.belts if b.name == name)
        runs[name, ends[0]], runs[name, ends[1]] = short, long
    sites: dict[str, list[str]] = {name: [] for name in origin}
    tendons = []
    for (belt, end), points in runs.items():
        listed = []
        for number, (body, point) in enumerate(points):
            site = f"{belt}_{end}_{number}"
            sites[body].append(f'<site name="{site}" pos="{text(point - origin[body])}"/>')
            listed.append(f'<site site="{site}"/>')
        tendons.append(f'<spatial stiffness="{stiffness[belt, end]:.15g}">{"".join(listed)}</spatial>')
    rotors, turning = [], np.zeros(3)
    for motor in machine.motors:
        assert motor.spec is not None
        j = motor.spec.rotor_inertia_kg_m2
        # A body needs inertia about all axes: what a rotor has across its axis is taken from the frame.
        turning += np.array([j / 2, j / 2, 0.0])
        name = f"rotor_{motor.name}"
        rotors.append(
            f'<body pos="{text(origin[name] - top)}"><inertial pos="0 0 0" mass="1e-9" diaginertia="{j / 2} {j / 2} {j}"/>'
            f'<joint name="{name}" type="hinge" axis="0 0 1" stiffness="{magnetic_stiffness(motor.spec):.15g}"/>'
            f"{''.join(sites[name])}</body>"
        )
    body = {b.name: b for b in machine.bodies}
    return f"""<mujoco><compiler angle="radian" inertiafromgeom="false"/>
    <option gravity="0 0 0"><flag contact="disable" constraint="disable"/></option><worldbody>
    <body pos="{text(foot)}">{inertial(body["base"], foot)}{joints("base", on_feet)}
      <body>{inertial(body["bed"], foot)}</body>
      <body pos="{text(top - foot)}">{inertial(body["frame"], top, turning)}{joints("frame")}{"".join(sites["frame"])}
        {"".join(rotors)}
        <body pos="{text(origin["gantry"] - top)}">{inertial(body["gantry"], origin["gantry"])}{joints("gantry")}
          {"".join(sites["gantry"])}
          <body pos="{text(origin["carriage"] - origin["gantry"])}">{inertial(body["carriage"], origin["carriage"])}
            {joints("carriage")}{"".join(sites["carriage"])}</body>
        </body>
      </body>
    </body></worldbody><tendon>{"".join(tendons)}{springs("frame", machine.frame_stiffness)}
    {springs("gantry", bushings(body["gantry"]))}{springs("carriage", bushings(body["carriage"]))}</tendon></mujoco>"""


def test_twenty_six_frequencies_of_a_corexy():
    scenario = desk("corexy", {"belts.mass_g_m": 0, "idlers.inertia_g_mm2": 0, "motors.detent_nm": 0})
    design = machine_of(scenario).design
    # MuJoCo's rods have no mass of their own.
    light = {
        name: replace(table, guide=replace(table.guide, line_mass_kg_m=0.0))
        for name, table in (("carriage", design.carriage), ("gantry", design.gantry))
    }
    machine = from_design(replace(design, **light))
    # Dampers would turn the problem complex; both sides leave them out.
    system = build_model(machine)
    stiffness = {(f.belt, f.name): f.stiffness_n_m for f in run_facts(system)}
    model = mujoco.MjModel.from_xml_string(world(machine, stiffness))
    data = mujoco.MjData(model)
    assert model.nv == 26
    mujoco.mj_forward(model, data)
    mass = np.zeros((26, 26))
    for i, unit in enumerate(np.eye(26)):
        mujoco.mj_mulM(model, data, mass[i], unit)
    k = np.zeros((26, 26))
    step = 1e-6
    for i in range(26):
        force = []
        for sign in (1, -1):
            data.qpos[:] = 0.0
            data.qpos[i] = sign * step
            mujoco.mj_forward(model, data)
            force.append(data.qfrc_passive.copy())
        k[:, i] = -(force[0] - force[1]) / (2 * step)
    theirs = np.sqrt(eigh((k + k.T) / 2, mass, eigvals_only=True)) / (2 * np.pi)
    ours = np.sqrt(eigh(system.linear_stiffness(np.zeros(26)), system.mass, eigvals_only=True)) / (2 * np.pi)
    assert ours == pytest.approx(theirs, rel=1e-5)
    # And the mode solver lists the same, its damping apart.
    still = replace(
        system,
        joints=tuple(replace(j, damping=np.zeros((6, 6))) for j in system.joints),
        runs=tuple(replace(r, lag_s=0.0) for r in system.runs),
        motors=tuple(replace(m, damping_nm_s=0.0) for m in system.motors),
    )
    assert [m.frequency_hz for m in modes(still)] == pytest.approx(list(theirs), rel=1e-5)
