"""The bed: its mass from its parts, and a lifted one under its own weight, against handbook beams and statics.

Cantilever with an even load W over l (Roark, from memory): tip W l^3 / 8 E I, slope W l^2 / 6 E I. Densities: aluminium
2700, soda-lime glass 2500 kg/m3 (handbook values, from memory). The sags were worked for 9.81 m/s2.
"""

from __future__ import annotations

import tomllib

import pytest
from beltspring.sim.machine.build import build_machine
from beltspring.sim.model.sag import bed_sag
from beltspring.sim.scenario.load import scenario_of, with_changes

from tests.full.machines import rigid
from tests.support import BARE

G_RATIO = 9.80665 / 9.81


@pytest.mark.parametrize(
    ("side_mm", "plate_mm", "glass_mm", "mass_kg"), [(235, 6, 4, 0.89465 + 0.55225), (300, 6, 3, 1.4580 + 0.6750)]
)
def test_mass_of_plate_and_glass(side_mm, plate_mm, glass_mm, mass_kg):
    # The plate is 20 mm larger than the reach, both ways.
    tree = tomllib.loads(BARE.format(layout="box"))
    del tree["bed"]["mass_g"]
    changes = {
        "space.x_mm": side_mm - 20, "space.y_mm": side_mm - 20, "bed.plate_mm": plate_mm, "bed.glass_mm": glass_mm,
    }  # fmt: skip
    machine = build_machine(with_changes(scenario_of(tree, "bare.toml"), changes))
    assert machine.body("bed").mass_kg == pytest.approx(mass_kg, rel=1e-5)


#: A bed of 250 mm, 1.5 kg, held at its rear edge; two rails with two blocks each, hard across only: together 1 N/um a
#: pair, as if one pair of bushings of 1 N/um held it. Two arms of 20 x 20 profile (E = 69 GPa, I = 7000 mm4).
HELD = {
    "space.x_mm": 230, "space.y_mm": 230, "bed.mass_g": 1500, "bed.guide": "rail-12", "bed.blocks": 2, "bed.lines": 2,
    "bed.stiffness_n_per_mm": 500, "bed.stiffness_nm_per_rad": 0, "bed.guide_gap_mm": 0, "bed.arms": "slot-2020",
}  # fmt: skip


@pytest.mark.parametrize(("spacing_mm", "tip_um", "tilt_urad"), [(60, 255.47, 1021.9), (120, 63.87, 255.47)])
def test_guide_spacing_decides_how_far_a_bed_hangs(spacing_mm, tip_um, tilt_urad):
    # Moment W l / 2 on a pair s apart, k each: angle 2 M / (k s^2) (statics); over 250 mm.
    found = bed_sag(rigid("box", HELD | {"bed.spacing_mm": spacing_mm, "bed.arms": "rigid"}))
    assert found is not None
    assert 1e6 * found.tip_m == pytest.approx(tip_um * G_RATIO, rel=1e-4)
    assert 1e6 * found.tilt_rad == pytest.approx(tilt_urad * G_RATIO, rel=1e-4)


def test_arms_bend():
    found = bed_sag(rigid("box", HELD | {"bed.spacing_mm": 60}))
    assert found is not None
    # 29.752 um by the formula above; its slope 158.68 urad adds to the guide's tilt.
    assert 1e6 * found.arms_m == pytest.approx(29.752 * G_RATIO, rel=1e-4)
    assert 1e6 * found.guide_m == pytest.approx(255.47 * G_RATIO, rel=1e-4)
    assert 1e6 * found.tip_m == pytest.approx((29.752 + 255.47) * G_RATIO, rel=1e-4)
    assert 1e6 * found.tilt_rad == pytest.approx((158.68 + 1021.9) * G_RATIO, rel=1e-4)


def test_two_sides_hold_it_between_them():
    # Two carriers that hold their arms' ends fast: beams built in at both ends under an even load, W l^3 / 384 E I
    # (Roark, from memory), each of the two arms carrying half: 1.5 kg, 250 mm.
    hard = {"bed.stiffness_n_per_mm": 10_000_000, "bed.stiffness_nm_per_rad": 10_000_000, "bed.z_drives": 2}
    found = bed_sag(rigid("box", HELD | hard | {"bed.spacing_mm": 60}))
    assert found is not None
    w, ei = 1.5 * 9.80665, 2 * 69e9 * 7000e-12
    # The guide's own hardness leaves 4e-4 of it: a couple of 0.153 N m on 76 MN m/rad at either end.
    assert found.tip_m == pytest.approx(w * 0.25**3 / (384 * ei), rel=5e-4)
    assert found.arms_m == pytest.approx(w * 0.25**3 / (384 * ei), rel=1e-4)
    assert found.sides == 2
    # Carriers that turn freely on their one bearing's height leave the arms simply supported: 5 W l^3 / 384 E I.
    loose = {"bed.stiffness_n_per_mm": 1, "bed.stiffness_nm_per_rad": 0, "bed.z_drives": 2, "bed.spacing_mm": 5}
    found = bed_sag(rigid("box", HELD | loose))
    assert found is not None
    assert found.tip_m == pytest.approx(5 * w * 0.25**3 / (384 * ei), rel=1e-3)


def test_the_drive_gives_way_by_its_own_stiffness():
    # W / k, and half of it with a drive at either side (statics).
    for drives in (1, 2):
        changes = {"bed.z_drives": drives, "bed.z_stiffness_n_per_mm": 2000, "bed.spacing_mm": 60}
        found = bed_sag(rigid("box", HELD | changes))
        assert found is not None
        assert found.drop_m == pytest.approx(1.5 * 9.80665 / (2e6 * drives), rel=1e-6)


def test_a_second_drive_is_worth_more_than_thicker_arms():
    spaced = HELD | {"bed.spacing_mm": 60}
    one, thick, two = (
        bed_sag(rigid("box", spaced | more)) for more in ({}, {"bed.arms": "slot-4040"}, {"bed.z_drives": 2})
    )
    assert one is not None
    assert thick is not None
    assert two is not None
    assert two.tip_m < 0.05 * thick.tip_m < 0.05 * one.tip_m


def test_a_bed_that_is_not_lifted_does_not_hang():
    assert bed_sag(rigid("moving-bed")) is None
