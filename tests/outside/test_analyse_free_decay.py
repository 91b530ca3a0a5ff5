"""The analysis against free vibration as the textbooks have it, and against general-purpose libraries."""

from types import SimpleNamespace

import numpy as np
import pytest
from beltspring.sim.analyse import fit_decay
from beltspring.sim.analyse.ringing import Ringing
from scipy import linalg, optimize, signal

T = np.arange(0.0, 0.6, 1e-3)


@pytest.mark.parametrize(
    ("ratio", "decrement", "cycles_to_5_percent"),
    [(0.02, 0.125689, 23.83), (0.05, 0.314553, 9.524), (0.10, 0.631484, 4.744)],
)
def test_logarithmic_decrement(ratio, decrement, cycles_to_5_percent):
    # delta = ln(x_n / x_n+1) = 2 pi zeta / sqrt(1 - zeta^2): S. S. Rao, Mechanical Vibrations, and D. J. Inman,
    # Engineering Vibration, free vibration with viscous damping (formula from memory; the numbers follow from it).
    # The decay itself comes from scipy.signal.impulse, the impulse response of 1 / (s^2 + 2 zeta w s + w^2).
    w = 2 * np.pi * 40.0
    _, y = signal.impulse(([1.0], [1.0, 2 * ratio * w, w**2]), T=T)
    mode = fit_decay(T, 50e-6 * y / np.abs(y).max()).modes[0]
    found = 2 * np.pi * mode.damping_ratio / np.sqrt(1 - mode.damping_ratio**2)
    assert found == pytest.approx(decrement, rel=1e-4)
    assert np.log(20) / found == pytest.approx(cycles_to_5_percent, rel=1e-3)
    assert mode.frequency_hz == pytest.approx(40.0 * np.sqrt(1 - ratio**2), rel=1e-6)


def test_two_damped_modes_of_a_published_worked_system():
    # M = I, K = [[2, -1], [-1, 6]], C = [[0.3, -0.02], [-0.02, 0.1]]: natural frequencies 1.328707 and 2.496130 rad/s,
    # damping ratios 0.105665 and 0.023878, as printed in the documentation of the PyPI package
    # vibration-toolbox 0.6.10.
    # Time runs 150 times faster here, which leaves ratios alone. Free motion by scipy.linalg.expm.
    k = np.array([[2.0, -1.0], [-1.0, 6.0]])
    c = np.array([[0.3, -0.02], [-0.02, 0.1]])
    a = np.block([[np.zeros((2, 2)), np.eye(2)], [-k, -c]])
    step = linalg.expm(a * 150.0 * 1e-3)
    state = np.array([0.4, 1.0, 0.0, 0.0])
    y = np.empty(len(T))
    for i in range(len(T)):
        y[i] = state[0]
        state = step @ state
    modes = sorted(fit_decay(T, 1e-4 * y).modes, key=lambda m: m.frequency_hz)
    natural = [2 * np.pi * m.frequency_hz / np.sqrt(1 - m.damping_ratio**2) / 150.0 for m in modes]
    assert natural == pytest.approx([1.328707, 2.496130], rel=1e-5)
    assert [m.damping_ratio for m in modes] == pytest.approx([0.105665, 0.023878], rel=1e-4)


def test_least_squares_finds_what_a_general_optimiser_finds():
    # On noisy data there is no true answer but there is one best fit; scipy.optimize.curve_fit is the oracle.
    rng = np.random.default_rng(3)
    t = T[:350]

    def model(t, frequency, decay, a, b, rest):
        angle = 2 * np.pi * frequency * t
        return np.exp(-decay * t) * (a * np.cos(angle) + b * np.sin(angle)) + rest

    y = model(t, 61.7, 9.0, 40.0, -70.0, 5.0) + rng.normal(0, 0.5, len(t))
    best, _ = optimize.curve_fit(model, t, y, p0=(61.0, 8.0, 40.0, -70.0, 5.0))
    fit = fit_decay(t, y * 1e-6)
    assert fit.modes[0].frequency_hz == pytest.approx(best[0], rel=1e-5)
    decay = fit.modes[0].damping_ratio / np.sqrt(1 - fit.modes[0].damping_ratio ** 2) * 2 * np.pi * best[0]
    assert decay == pytest.approx(best[1], rel=2e-3)
    assert fit.rest_m * 1e6 == pytest.approx(best[4], abs=0.01)


@pytest.mark.parametrize(
    ("speed_m_s", "frequency_hz", "spacing_mm"), [(0.1, 40.0, 2.5), (0.06, 40.0, 1.5), (0.2, 60.0, 3.3333)]
)
def test_ripples_stand_speed_over_frequency_apart(monkeypatch, speed_m_s, frequency_hz, spacing_mm):
    # lambda = v / f: a wave's length, arithmetic anybody can repeat (100 mm/s at 40 Hz: 2.5 mm).
    from beltspring.sim.analyse import analysis

    ringing = Ringing("x", 50e-6, frequency_hz, 0.05, 0.2, "leg 1", speed_m_s, 0.35)
    monkeypatch.setattr(analysis, "find_ringdowns", lambda trace, plan: [])
    monkeypatch.setattr(analysis, "worst", lambda ringdowns, axis: ringing if axis == "x" else None)
    monkeypatch.setattr(analysis, "spectrum", lambda *a: None)
    monkeypatch.setattr(
        analysis, "path_error", lambda *a: SimpleNamespace(across_max_m=0, across_rms_m=0, along_max_m=0, delay_max_m=0)
    )
    trace = SimpleNamespace(stopped_at_s=None, slips=[], slack_s={})
    result = analysis.analyse(trace, SimpleNamespace(legs=[]))
    assert result.ripple_spacing_m * 1e3 == pytest.approx(spacing_mm, rel=1e-4)
    assert f"{spacing_mm:.2g} mm apart" in result.reading
