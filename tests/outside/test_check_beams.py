"""Rods and beds against Roark's table of beams and an independent integration of the beam equation."""

import math

import numpy as np
import pytest
from beltspring.sim.check.beams import (
    STEEL_KG_M3,
    STEEL_PA,
    carried_frequency,
    middle_sag,
    round_inertia,
    spread_sag,
    string_frequency,
)
from beltspring.sim.check.guides import rod_sag
from scipy.integrate import solve_bvp

G = 9.81  # of the table below
#: Roark's Formulas for Stress and Strain, table of beams (from memory), worked for steel rods of 400 mm, E = 206 GPa, with
#: 0.4 kg in the middle of one: um supported, um from its own weight, um built in, and N/m.
ROARK = {
    8: (126.32, 31.15, 31.580, 31.064e3),
    10: (51.740, 19.94, 12.935, 75.840e3),
    12: (24.952, 13.85, 6.238, 157.262e3),
}


@pytest.mark.parametrize("diameter_mm", ROARK)
def test_sag_of_one_rod(diameter_mm):
    load, own, fixed, stiffness = ROARK[diameter_mm]
    ei = STEEL_PA * round_inertia(diameter_mm * 1e-3)
    weight = math.pi / 4 * (diameter_mm * 1e-3) ** 2 * STEEL_KG_M3 * 0.4 * G
    assert middle_sag(0.4 * G, 0.4, ei) * 1e6 == pytest.approx(load, rel=1e-3)
    assert spread_sag(weight, 0.4, ei) * 1e6 == pytest.approx(own, rel=1e-3)
    assert middle_sag(0.4 * G, 0.4, ei, "built-in") * 1e6 == pytest.approx(fixed, rel=1e-3)
    assert 1 / middle_sag(1.0, 0.4, ei) == pytest.approx(stiffness, rel=1e-3)


@pytest.mark.parametrize(("diameter_mm", "bare_hz", "hz"), [(8, 62.724, 53.330), (10, 98.006, 77.507)])
def test_bounce_of_a_carriage_on_two_rods(diameter_mm, bare_hz, hz):
    """0.4 kg in the middle of two supported rods of 400 mm, without and with 17/35 of their mass (Blevins, from memory)."""
    ei = 2 * STEEL_PA * round_inertia(diameter_mm * 1e-3)
    rods = 2 * math.pi / 4 * (diameter_mm * 1e-3) ** 2 * STEEL_KG_M3 * 0.4
    assert carried_frequency(0.4, 0.0, 0.4, ei) == pytest.approx(bare_hz, rel=1e-3)
    assert carried_frequency(0.4, rods, 0.4, ei) == pytest.approx(hz, rel=1e-3)


@pytest.mark.parametrize("ends", ["supported", "clamped", "built-in"])
def test_spread_load_against_the_beam_equation_integrated(ends):
    """EI w'''' = q solved by SciPy's collocation, which knows nothing of the table; clamped: end springs EI w'' = 4EI/L w'."""
    ei, length, weight = 41.4, 0.4, 2.0
    q = weight / length

    def slopes(x, y):
        return np.vstack([y[1], y[2], y[3], np.full_like(x, q / ei)])

    def held(a, b):
        spring = {"supported": 0.0, "clamped": 4 / length, "built-in": 1e9}[ends]
        return np.array([a[0], b[0], a[2] / (1 + spring) - spring / (1 + spring) * a[1],
                         b[2] / (1 + spring) + spring / (1 + spring) * b[1]])  # fmt: skip

    x = np.linspace(0, length, 41)
    solved = solve_bvp(slopes, held, x, np.zeros((4, x.size)), tol=1e-10)
    assert solved.success
    assert spread_sag(weight, length, ei, ends) == pytest.approx(float(solved.sol(length / 2)[0]), rel=1e-6)


def test_a_machine_on_rods_sags_as_the_table_says():
    """The desk machine's carriage, made 3 kg: its rods between the gantry's ends, clamped.

    Slope deflection with end springs of 4EI/L: half of Roark's supported sag under the load in the middle, and
    W l^3 / EI (5/384 - 1/144) = 7/1152 under the rods' own weight.
    """
    from beltspring.sim.check.check import RULES
    from beltspring.sim.check.subject import Subject
    from beltspring.sim.scenario.load import load_scenario

    subject = Subject(load_scenario("desk-corexy", ["carriage.mass_g=3000"]))
    rule = next(r for r in RULES if r.name == "rod-sag")
    found = next(f for f in rule.judge(subject) if "carriage" in f.where)
    span = subject.machine.body("carriage").place.span_m
    ei = 206e9 * math.pi * 0.008**4 / 64
    weighs = 9.80665  # m/s2, ISO 80000-3
    own = math.pi / 4 * 0.008**2 * 7850 * span * weighs
    by_hand = 3.0 / 2 * weighs * span**3 / (96 * ei) + 7 * own * span**3 / (1152 * ei)
    assert found.value == pytest.approx(by_hand * 1e6, rel=1e-6)
    assert rod_sag(3.0, 0.008, span, 2)[0] == pytest.approx(by_hand, rel=1e-9)


# T = 4 m W S^2 f^2 (Gates manual 507C, published) is the string's own frequency: 150 mm of a 6 mm belt of 7.2 g/m.
@pytest.mark.parametrize(("tension_n", "hz"), [(20, 175.682), (15.8, 156.150), (40, 248.452), (7.8408, 110.0)])
def test_note_of_a_span(tension_n, hz):
    assert string_frequency(0.150, tension_n, 7.2e-3) == pytest.approx(hz, rel=1e-4)


def test_note_of_a_large_vehicle_belt_as_measured():
    """An owner's measurement: 1028 mm of a 28 mm belt of 8.4 g/m per mm hums at 27.4 Hz; the maker's mechanical gauge read
    175 to 180 lbf (778 to 801 N). The string formula reads 4 to 7 % low there, so 8 % is allowed."""
    mass = 8.4e-3 * 28
    assert string_frequency(1.028, 746.42, mass) == pytest.approx(27.4, rel=1e-4)
    for gauge_n in (778, 801):
        assert string_frequency(1.028, gauge_n, mass) ** 2 == pytest.approx(27.4**2, rel=0.08)


# Plate area times density: aluminium 2700, glass 2500 kg/m3 (handbook values, from memory).
@pytest.mark.parametrize(
    ("bed", "kg"),
    [
        ({"x": 215, "plate": "aluminium", "mm": 6}, 0.89465),
        ({"x": 280, "plate": "aluminium", "mm": 6}, 1.4580),
        ({"x": 215, "plate": "glass", "mm": 4}, 0.55225),
        ({"x": 280, "plate": "glass", "mm": 3}, 0.6750),
    ],
)
def test_mass_of_a_bed_plate_on_the_order_list(bed, kg):
    """A reach of x gives a plate 20 mm wider: 235 and 300 mm square."""
    from beltspring.sim.machine.build import build_machine
    from beltspring.sim.order.shopping import items
    from beltspring.sim.scenario.load import load_scenario

    sets = [f"space.x_mm={bed['x']}", f"space.y_mm={bed['x']}", f"bed.plate={bed['plate']}", f"bed.plate_mm={bed['mm']}",
            "frame.width_mm=520", "frame.depth_mm=520"]  # fmt: skip
    found = items(build_machine(load_scenario("desk-corexy", sets)))
    plate = next(item for item in found if item.name.startswith("plate-"))
    assert plate.mass_kg == pytest.approx(kg, rel=1e-4)


@pytest.mark.parametrize(("spacing_mm", "guide_um"), [(60, 255.47), (120, 63.87)])
def test_sag_of_a_bed_held_at_one_edge(spacing_mm, guide_um):
    """1.5 kg spread over 250 mm on two 20 x 20 arms (E 69 GPa, I 7000 mm4), one pair of bushings of 1 N/um on each rod.

    Roark's cantilever, W l^3 / 8 EI = 29.752 um, and the guide's tilt 2 M / (k s^2) over the reach, halved for two rods.
    The rods are made so thick that they do not bend, the lifting screws so stiff that they do not give.
    """
    from beltspring.sim.check.check import RULES
    from beltspring.sim.check.subject import Subject
    from beltspring.sim.scenario.load import load_scenario

    sets = [
        "space.x_mm=230", "space.y_mm=230", "frame.width_mm=460", "frame.depth_mm=460", "bed.mass_g=1500",
        "bed.arms=slot-2020", "bed.guide_gap_mm=0", f"bed.spacing_mm={spacing_mm}", "bed.stiffness_n_per_mm=1000",
        "bed.guide=wheels", "bed.stiffness_n_per_mm=1000", "bed.z_stiffness_n_per_mm=10000000",
    ]  # fmt: skip
    subject = Subject(load_scenario("desk-corexy", sets))
    rule = next(r for r in RULES if r.name == "bed-sag")
    found = rule.judge(subject)
    # Wheels: four to a profile and two profiles hold a tilt as four pairs would; the published case has one pair.
    tilt = guide_um / 4
    weight = 1.5 * 9.80665
    arms = weight * 0.250**3 / (8 * 2 * 69e9 * 7e-9) * 1e6
    assert arms == pytest.approx(29.752, rel=1e-3)
    expected = arms + tilt * 9.80665 / 9.81
    if expected > 50:
        assert found[0].value == pytest.approx(expected, rel=2e-3)
    else:
        from beltspring.sim.model.sag import bed_sag

        assert found == []
        assert bed_sag(subject.machine).tip_m * 1e6 == pytest.approx(expected, rel=2e-3)
