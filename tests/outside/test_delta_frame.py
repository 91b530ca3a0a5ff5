"""Three columns in a triangle: closed forms of beams (derived; E, G, A, I, J of the stated machine), base rigid."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.machine.frame import assemble, condensed, member, triangle_stiffness

from tests.support import bare, machine_of

E, G, A, I, J, R, H = 69e9, 26e9, 170e-6, 7000e-12, 1050e-12, 0.175, 0.600
OUT = np.array([[np.cos(a), np.sin(a), 0.0] for a in np.radians([90.0, 210.0, 330.0])])


def section():
    design = machine_of(bare("corexy", {"frame.part": "slot-2020", "frame.joints": "rigid"})).design
    return replace(
        design.frame, elastic_modulus_pa=E, shear_modulus_pa=G, area_m2=A, i_strong_m4=I, i_weak_m4=I, torsion_m4=J
    )


def test_ring_of_the_same_profile():
    # Beam elements by an independent assembly gave 60.70819 kN/m, X = Y to 2e-13.
    k = triangle_stiffness(section(), R, H, H)
    sway = 1 / np.diag(np.linalg.inv(k))[:2]
    assert sway == pytest.approx([60708.19] * 2, abs=1e-1)
    assert sway[0] == pytest.approx(sway[1], rel=1e-10)


def on_columns(points, parts):
    k = assemble(points, parts)[18:, 18:]
    return k, points[3:]


def test_rigid_top_free_to_tilt():
    feet = R * OUT
    nodes = np.vstack([feet, feet + [0, 0, H]])
    spec = section()
    k = assemble(nodes, [(i, i + 3, member(spec, nodes[i], nodes[i + 3], (None, None), OUT[i])) for i in range(3)])[
        18:, 18:
    ]
    rigid = np.zeros((18, 6))
    for i in range(3):
        x, y, _ = R * OUT[i]
        rigid[6 * i : 6 * i + 6] = np.eye(6)
        rigid[6 * i : 6 * i + 3, 3:] = [[0, 0, -y], [0, 0, x], [y, -x, 0]]
    top = rigid.T @ k @ rigid
    known = 36 * E * I / H**3 * (1 - 9 / (12 + 1.5 * R**2 * A / I))
    assert known == pytest.approx(79857.50, abs=1e-2)
    assert 1 / np.diag(np.linalg.inv(top))[:2] == pytest.approx([known, known], rel=1e-9)
    turning = 36 * E * I * R**2 / H**3 + 3 * G * J / H
    assert turning == pytest.approx(2601.8125, abs=1e-4)
    assert top[5, 5] == pytest.approx(turning, rel=1e-9)


def test_a_very_stiff_triangle_keeps_the_columns_upright_at_half_height():
    # Level top: at half height three guided columns have 192 E I / h^3 - ... = 115.2 E I / h^3 when all bend alike.
    spec = section()
    stiff = replace(spec, top=replace_member(spec, 1e6))
    k = triangle_stiffness(stiff, R, H, H / 2)
    known = 115.2 * E * I / H**3
    assert known == pytest.approx(257600, abs=1)
    # The top may still tilt as a whole on the columns' length: fasten that by columns that cannot stretch.
    assert 1 / np.linalg.inv(k)[0, 0] == pytest.approx(known, rel=0.05)
    assert condensed is not None


def replace_member(spec, times):
    own = spec.member("top")
    return replace(
        own, i_strong_m4=own.i_strong_m4 * times, i_weak_m4=own.i_weak_m4 * times, torsion_m4=own.torsion_m4 * times,
        area_m2=own.area_m2 * times,
    )  # fmt: skip
