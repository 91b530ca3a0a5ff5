"""Places and slopes of a tool on three arms. Values: the arms' triangles in 50 digits, and sympy; forward checked by scipy.

h = z + sqrt(l^2 - (x-X)^2 - (y-Y)^2) (Williams, The Delta Parallel Robot: Kinematics Solutions, Ohio University, 2016,
contents seen, the equations derived); prismatic drives: Mehrafrooz, Mohammadi, Tale Masouleh, ICRoM 2017, first page seen.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import fsolve

from tests.arms import ARM_M, MIDDLE, RIM_M, ROUND, SPAN_M, heights, stated

# x, y, z, h_a, h_b, h_c in mm
TABLE = """
0 0 0 219.3171219946 219.3171219946 219.3171219946
0 0 200 419.3171219946 419.3171219946 419.3171219946
100 0 0 195.1922129594 131.5879565506 242.6615125866
-100 0 50 245.1922129594 292.6615125866 181.5879565506
0 100 0 249.1987158875 161.5549442140 161.5549442140
0 -100 0 118.7434208704 223.8302928560 223.8302928560
50 20 0 223.6067977500 180.0213741604 230.6345699270
60 -80 100 237.4772708487 287.6945235895 345.2973008708
-60 80 150 389.3741840717 352.4123657648 276.6066119344
-86.60254037844386 -50 0 161.5549442140 249.1987158875 161.5549442140
30 -40 10 199.7366596101 220.1537939052 247.9818961754
-70 10 180 393.3072900770 417.5904602116 345.3806917884
"""
ROWS = [tuple(float(v) for v in line.split()) for line in TABLE.split("\n") if line]
H = float(np.sqrt(ARM_M**2 - SPAN_M**2))  # of a carriage above the tool in the middle


@pytest.mark.parametrize("row", ROWS)
def test_inverse_and_forward(row):
    tool, known = np.array(row[:3]) / 1e3, np.array(row[3:]) / 1e3
    travel = stated().tool_travel
    slid = travel.slid(tool)
    assert slid + H + MIDDLE[2] == pytest.approx(known, abs=1e-13)
    assert travel.tool(slid) == pytest.approx(tool, abs=1e-15)
    spheres = fsolve(
        lambda p: [np.sum((p - [*(SPAN_M * e), h]) ** 2) / ARM_M**2 - 1 for e, h in zip(ROUND, known, strict=True)],
        tool + 1e-3,
        xtol=1e-14,
    )
    assert travel.tool(slid) == pytest.approx(spheres, abs=1e-12)


def test_forward_alone():
    travel = stated().tool_travel
    up = travel.tool(np.array([0.010, 0.0, 0.0])) - MIDDLE
    assert up * 1e3 == pytest.approx([0.0, 12.255021, 3.726742], abs=1e-6)
    aside = travel.tool(np.array([0.0, -0.005, 0.005])) - MIDDLE
    assert aside * 1e3 == pytest.approx([10.537882, -0.069444, 0.291367], abs=1e-6)


@pytest.mark.parametrize(
    ("place", "rows", "elevations"),
    [
        ((0, 0), [(0, 0.547152903), (-0.473848314, -0.273576452), (0.473848314, -0.273576452)], (61.3146,) * 3),
        (
            (100, 0),
            [(-0.512315520, 0.614778623), (-1.549709060, -0.455968780), (0.016166752, -0.247257999)],
            (51.331, 31.759, 76.083),
        ),
        (
            (0, 100),
            [(0, 0.080257235), (-0.643267521, -0.990375137), (0.643267521, -0.990375137)],
            (85.411, 40.257, 40.257),
        ),
        (
            (0, -100),
            [(0, 1.852734226), (-0.464293940, 0.178706821), (0.464293940, 0.178706821)],
            (28.358, 63.550, 63.550),
        ),
    ],
)
def test_slopes(place, rows, elevations):
    tool = np.array([*place, 70.0]) / 1e3
    found = stated().tool_travel.slide_slopes(tool)
    assert found[:, :2] == pytest.approx(np.array(rows), abs=1e-9)
    assert found[:, 2] == pytest.approx([1, 1, 1], abs=1e-14)
    assert np.degrees(np.arcsin((heights(tool) - tool[2]) / ARM_M)) == pytest.approx(elevations, abs=1e-3)


def test_one_carriage_alone_moves_the_tool_two_thirds_of_one_over_rho():
    rho = SPAN_M / H
    column = np.linalg.inv(stated().tool_travel.slide_slopes(MIDDLE))[:, 0]
    assert column == pytest.approx([0, 2 / (3 * rho), 1 / 3], abs=1e-14)
    assert column == pytest.approx([0, 1.218428, 0.333333], abs=1e-6)


@pytest.mark.parametrize(("s_mm", "known_um"), [(1, -0.6553), (2, -2.6211), (5, -16.3826), (10, -65.5413)])
def test_a_chord_instead_of_the_curve_would_err_by_so_much(s_mm, known_um):
    # Carriages in straight lines between the ends of a piece along X; by hand -s^2 (1 + rho^2/2) / (8 H) in Z.
    travel, half = stated().tool_travel, np.array([s_mm / 2e3, 0.0, 0.0])
    chord = (travel.slid(MIDDLE - half) + travel.slid(MIDDLE + half)) / 2
    off = travel.tool(chord) - MIDDLE
    assert off[2] * 1e6 == pytest.approx(known_um, abs=1e-4)
    by_hand = -((s_mm / 1e3) ** 2) * (1 + (SPAN_M / H) ** 2 / 2) / (8 * H)
    assert off[2] == pytest.approx(by_hand, rel=3e-4)


@pytest.mark.parametrize(
    ("s_mm", "size_um", "level_um"), [(1, 2.41, 2.40), (2, 9.48, 9.46), (5, 56.6, 56.4), (10, 211, 210)]
)
def test_the_worst_chord_in_the_reach(s_mm, size_um, level_um):
    # Every direction at places all round, each as far out as lets both ends of the piece stay in the reach.
    travel, worst, level = stated().tool_travel, 0.0, 0.0
    for place in np.radians(np.arange(0, 360, 15)):
        for turn in np.radians(np.arange(0, 180, 5)):
            way, half = np.array([np.cos(turn), np.sin(turn), 0.0]), s_mm / 2e3
            across = abs(np.cos(turn - place))
            out = np.sqrt(RIM_M**2 - half**2 * (1 - across**2)) - half * across
            tool = np.array([out * np.cos(place), out * np.sin(place), 0.1])
            off = travel.tool((travel.slid(tool - half * way) + travel.slid(tool + half * way)) / 2) - tool
            worst, level = max(worst, float(np.linalg.norm(off))), max(level, float(np.hypot(*off[:2])))
    assert (worst * 1e6, level * 1e6) == pytest.approx((size_um, level_um), rel=3e-3)


@pytest.mark.parametrize(
    ("s_mm", "known_um"),
    [(1, (0.3788, -0.2892, -0.5727)), (5, (9.4724, -7.2308, -14.3168)), (10, (37.9166, -28.9486, -57.2713))],
)
def test_a_chord_off_the_middle(s_mm, known_um):
    travel, place = stated().tool_travel, np.array([0.060, -0.080, 0.100])
    half = s_mm / 2e3 * np.array([0.8, 0.6, 0.0])
    off = travel.tool((travel.slid(place - half) + travel.slid(place + half)) / 2) - place
    assert off * 1e6 == pytest.approx(known_um, abs=1e-4)
