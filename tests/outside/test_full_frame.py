"""The frame of the full model through the machine's own description: a portal that carries a gantry, mixed members.

Portal of two columns (h) and a beam (b), slope deflection (Roark; Rao; the formulas from memory): fixed bases
k = (24 E I_c / h^3) (1 + 6 g) / (4 + 6 g) with g = (I_b / b) / (I_c / h); with springs at joints worked from the same
equations. E = 69 GPa, I = 7000 mm4, h = b = 0.4 m. Members count as inextensible there: here they get an area of 1 m2.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.machine.build import machine_of as from_design
from beltspring.sim.machine.frame import frame_stiffness, two_column_stiffness
from beltspring.sim.machine.masses import Lump, together
from beltspring.sim.model.build import build_model
from beltspring.sim.model.modes import modes

from tests.full.machines import desk, rigid
from tests.support import OPEN, machine_of

#: A moving-bed machine whose gantry stands at the very top of its columns, 400 mm above their feet.
PORTAL = {
    "space.x_mm": 200, "space.z_mm": 1, "carriage.nozzle_below_guide_mm": 359.5,
    "frame.part": "slot-2020", "frame.width_mm": 400, "frame.depth_mm": 540, "frame.height_mm": 400.5,
}  # fmt: skip


def portal(changes: dict) -> tuple:
    machine = rigid("moving-bed", PORTAL | changes)
    spec = machine.design.frame
    assert spec is not None
    return replace(spec, area_m2=1.0), machine.design.frame_size, machine.gantry_height_m


@pytest.mark.parametrize(
    ("joints", "k_kn_m"),
    [
        ({"frame.joints": "rigid"}, 126.787),
        ({"frame.joint_nm_per_rad": 1000}, 20.767),  # corners and bases
        ({"frame.joint_nm_per_rad": 10_000}, 83.648),
    ],
)
def test_sway_of_a_portal_of_two_columns(joints, k_kn_m):
    spec, size, height = portal(joints)
    assert height == pytest.approx(0.4)
    sway = 1 / np.linalg.inv(two_column_stiffness(spec, size, height))[0, 0]
    assert sway == pytest.approx(k_kn_m * 1e3, rel=2e-5)


@pytest.mark.parametrize(
    ("joints", "f_hz"), [({"frame.joints": "rigid"}, 40.072), ({"frame.joint_nm_per_rad": 1000}, 16.218)]
)
def test_two_kilograms_on_a_portal(joints, f_hz):
    # sqrt(k / m) / 2 pi: joints decide. Gantry and carriage are part of the two kilograms; at detail simple the frame top
    # sways without turning, as the formula has it.
    light = {"frame.top_mass_g": 1998, "gantry.mass_g": 1, "carriage.mass_g": 1, "detail": "simple"}
    design = rigid("moving-bed", PORTAL | joints | light).design
    assert design.frame is not None
    system = build_model(from_design(replace(design, frame=replace(design.frame, area_m2=1.0))))
    sway = next(m for m in modes(system) if m.words.startswith("frame in X against its "))
    assert sway.frequency_hz == pytest.approx(f_hz, rel=2e-4)


def test_a_gantry_half_way_up_stands_stiffer_than_at_the_top():
    # Columns built in at the foot, no joints' give, beam on top: a hand solution by slope deflection with the load at half
    # height. Unknowns: sway u and turning t of the loaded points, sway w and turning c of the corners (antisymmetric).
    machine = rigid("moving-bed", PORTAL | {"frame.joints": "rigid"})
    spec, size = machine.design.frame, machine.design.frame_size
    assert spec is not None
    e, i, a, b = 69e9, 7000e-12, 0.2, 0.4

    def beam(length):
        return (
            e * i / length**3
            * np.array([[12, 6 * length, -12, 6 * length], [6 * length, 4 * length**2, -6 * length, 2 * length**2],
                        [-12, -6 * length, 12, -6 * length], [6 * length, 2 * length**2, -6 * length, 4 * length**2]])
        )  # fmt: skip

    k = np.zeros((4, 4))
    k[:2, :2] += beam(a)[2:, 2:]  # foot to load
    k += beam(a)  # load to corner
    k[3, 3] += 6 * e * i / b  # the beam in an S
    sway = 2 / np.linalg.inv(k)[0, 0]
    tall = replace(size, height_m=2 * a)
    found = 1 / np.linalg.inv(two_column_stiffness(replace(spec, area_m2=1.0), tall, a))[0, 0]
    assert found == pytest.approx(sway, rel=2e-5)


def test_two_columns_lean_forward_as_cantilevers():
    # Along Y nothing ties them but their own feet: two cantilevers, 3 E I / h^3 each while they may turn freely (Roark).
    spec, size, height = portal({"frame.joints": "rigid"})
    compliance = np.linalg.inv(two_column_stiffness(replace(spec, torsion_m4=1e-18), size, height))
    assert 1 / compliance[1, 1] == pytest.approx(2 * 3 * 69e9 * 7000e-12 / 0.4**3, rel=1e-4)
    # And they turn about the line through them as a cantilever's end does under a moment: E I / h each.
    assert 1 / compliance[3, 3] == pytest.approx(2 * 69e9 * 7000e-12 / 0.4, rel=1e-4)


@pytest.mark.parametrize(("columns", "top"), [("slot-4040", "slot-2020"), ("slot-2020", "slot-4040")])
def test_mixed_members_by_slope_deflection(columns, top):
    # Two portals side by side in X; column and beam of different sections: E of both 69 GPa, I 84e3 and 7e3 mm4.
    bars = {"frame.part": "slot-2020", "frame.columns": columns, "frame.top": top, "frame.joints": "rigid"}
    machine = machine_of(desk("corexy", OPEN | bars))
    spec, size = machine.design.frame, machine.design.frame_size
    assert spec is not None
    second = {"slot-2020": 7000e-12, "slot-4040": 84000e-12}
    h, b, ic, ib = size.height_m, size.width_m, second[columns], second[top]
    g = (ib / b) / (ic / h)
    one = 24 * 69e9 * ic / h**3 * (1 + 6 * g) / (4 + 6 * g)
    thick = replace(
        spec,
        columns=replace(spec.member("columns"), area_m2=1.0),
        top=replace(spec.member("top"), area_m2=1.0),
    )
    assert 1 / np.linalg.inv(frame_stiffness(thick, size))[0, 0] == pytest.approx(2 * one, rel=2e-4)


def test_masses_follow_the_members():
    # 2 (w + d) of the base's profile and half of four columns, kg/m by catalogue; the top likewise.
    light = machine_of(desk("corexy", OPEN | {"frame.part": "slot-2020"}))
    heavy = machine_of(desk("corexy", OPEN | {"frame.part": "slot-2020", "frame.base": "slot-4040"}))
    size = light.design.frame_size
    ring = 2 * (size.width_m + size.depth_m)
    assert light.body("base").mass_kg == pytest.approx(0.46 * (ring + 2 * size.height_m))
    assert heavy.body("base").mass_kg - light.body("base").mass_kg == pytest.approx((1.41 - 0.46) * ring)
    assert heavy.body("frame").mass_kg == light.body("frame").mass_kg
    # A heavier base takes the mass centre of the base down: ring at the bottom, columns' lower halves a quarter up.
    quarter = size.height_m / 4
    bottom = light.body("frame").centre[2]
    assert bottom > light.body("base").centre[2]
    share = 0.46 * 2 * size.height_m / light.body("base").mass_kg
    foot = light.frame_point[2] - size.height_m
    assert light.body("base").centre[2] == pytest.approx(foot + share * quarter)


def test_moments_of_a_ring_of_bars():
    # A square of four thin bars of side a and mass m each: about its middle 4/3 m a^2 upright, 2/3 m a^2 flat (parallel
    # axes: two bars at a/2, two turning about their middles).
    bars = [Lump(1.5, (0.0, y, 0.0), (0.4, 0.0, 0.0)) for y in (-0.2, 0.2)]
    bars += [Lump(1.5, (x, 0.0, 0.0), (0.0, 0.4, 0.0)) for x in (-0.2, 0.2)]
    mass, centre, moments = together(bars)
    assert mass == pytest.approx(6.0)
    assert centre == pytest.approx((0.0, 0.0, 0.0))
    assert moments == pytest.approx((2 / 3 * 1.5 * 0.16, 2 / 3 * 1.5 * 0.16, 4 / 3 * 1.5 * 0.16))


def rocking(base_g: float) -> tuple[float, float, np.ndarray]:
    """(lowest frequency in the X-Z plane, the same by hand, whole machine) of a rigid desk machine on rubber feet."""
    scenario = desk("corexy", OPEN | {"feet.damping": 0, "motors.part": "ideal"})
    design = machine_of(scenario).design
    assert design.frame is not None
    bare = replace(
        design,
        frame=replace(design.frame, base_mass_kg=base_g / 1e3, joint_nm_rad=np.inf),
        carriage=replace(design.carriage, guide=None),
        gantry=replace(design.gantry, guide=None),
        bed=replace(design.bed, guide=None),
    )
    machine = from_design(bare)
    # The frame's columns are made rigid by giving the frame top no sway of its own.
    solid = replace(machine, frame_stiffness=None)
    bodies = tuple(replace(b, sway=()) for b in solid.bodies)
    system = build_model(replace(solid, bodies=bodies))
    # By hand: all bodies as one on four feet: sway u of the mass centre and turning t about Y, feet h below it.
    mass, centre, moments = together([Lump(b.mass_kg, b.centre) for b in bodies])
    own = sum(b.inertia[1] for b in bodies)
    feet = np.array(machine.feet_points)
    spec = design.feet
    assert spec is not None
    drop = centre[2] - feet[0, 2]
    aside = feet[:, 0] - centre[0]
    side, up = 4 * spec.sideways_n_m, spec.vertical_n_m
    # u_foot = u - drop t sideways; -aside t upright, and the bob w when the mass centre is off the middle.
    k = np.array(
        [
            [side, 0.0, -side * drop],
            [0.0, 4 * up, -up * aside.sum()],
            [-side * drop, -up * aside.sum(), side * drop**2 + up * (aside**2).sum()],
        ]
    )
    m = np.diag([mass, mass, moments[1] + own])
    by_hand = np.sqrt(np.linalg.eigvals(np.linalg.solve(m, k)).real.min()) / (2 * np.pi)
    x, turn = (system.dof_names.index(f"base {n}") for n in ("x", "about y"))
    in_plane = [
        q for q in modes(system)
        if abs(q.shape[x]) * np.sqrt(mass) + abs(q.shape[turn]) * np.sqrt(m[2, 2]) > 0.5 and "on its feet" in q.words
    ]  # fmt: skip
    return in_plane[0].frequency_hz, float(by_hand), np.array([mass, *centre])


def test_rocking_of_a_light_and_a_heavy_base():
    # Rigid body on springs (any vibration text): sway, bobbing and turning in one plane. Ideal motors hold carriage and
    # gantry by belts of 15 kN, some hundred times harder than the feet: that is the half per cent.
    light, heavy = rocking(1500), rocking(15000)
    for found, by_hand, _ in (light, heavy):
        assert found == pytest.approx(by_hand, rel=5e-3)
    assert heavy[0] < light[0]
    assert heavy[2][3] < light[2][3]
