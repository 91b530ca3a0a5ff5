"""Three columns in a triangle: closed forms of beams (derived; E, G, A, I, J of the stated machine), base rigid."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.machine.frame import assemble, member, triangle_stiffness

from tests.support import bare, machine_of

E, G, AREA, BEND, TWIST, R, H = 69e9, 26e9, 170e-6, 7000e-12, 1050e-12, 0.175, 0.600
OUT = np.array([[np.cos(a), np.sin(a), 0.0] for a in np.radians([90.0, 210.0, 330.0])])


def section():
    design = machine_of(bare("corexy", {"frame.part": "slot-2020", "frame.joints": "rigid"})).design
    return replace(
        design.frame, elastic_modulus_pa=E, shear_modulus_pa=G, area_m2=AREA, i_strong_m4=BEND, i_weak_m4=BEND,
        torsion_m4=TWIST,
    )  # fmt: skip


def columns(levels):
    """Nodes (n, 3) and stiffness of three columns cut at these heights, their feet held."""
    nodes = np.vstack([R * OUT + np.array([0.0, 0.0, z]) for z in (0.0, *levels)])
    spec = section()
    parts = [(i, i + 3, member(spec, nodes[i], nodes[i + 3], (None, None), OUT[i % 3])) for i in range(len(nodes) - 3)]
    return nodes[3:], assemble(nodes, parts)[18:, 18:]


def rigid_top():
    """Rows (18, 6) of three nodes at the top on one rigid plate."""
    rigid = np.zeros((18, 6))
    for i in range(3):
        x, y, _ = R * OUT[i]
        rigid[6 * i : 6 * i + 6] = np.eye(6)
        rigid[6 * i : 6 * i + 3, 3:] = [[0, 0, -y], [0, 0, x], [y, -x, 0]]
    return rigid


def test_ring_of_the_same_profile():
    # Beam elements by an independent assembly gave 60.70819 kN/m, X = Y to 2e-13.
    sway = 1 / np.diag(np.linalg.inv(triangle_stiffness(section(), R, H, H)))[:2]
    assert sway == pytest.approx([60708.19] * 2, abs=1e-1)
    assert sway[0] == pytest.approx(sway[1], rel=1e-10)


def test_rigid_top_free_to_tilt_and_turn():
    _, k = columns((H,))
    top = rigid_top().T @ k @ rigid_top()
    known = 36 * E * BEND / H**3 * (1 - 9 / (12 + 1.5 * R**2 * AREA / BEND))
    assert known == pytest.approx(79857.50, abs=1e-2)
    assert 1 / np.diag(np.linalg.inv(top))[:2] == pytest.approx([known, known], rel=1e-9)
    turning = 36 * E * BEND * R**2 / H**3 + 3 * G * TWIST / H
    assert turning == pytest.approx(2601.8125, abs=1e-4)
    assert top[5, 5] == pytest.approx(turning, rel=1e-9)


def test_level_top_at_half_height():
    _, k = columns((H / 2, H))
    level = np.zeros((36, 20))
    level[:18, :18] = np.eye(18)
    level[18:, 18:] = rigid_top()[:, :2]
    push = np.zeros(20)
    push[[0, 6, 12]] = 1 / 3
    moved = np.linalg.solve(level.T @ k @ level, push)
    known = 115.2 * E * BEND / H**3
    assert known == pytest.approx(257600, abs=1)
    assert 1 / moved[[0, 6, 12]].mean() == pytest.approx(known, rel=1e-9)


def test_carriages_lower_down_sway_less():
    spec = section()
    sway = [1 / np.linalg.inv(triangle_stiffness(spec, R, H, at))[0, 0] for at in (0.2, 0.4, 0.6)]
    assert sway[0] > 2 * sway[1] > 2 * sway[2]
