"""Rods whose ends are clamped in blocks: between supports and built in, against slope deflection and Roark's table.

A block holds a rod's end as a rotational spring of 4EI/L. Roark's Formulas for Stress and Strain, table of beams, and the
slope-deflection equations (any text on structures), both from memory; the values beside each check are worked by hand.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.machine.build import machine_of as from_design
from beltspring.sim.model.build import build_model
from beltspring.sim.model.guides import guide_stiffness
from beltspring.sim.model.modes import modes
from beltspring.sim.model.shafts import Shaft, middle_shape
from scipy.integrate import quad

from tests.full.machines import desk, rigid
from tests.outside.test_full_guides import RODS, SPAN_M
from tests.support import machine_of

ENDS = ("supported", "clamped", "built-in")
EI = 206e9 * np.pi * 0.008**4 / 64


def flexibility(ends: str, s: float = 0.0, spacing_m: float = 0.060) -> np.ndarray:
    return Shaft(0.008, SPAN_M, SPAN_M / 2, spacing_m, 1e6, ends).influence(s)[0]


def test_a_load_in_the_middle_finds_twice_the_stiffness_on_supports():
    # Roark: F l^3 / 48 EI on supports. End moments M with M l / 2EI + M l / 4EI = F l^2 / 16EI: M = F l / 12, and the
    # middle rises by M l^2 / 8EI = F l^3 / 96 EI.
    f = flexibility("clamped", spacing_m=1e-9)
    assert f == pytest.approx(np.full((2, 2), SPAN_M**3 / (96 * EI)), rel=1e-6)


@pytest.mark.parametrize("spacing_m", [0.02, 0.06, 0.12])
def test_clamped_lies_between_the_two_everywhere(spacing_m):
    # More springs make no load's deflection larger (Rayleigh): differences of the influence matrices are positive definite.
    free = (SPAN_M - spacing_m) / 2
    for s in np.linspace(-0.98 * free, 0.98 * free, 41):
        supported, clamped, built_in = (flexibility(ends, s, spacing_m) for ends in ENDS)
        assert np.array_equal(clamped, clamped.T)
        for softer, stiffer in ((supported, clamped), (clamped, built_in)):
            assert np.linalg.eigvalsh((softer - stiffer) / np.trace(stiffer)).min() > 0
        assert np.linalg.eigvalsh(clamped / np.trace(clamped)).min() > 0


@pytest.mark.parametrize(("ends", "turning"), [("supported", 12), ("clamped", 40 / 3), ("built-in", 16)])
def test_a_couple_in_the_middle_by_slope_deflection(ends, turning):
    # Each half, l = L/2, is held at the middle, where it does not sink. Turning its near end takes 4EI/l less
    # (2EI/l)^2 / (4EI/l + k) with k = 0, 4EI/L = 2EI/l, or infinite at the far end: 3, 10/3 and 4 EI/l, twice.
    spacing = 1e-3
    f = flexibility(ends, 0.0, spacing)
    tilt = (f[0, 0] + f[1, 1] - 2 * f[0, 1]) / spacing**2
    assert 1 / tilt == pytest.approx(turning * EI / SPAN_M, rel=0.015)  # the forces stand 1/400 of the span apart


def test_a_carriage_tilts_more_than_on_built_in_rods_over_its_whole_reach():
    # The desk machine's carriage: 1.25 to 1.95 times as far as built in (worked by hand at the middle and near the ends;
    # half of the supported flexibility would be 0.65 of it, stiffer than no turning at all).
    machine = machine_of(desk())
    body = machine.body("carriage")
    assert body.guide is not None
    assert body.place is not None
    shaft = guide_stiffness("carriage", body.guide, body.place, 0).shaft
    assert shaft is not None
    low, high = machine.reach[0]
    for s in np.linspace(low, high, 21) - (low + high) / 2:
        found = []
        for ends in ("clamped", "built-in"):
            f, _ = replace(shaft, ends=ends).influence(s)
            found.append(f[0, 0] + f[1, 1] - 2 * f[0, 1])
        assert 1.25 <= found[0] / found[1] <= 1.95


@pytest.mark.parametrize("ends", ENDS)
def test_slopes_of_flexibility_and_stiffness_along_the_rod(ends):
    shaft = Shaft(0.008, SPAN_M, SPAN_M / 2, 0.060, 1e6, ends)
    step = 1e-6
    for s in (-0.15, -0.03, 0.0, 0.11):
        for of in (shaft.influence, shaft.stiffness):
            difference = (of(s + step)[0] - of(s - step)[0]) / (2 * step)
            assert of(s)[1] == pytest.approx(difference, rel=1e-6, abs=1e-6 * np.abs(difference).max() + 1e-18)


@pytest.mark.parametrize(
    ("ends", "mean", "square"),
    [("supported", 5 / 8, 17 / 35), ("clamped", 7 / 12, 31 / 70), ("built-in", 1 / 2, 13 / 35)],
)
def test_shape_under_a_load_in_the_middle(ends, mean, square):
    # The beam's own line, integrated by SciPy: F x (3 l^2 - 4x^2) / 48EI less M x (l - x) / 2EI, with M = 0, F l / 12
    # (above) and F l / 8 (Roark, built in).
    moment = {"supported": 0.0, "clamped": 1 / 12, "built-in": 1 / 8}[ends]

    def bent(x: float) -> float:
        return x * (3 - 4 * x * x) / 48 - moment * x * (1 - x) / 2

    of_line = 2 * quad(bent, 0, 0.5)[0] / bent(0.5)
    of_square = 2 * quad(lambda x: bent(x) ** 2, 0, 0.5)[0] / bent(0.5) ** 2
    assert (of_line, of_square) == pytest.approx((mean, square), rel=1e-12)
    assert middle_shape(ends) == pytest.approx((mean, square), rel=1e-12)


@pytest.mark.parametrize(
    ("ends", "gain", "share"), [("supported", 1, 17 / 35), ("clamped", 2, 31 / 70), ("built-in", 4, 13 / 35)]
)
def test_bounce_of_a_held_carriage(ends, gain, share):
    # Two rods of 8 mm and 400 mm, 0.3946 kg/m, 400 g in their middle: 48 EI / l^3 = 31.064 kN/m each on supports (Roark),
    # 53.330 Hz with 17/35 of the rods' mass (Blevins); twice and four times as stiff with less of it.
    design = rigid(
        "moving-bed", RODS | {"carriage.mass_g": 400, "carriage.guide": "rod-8-pair", "carriage.ends": ends}
    ).design
    system = build_model(from_design(design))
    z = system.dof_names.index("carriage z")
    bounce = max(modes(system), key=lambda m: m.shape[z] ** 2 * system.mass[z, z])
    by_hand = np.sqrt(2 * gain * 31.064e3 / (0.4 + share * 2 * 0.3946 * SPAN_M)) / (2 * np.pi)
    assert bounce.frequency_hz == pytest.approx(by_hand, rel=1e-3)


@pytest.mark.parametrize(("ends", "turning"), [("supported", 12), ("clamped", 40 / 3), ("built-in", 16)])
def test_tilt_of_a_held_carriage(ends, turning):
    # The same rods hold the carriage from turning about Y by the couple above, each. Two forces F an arm apart are no
    # couple in one point: between them the moment goes from F arm / 2 to -F arm / 2, stores (F arm)^2 arm / 24EI instead of
    # arm / 8EI, and takes arm / 6EI off the flexibility; the bushings of 10 kN/um add 2 / (k arm^2).
    machine = rigid("moving-bed", RODS | {"carriage.guide": "rod-8-pair", "carriage.ends": ends})
    body = machine.body("carriage")
    assert body.guide is not None
    assert body.place is not None
    arm = body.place.spacing_m
    flexible = SPAN_M / (turning * EI) - arm / (6 * EI) + 2 / (body.guide.stiffness_n_m * arm**2)
    system = build_model(machine)
    about = system.dof_names.index("carriage about y")
    pitch = max(modes(system), key=lambda m: m.shape[about] ** 2 * system.mass[about, about])
    by_hand = np.sqrt(2 / flexible / body.inertia[1]) / (2 * np.pi)
    assert pitch.frequency_hz == pytest.approx(by_hand, rel=1e-3)
