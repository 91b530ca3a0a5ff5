"""Guides of the full model against tables of beams and statics by hand.

Deflections of beams: Roark's Formulas for Stress and Strain, table of beams (from memory): a load in the middle bends a
simply supported beam by F l^3 / 48 E I, one that is built in by F l^3 / 192 E I. Effective mass of a beam under a load in
its middle: 17/35 (Blevins, Formulas for Natural Frequency and Mode Shape, from memory). Steel E = 206 GPa, rho = 7850.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.errors import MachineError
from beltspring.sim.machine.build import machine_of as from_design
from beltspring.sim.machine.machine import Machine
from beltspring.sim.model.build import build_model
from beltspring.sim.model.guides import guide_stiffness
from beltspring.sim.model.modes import modes
from beltspring.sim.model.statics import equilibrium

from tests.full.machines import rigid, rigid_model

SPAN_M = 0.400
#: Two rods of 400 mm under a carriage in the middle of a moving-bed machine; bushings close together and very hard.
RODS = {
    "space.x_mm": 400 - 2 * (25 + 32.5),  # the beam reaches 32.5 mm beyond the carriage's clamps at either end
    "carriage.mass_g": 800,
    "carriage.friction_n": 0,
    "carriage.stiffness_n_per_mm": 10_000_000,
    "carriage.spacing_mm": 5,
    "carriage.mass_centre_above_guide_mm": 0,
    "carriage.belt_above_guide_mm": 0,
    "carriage.nozzle_below_guide_mm": 0,
    "gantry.mass_g": 5000,
}
G_RATIO = 9.80665 / 9.81  # the table below is for 9.81 m/s2


def on_rods(diameter_mm: int, ends: str) -> Machine:
    return rigid("moving-bed", RODS | {"carriage.guide": f"rod-{diameter_mm}-pair", "carriage.ends": ends})


@pytest.mark.parametrize(
    ("diameter_mm", "ends", "sag_um"),
    [
        (8, "supported", 126.32),
        (10, "supported", 51.740),
        (12, "supported", 24.952),
        (8, "built-in", 31.580),
        (10, "built-in", 12.935),
        (12, "built-in", 6.238),
        # End springs of 4EI/L: a load in the middle then finds twice the stiffness on supports (slope deflection).
        (8, "clamped", 126.32 / 2),
    ],
)
def test_carriage_sags_in_the_middle_of_its_rods(diameter_mm, ends, sag_um):
    # 0.4 kg on each rod. The bushings stand 5 mm apart, which takes 1.5 (5/400)^2 = 0.02 % off the load in one point.
    machine = on_rods(diameter_mm, ends)
    place = machine.body("carriage").place
    assert place is not None
    assert place.span_m == pytest.approx(SPAN_M)
    system = build_model(machine)
    q = equilibrium(system, machine.middle)
    assert -1e6 * q[system.dof_names.index("carriage z")] == pytest.approx(sag_um * G_RATIO, rel=1e-3)


@pytest.mark.parametrize(("diameter_mm", "k_kn_m"), [(8, 31.064), (10, 75.840), (12, 157.262)])
def test_stiffness_of_a_supported_rod(diameter_mm, k_kn_m):
    # 48 E I / l^3 of one rod; two carry the carriage.
    body = on_rods(diameter_mm, "supported").body("carriage")
    assert body.guide is not None
    assert body.place is not None
    k = guide_stiffness("carriage", body.guide, body.place, 0).at_rest()
    assert k[2, 2] / 2 == pytest.approx(k_kn_m * 1e3, rel=1e-3)


@pytest.mark.parametrize(("diameter_mm", "bare_hz", "with_rods_hz"), [(8, 62.724, 53.330), (10, 98.006, 77.507)])
def test_bounce_of_a_carriage_on_two_rods(diameter_mm, bare_hz, with_rods_hz):
    # sqrt(2 k / m) / 2 pi with m = 0.4 kg, and with 17/35 of both rods' mass on top (8 mm: 0.3946 kg/m; 10: 0.6165).
    for share, expected in ((0.0, bare_hz), (1.0, with_rods_hz)):
        design = rigid(
            "moving-bed",
            RODS | {"carriage.mass_g": 400, "carriage.guide": f"rod-{diameter_mm}-pair", "carriage.ends": "supported"},
        ).design
        guide = design.carriage.guide
        assert guide is not None
        light = replace(guide, line_mass_kg_m=share * guide.line_mass_kg_m)
        system = build_model(from_design(replace(design, carriage=replace(design.carriage, guide=light))))
        z = system.dof_names.index("carriage z")
        bounce = max(modes(system), key=lambda m: m.shape[z] ** 2 * system.mass[z, z])
        assert bounce.frequency_hz == pytest.approx(expected, rel=1e-3)
        assert bounce.words == "carriage bobs on its rods"


def test_rods_are_softer_in_the_middle_than_near_their_ends():
    # F a^2 b^2 / 3 E I l at a distance a from one end (Roark): 100 mm off the middle of 400 mm, (1/4 3/4 4)^2 = 9/16 of it.
    body = on_rods(8, "supported").body("carriage")
    assert body.guide is not None
    assert body.place is not None
    shaft = guide_stiffness("carriage", body.guide, body.place, 0).shaft
    assert shaft is not None
    middle, _ = shaft.influence(0.0)
    off, _ = shaft.influence(0.1)
    assert off.mean() / middle.mean() == pytest.approx(9 / 16, rel=1e-3)


@pytest.mark.parametrize("ends", ["supported", "clamped", "built-in"])
def test_influence_of_two_bushings_by_integrating_the_beam(ends):
    # E I w'' = M (Euler-Bernoulli) by finite elements of the two-node beam, an independent matrix, clamps taken as in the
    # table: built in = no slope at the ends, clamped = a spring of 4EI/L there.
    body = on_rods(8, ends).body("carriage")
    assert body.guide is not None
    assert body.place is not None
    place = replace(body.place, spacing_m=0.060)
    shaft = guide_stiffness("carriage", body.guide, place, 0).shaft
    assert shaft is not None
    ei = 206e9 * np.pi * 0.008**4 / 64
    s = 0.055
    spots = [0.2 + s - 0.03, 0.2 + s + 0.03]
    marks = np.array([0.0, *spots, SPAN_M])
    k = np.zeros((8, 8))
    for i, length in enumerate(np.diff(marks)):
        block = np.array(
            [
                [12, 6 * length, -12, 6 * length],
                [6 * length, 4 * length**2, -6 * length, 2 * length**2],
                [-12, -6 * length, 12, -6 * length],
                [6 * length, 2 * length**2, -6 * length, 4 * length**2],
            ]
        )
        k[2 * i : 2 * i + 4, 2 * i : 2 * i + 4] += ei / length**3 * block
    if ends == "clamped":
        k[1, 1] += 4 * ei / SPAN_M
        k[7, 7] += 4 * ei / SPAN_M
    free = [2, 3, 4, 5] if ends == "built-in" else [1, 2, 3, 4, 5, 7]
    flexibility = np.linalg.inv(k[np.ix_(free, free)])
    at = [free.index(2), free.index(4)]
    found, slope = shaft.influence(s)
    assert found == pytest.approx(flexibility[np.ix_(at, at)], rel=1e-9)
    # The slope against a central difference of the influence itself.
    step = 1e-5
    assert slope == pytest.approx((shaft.influence(s + step)[0] - shaft.influence(s - step)[0]) / (2 * step), rel=1e-6)


def test_two_rails_resist_rolling_by_their_distance():
    # Springs k at +-b/2 across: turning about the slide takes 2 k (b/2)^2; two blocks s apart on each rail, 4 k (s/2)^2
    # about the other axes (statics), beside the blocks' own tilting stiffness.
    changes = {
        "bed.guide": "rail-12", "bed.blocks": 2, "bed.spacing_mm": 80, "bed.apart_mm": 150,
        "bed.stiffness_n_per_mm": 20_000, "bed.stiffness_nm_per_rad": 1500,
    }  # fmt: skip
    body = rigid("moving-bed", changes).body("bed")
    assert body.guide is not None
    assert body.place is not None
    k = guide_stiffness("bed", body.guide, body.place, 1).at_rest()
    assert k[4, 4] == pytest.approx(4 * 20e6 * 0.075**2 + 4 * 1500)
    assert k[3, 3] == pytest.approx(4 * 20e6 * 0.040**2 + 4 * 1500)
    assert k[5, 5] == pytest.approx(4 * 20e6 * 0.040**2 + 4 * 1500)
    assert k[0, 0] == pytest.approx(4 * 20e6)


@pytest.mark.parametrize(
    ("layout", "table", "changes", "about", "levers_mm"),
    [
        # A carriage in X: wheels above and below a 20 mm profile, 10 mm from its middle, hold it from rolling about X.
        ("moving-bed", "carriage", {}, 3, [10] * 4),
        # A bed on one profile of 20 mm, or of 60 mm lying flat: wheels left and right; on two profiles 210 mm apart.
        ("moving-bed", "bed", {"bed.lines": 1}, 4, [10] * 4),
        ("moving-bed", "bed", {"bed.lines": 1, "bed.apart_mm": 60}, 4, [30] * 4),
        ("moving-bed", "bed", {"bed.lines": 2, "bed.apart_mm": 210}, 4, [115] * 4 + [95] * 4),
    ],
)
def test_wheels_hold_a_body_from_rolling_by_their_levers(layout, table, changes, about, levers_mm):
    # sum of k r^2 over the wheels, 1 N/um each; their V holds them both ways (statics).
    given = {f"{table}.guide": "wheels", f"{table}.stiffness_n_per_mm": 1000} | changes
    body = rigid(layout, given).body(table)
    assert body.guide is not None
    assert body.place is not None
    assert body.slide is not None
    k = guide_stiffness(table, body.guide, body.place, body.slide).at_rest()
    assert k[about, about] == pytest.approx(1e6 * sum((r / 1e3) ** 2 for r in levers_mm))


def test_pitch_goes_with_the_distance_of_belt_plane_and_mass_centre():
    # Accelerating in X: the inertia m a acts at the mass centre, the belts pull at their plane, the guide holds the
    # couple m a (h_mass - h_belt) (statics of the free carriage); one block of 2000 N m/rad.
    def pitch(belt_mm: float, mass_mm: float) -> float:
        changes = {
            "carriage.guide": "rail-12", "carriage.lines": 1, "carriage.stiffness_nm_per_rad": 2000,
            "carriage.friction_n": 0, "carriage.belt_above_guide_mm": belt_mm,
            "carriage.mass_centre_above_guide_mm": mass_mm, "gantry.mass_g": 1500,
        }  # fmt: skip
        system = rigid_model("moving-bed", changes)
        pull = -8.0 * system.mass @ (system.travel @ np.array([1.0, 0.0, 0.0]))
        moved = np.linalg.solve(system.linear_stiffness(np.zeros(system.n)), pull)
        return float(moved[system.dof_names.index("carriage about y")])

    assert pitch(12, 12) == pytest.approx(0.0, abs=1e-15)
    # m a = 0.5 kg 8 m/s2 = 4 N, pulling back at the mass centre; positive about Y takes Z towards X.
    assert pitch(25, 5) == pytest.approx(4.0 * 0.020 / 2000, rel=1e-9)
    assert pitch(0, 5) == pytest.approx(-4.0 * 0.005 / 2000, rel=1e-9)


def test_a_single_round_rod_is_refused():
    design = rigid("moving-bed", RODS | {"carriage.guide": "rod-8-pair"}).design
    guide = design.carriage.guide
    assert guide is not None
    one = replace(design, carriage=replace(design.carriage, guide=replace(guide, lines=1)))
    with pytest.raises(MachineError, match="leaves rotation about it free"):
        build_model(from_design(one))


def test_a_bearing_that_bears_no_moment_is_refused_alone():
    # One block without tilting stiffness on one rail: it may turn about all three axes.
    changes = {"carriage.guide": "rail-12", "carriage.lines": 1, "carriage.stiffness_nm_per_rad": 0}
    with pytest.raises(MachineError, match="free"):
        rigid_model("moving-bed", changes)
