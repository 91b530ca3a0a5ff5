"""Runs of the stated machine on arms against scipy's DOP853 (its equations written again), to 1e-9 m."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.model.forces import Forces
from scipy.integrate import solve_ivp

from tests.arms import (
    MIDDLE,
    Equations,
    circle,
    engine,
    slopes,
    stated,
    z_step,
)

PATHS = {"up": z_step, "circle": circle}
STEP_S = 125e-6


def off(path, times, tool):
    """Tool less command, less its value at the start, (k, 3)."""
    ends = np.array([t1 for _, t1 in path.pieces()])
    asked = np.array([path.at(t, min(int(np.searchsorted(ends, t - 1e-12)), 3))[0] for t in times])
    return tool - asked - (tool[0] - asked[0])


KNOWN = {
    "up": {
        "sag": (-40.507, 24.997, -65.714),
        "extremes": [
            ((-31.680, 0.013), (28.122, 0.047)),
            ((-17.606, 0.047), (19.697, 0.013)),
            ((-31.757, 0.008), (35.074, 0.068)),
        ],
        "places": {
            0.020: (59.9531346, -39.9726938, 50.5088057),
            0.050: (59.9808308, -39.9850110, 53.2814012),
            0.090: (59.9649156, -39.9800534, 54.9235297),
        },
    },
    "circle": {
        "sag": (-21.351, 1.493, -49.604),
        "extremes": [
            ((-17.360, 1.301), (31.266, 0.685)),
            ((-94.242, 0.013), (93.259, 1.269)),
            ((-3.184, 1.302), (4.226, 0.045)),
        ],
        "places": {
            0.100: (27.9123597, 10.9702774, 49.9522643),
            0.500: (-21.6016553, 20.8047398, 49.9523748),
            1.000: (4.8551082, -29.5955324, 49.9523659),
        },
    },
}  # fmt: skip


@pytest.mark.parametrize("name", PATHS)
def test_against_an_integrator_and_published_values(name):
    path, known = PATHS[name](), KNOWN[name]
    times, q, _ = engine(stated(), path, STEP_S)
    tool = MIDDLE + q[:, 6:]
    assert path.at(0.0, 0)[0] + np.array(known["sag"]) / 1e6 == pytest.approx(tool[0], abs=1e-9)
    dev = off(path, times, tool) * 1e6
    for axis, ((low, low_s), (high, high_s)) in enumerate(known["extremes"]):
        assert (dev[:, axis].min(), dev[:, axis].max()) == pytest.approx((low, high), abs=1e-3)
        assert times[dev[:, axis].argmin()] == pytest.approx(low_s, abs=1e-9)
        assert times[dev[:, axis].argmax()] == pytest.approx(high_s, abs=1e-9)
    for t, place in known["places"].items():
        assert tool[np.argmin(np.abs(times - t))] * 1e3 == pytest.approx(place, abs=2e-7)
    peer = Equations().solve(path, times)[:, 6:9]
    assert np.abs(peer - tool).max() < 1e-9


@pytest.mark.parametrize("name", PATHS)
def test_both_loops_together(name):
    path, system = PATHS[name](), stated()
    step_s = STEP_S if name == "up" else 2.5e-4
    fast, slow = (engine(system, path, step_s, loop)[1] for loop in ("generated", "reference"))
    assert np.abs(fast - slow).max() < 1e-9
    assert np.abs(fast[:, 6:] - slow[:, 6:]).max() < 1e-12


def test_energy_is_kept_without_losses():
    # What the arms hold belongs to the energy: with u frozen it would be off by half of the kinetic energy in 50 ms.
    system = stated(pair_n_s_m=0.0, belt_lag_s=0.0)
    system = replace(system, motors=tuple(replace(m, damping_nm_s=0.0) for m in system.motors))
    forces, tool = Forces(system), np.array([0.06, -0.04, 0.05])
    theta, n = system.motor_command(tool), system.n
    limit = np.array([m.limit_nm for m in system.motors])
    none = np.zeros(0)

    def energy(y):
        q, v = y[:n], y[n:]
        out = 0.5 * v @ system.mass @ v - system.gravity @ q
        for run in system.runs:
            out += 0.5 * run.ea_n * (run.row @ q) ** 2
        for arm in system.arms:
            out += 0.5 * arm.stiffness_n_m * (np.linalg.norm(arm.start + arm.row @ q) - arm.length_m) ** 2
        for j, m in enumerate(system.motors):
            out += m.limit_nm / m.spec.rotor_teeth * 2 * np.sin(m.spec.rotor_teeth * (q[j] - theta[j]) / 2) ** 2
        return out

    def rate(t, y):
        v, a, _, _ = forces(y[:n], y[n:], theta, np.zeros(3), limit, none, none)
        return np.concatenate([v, a])

    start = np.concatenate([system.rest(tool), np.zeros(n)])
    start[n + 6 : n + 9] = (0.3, -0.2, 0.1)
    start[n + 3 : n + 6] = slopes(tool) @ start[n + 6 :]
    found = solve_ivp(rate, (0.0, 0.05), start, method="DOP853", rtol=1e-12, atol=1e-15)
    kinetic = 0.5 * start[n:] @ system.mass @ start[n:]
    drift = max(abs(energy(y) - energy(start)) for y in found.y.T)
    assert drift < 1e-8 * kinetic
