"""Bristles through a step against their closed forms: at even speed, and by distance where the speed changes."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim.simulate.reference import Bristles

LEVEL = np.array([1e5])  # 1/m: sigma0 over friction, 15 000 1/s at 150 mm/s
#: While the bristles still bend: bent, all of them stand at 1 / level whatever the speed.
END_S = 4e-4


@pytest.mark.parametrize("speed_m_s", [1e-9, 1e-3, 0.02, 0.15, -2.0])
def test_at_even_speed_the_closed_form_at_any_stiffness(speed_m_s):
    # z' = v - r z: z(h) = z e^(-r h) + v (1 - e^(-r h)) / r, exact where the rate foreseen is the one that comes.
    h, v, z = 2e-4, np.array([speed_m_s]), np.array([3e-6])
    rate = LEVEL * np.abs(v)
    bristles = Bristles(z, LEVEL, rate, h)
    for _ in range(4):
        bristles.stage(v)
    exact = z * np.exp(-rate * h) - v * np.expm1(-rate * h) / rate
    assert bristles.z == pytest.approx(exact, rel=1e-12)


def test_where_the_speed_changes_a_halved_step_cuts_the_error_sixteenfold():
    def speed(t: float) -> float:
        return 0.05 + 0.03 * np.sin(400.0 * t)

    def end(h: float) -> float:
        z = np.zeros(1)
        for k in range(round(END_S / h)):
            at = k * h
            # Foreseen as a loop does, from the start of the step alone: wrong in second order.
            foreseen = speed(at) + 0.5 * h * 0.03 * 400.0 * np.cos(400.0 * at)
            bristles = Bristles(z, LEVEL, LEVEL * abs(foreseen), h)
            for share in (0.0, 0.5, 0.5, 1.0):
                bristles.stage(np.array([speed(at + share * h)]))
            z = bristles.z
        return float(z[0])

    # With the speed always the same way, dz/dx = 1 - level z over the distance x (Dahl): z = (1 - e^(-level x)) / level.
    travelled = 0.05 * END_S + 0.03 / 400.0 * (1 - np.cos(400.0 * END_S))
    exact = -np.expm1(-LEVEL[0] * travelled) / LEVEL[0]
    errors = np.abs([end(h) - exact for h in (1e-4, 5e-5, 2.5e-5)])
    assert errors[:-1] / errors[1:] == pytest.approx([16, 16], rel=0.3)
    assert errors[0] < 1e-4 * abs(exact)
