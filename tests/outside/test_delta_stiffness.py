"""Stiffness, sag and natural frequencies of the stated machine on arms.

K = J' k J: Gosselin, Stiffness Mapping for Parallel Manipulators, IEEE Trans. Robotics and Automation, 1990 (from memory);
the table's values from sympy's Hessian, condensed, and from nonlinear statics by scipy.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.model.modes import modes
from beltspring.sim.model.statics import equilibrium
from scipy.linalg import eigh

from tests.arms import BELT_N_M, CARRIAGE_KG, EFFECTOR_KG, PAIR_KG, PAIR_N_M, SPAN_M, heights, slopes, stated

PLACES = {"middle": (0, 0), "right": (100, 0), "rear": (0, 100), "front": (0, -100)}


def at(name):
    return np.array([*PLACES[name], 100.0]) / 1e3


def locked(system, tool):
    """Stiffness (3, 3) at the tool with rotors locked, everything else left to give, N/m."""
    k = system.linear_stiffness(system.rest(tool), motors=False)
    inner = k[3:6, 3:6]
    return k[6:, 6:] - k[6:, 3:6] @ np.linalg.solve(inner, k[3:6, 6:])


@pytest.mark.parametrize(
    ("name", "direct", "cross", "compliance"),
    [
        ("middle", (26.42875, 26.42875, 176.55876), (0, 0, 0), (26.42875, 26.42875, 176.55876)),
        ("right", (152.08015, 37.57701, 174.53709), (21.53966, -117.25272, -4.55508), (64.19392, 32.79994, 79.92922)),
        ("rear", (47.93343, 114.00070, 174.94679), (0, 0, -109.98036), (47.93343, 44.86151, 68.84499)),
        ("front", (25.39309, 196.87915, 174.05509), (0, 0, 125.28453), (25.39309, 106.69958, 94.32997)),
    ],
)
def test_static_stiffness(name, direct, cross, compliance):
    tool = at(name)
    k = locked(stated(), tool) / 1e3
    assert np.diag(k) == pytest.approx(direct, abs=1e-5)
    assert (k[0, 1], k[0, 2], k[1, 2]) == pytest.approx(cross, abs=1e-5)
    assert 1 / np.diag(np.linalg.inv(k)) == pytest.approx(compliance, abs=1e-5)
    j, sine = slopes(tool), (heights(tool) - tool[2]) / 0.250
    closed = j.T @ np.diag(1 / (1 / BELT_N_M + 1 / (PAIR_N_M * sine**2))) @ j
    assert k * 1e3 == pytest.approx(closed, rel=1e-9, abs=1e-3)


@pytest.mark.parametrize(("pair_n_m", "share"), [(1e6, 0.92768), (4e6, 0.98088), (1e7, 0.99226)])
def test_rigid_arms_are_the_limit(pair_n_m, share):
    rho = SPAN_M / np.sqrt(0.250**2 - SPAN_M**2)
    assert 1.5 * rho**2 * BELT_N_M == pytest.approx(26943.87, abs=1e-2)
    found = locked(stated(pair_n_m=pair_n_m), at("middle"))[0, 0]
    assert found / (1.5 * rho**2 * BELT_N_M) == pytest.approx(share, abs=1e-5)


@pytest.mark.parametrize(
    ("name", "known_um"),
    [
        ("middle", (0, 0, -21.66)),
        ("front", (0, 25.81, -40.54)),
        ("rear", (0, -53.58, -55.53)),
        ("right", (-39.25, 16.68, -47.84)),
    ],
)
def test_sag_under_the_platform_and_whole_arms(name, known_um):
    # 3.8246 N on the platform, rotors all but locked.
    system = stated()
    load = np.zeros(9)
    load[8] = -9.80665 * (EFFECTOR_KG + 3 * PAIR_KG)
    assert load[8] == pytest.approx(-3.8246, abs=1e-4)
    motors = tuple(replace(m, limit_nm=m.limit_nm * 1e6) for m in system.motors)
    system = replace(system, gravity=load, motors=motors)
    off = system.tool_at(equilibrium(system, at(name))) - at(name)
    assert off * 1e6 == pytest.approx(known_um, abs=6e-3)


FREQUENCIES = {
    "middle": (
        "41.6275 41.6275 77.8087 846.1031 846.1031 1171.0146",
        "39.3037 39.3037 73.2658 337.082 337.082 338.040 846.2237 846.2237 1171.0383",
    ),
    "right": (
        "42.1393 55.4928 86.4254 649.7822 843.7682 1131.4361",
        "39.7846 52.3694 81.3245 337.0758 337.2036 338.2643 650.0167 843.8798 1131.4645",
    ),
    "rear": (
        "44.0207 53.0702 84.8174 663.6717 825.2408 1137.1908",
        "41.5548 50.0986 79.8195 337.0616 337.1562 338.2311 663.9251 825.3463 1137.2198",
    ),
    "front": (
        "40.9192 57.1818 88.1197 637.9420 860.7493 1125.1956",
        "38.6352 53.9519 82.9086 337.083 337.2569 338.3028 638.1594 860.8638 1125.2234",
    ),
}


#: With arms that do not give and rotors locked.
RIGID = {
    "middle": "41.9201 41.9201 77.9697",
    "right": "42.4217 55.9683 86.6564",
    "rear": "44.2882 53.6131 85.0111",
    "front": "41.1987 57.6094 88.3810",
}


@pytest.mark.parametrize("name", PLACES)
def test_natural_frequencies_on_rigid_arms(name):
    # What moves with the tool when no arm changes its length: three coordinates, mass matrix and stiffness of the place.
    tool, system = at(name), stated()
    travel = system.travel_at(tool)
    travel[:3] = 0.0
    for arm in system.arms:
        assert np.abs(arm.at(system.rest(tool))[0] @ arm.row @ travel).max() < 1e-14
    k, m = (travel.T @ a @ travel for a in (system.linear_stiffness(system.rest(tool), motors=False), system.mass))
    found = np.sqrt(eigh(k, m, eigvals_only=True)) / (2 * np.pi)
    assert found == pytest.approx([float(v) for v in RIGID[name].split()], abs=6e-5)


@pytest.mark.parametrize("name", PLACES)
def test_natural_frequencies(name):
    tool, held, whole = at(name), *([float(v) for v in text.split()] for text in FREQUENCIES[name])
    system = stated(pair_n_s_m=0.0, belt_lag_s=0.0)
    free = replace(system, motors=tuple(replace(m, damping_nm_s=0.0) for m in system.motors))
    assert [m.frequency_hz for m in modes(free, tool)] == pytest.approx(whole, abs=6e-4)
    k = free.linear_stiffness(free.rest(tool))[3:, 3:]
    squares = np.linalg.eigvals(np.linalg.solve(free.mass[3:, 3:], k))
    assert np.sort(np.sqrt(squares.real)) / (2 * np.pi) == pytest.approx(held, abs=6e-4)


def test_by_hand_in_the_middle():
    rho2 = SPAN_M**2 / (0.250**2 - SPAN_M**2)
    m_x = EFFECTOR_KG + PAIR_KG + 1.5 * rho2 * (CARRIAGE_KG + PAIR_KG / 3)
    m_z = EFFECTOR_KG + 3 * CARRIAGE_KG + 3 * PAIR_KG
    assert (m_x * 1e3, m_z * 1e3) == pytest.approx((388.3784, 750), abs=1e-4)
    system = stated()
    bodies = system.travel.copy()
    bodies[:3] = 0.0
    mass = bodies.T @ system.mass @ bodies
    assert np.diag(mass) == pytest.approx([m_x, m_x, m_z], rel=1e-12)
    stiff = stated(pair_n_m=4e12)
    k = locked(stiff, at("middle"))
    assert np.sqrt(k[0, 0] / mass[0, 0]) / (2 * np.pi) == pytest.approx(41.9201, abs=1e-4)
    assert np.sqrt(k[2, 2] / mass[2, 2]) / (2 * np.pi) == pytest.approx(77.9697, abs=1e-4)
