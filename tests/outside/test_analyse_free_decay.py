"""The analysis against free vibration as the textbooks have it, and against general-purpose libraries."""

from types import SimpleNamespace

import numpy as np
import pytest
from beltspring.sim.analyse import judge_decay
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
    mode = judge_decay(T, 50e-6 * y / np.abs(y).max())
    found = 2 * np.pi * mode.damping_ratio / np.sqrt(1 - mode.damping_ratio**2)
    assert found == pytest.approx(decrement, rel=1e-4)
    assert np.log(20) / found == pytest.approx(cycles_to_5_percent, rel=1e-3)
    assert mode.frequency_hz == pytest.approx(40.0 * np.sqrt(1 - ratio**2), rel=1e-6)


@pytest.mark.parametrize(("omega", "ratio"), [(1.328707, 0.105665), (2.496130, 0.023878)])
def test_damped_modes_of_a_published_worked_system(omega, ratio):
    # M = I, K = [[2, -1], [-1, 6]], C = [[0.3, -0.02], [-0.02, 0.1]]: natural frequencies 1.328707 and 2.496130 rad/s,
    # damping ratios 0.105665 and 0.023878, as printed in the documentation of the PyPI package
    # vibration-toolbox 0.6.10.
    # Time runs 150 times faster here, which leaves ratios alone. Free motion in one mode by scipy.linalg.
    k = np.array([[2.0, -1.0], [-1.0, 6.0]])
    c = np.array([[0.3, -0.02], [-0.02, 0.1]])
    a = np.block([[np.zeros((2, 2)), np.eye(2)], [-k, -c]])
    values, vectors = linalg.eig(a)
    state = vectors[:, np.argmin(np.abs(np.abs(values) - omega))].real
    step = linalg.expm(a * 150.0 * 1e-3)
    y = np.empty(len(T))
    for i in range(len(T)):
        y[i] = state[0]
        state = step @ state
    found = judge_decay(T, 1e-4 * y)
    natural = 2 * np.pi * found.frequency_hz / np.sqrt(1 - found.damping_ratio**2) / 150.0
    assert natural == pytest.approx(omega, rel=1e-6)
    assert found.damping_ratio == pytest.approx(ratio, rel=1e-4)


def test_least_squares_finds_what_a_general_optimiser_finds():
    # On noisy data there is no true answer but there is one best fit; scipy.optimize.curve_fit is the oracle, with the
    # same rows and weights: cos(pi t f / 6) over three periods of the frequency found.
    rng = np.random.default_rng(3)

    def model(t, frequency, decay, a, b, rest, slope):
        angle = 2 * np.pi * frequency * t
        return np.exp(-decay * t) * (a * np.cos(angle) + b * np.sin(angle)) + rest + slope * t

    y = model(T, 61.7, 9.0, 40.0, -70.0, 5.0, 0.0) + rng.normal(0, 0.5, len(T))
    found = judge_decay(T, y * 1e-6)
    t = T[3.0 / found.frequency_hz > T]
    weight = np.cos(np.pi * t * found.frequency_hz / 6)
    weight[:2] *= np.sqrt([5 / 12, 13 / 12])  # Gregory's end correction: an integral from the first row on
    best, _ = optimize.curve_fit(
        model, t, y[: len(t)], p0=(61.0, 8.0, 40.0, -70.0, 5.0, 0.0), sigma=1 / weight, ftol=1e-14, xtol=1e-14
    )
    assert found.frequency_hz == pytest.approx(best[0], rel=1e-6)
    decay = found.damping_ratio / np.sqrt(1 - found.damping_ratio**2) * 2 * np.pi * best[0]
    assert decay == pytest.approx(best[1], rel=1e-4)


@pytest.mark.parametrize(
    ("speed_m_s", "frequency_hz", "spacing_mm"), [(0.1, 40.0, 2.5), (0.06, 40.0, 1.5), (0.2, 60.0, 3.3333)]
)
def test_ripples_stand_speed_over_frequency_apart(monkeypatch, speed_m_s, frequency_hz, spacing_mm):
    # lambda = v / f: a wave's length, arithmetic anybody can repeat (100 mm/s at 40 Hz: 2.5 mm).
    from beltspring.sim.analyse import analysis

    ringing = Ringing("x", 50e-6, frequency_hz, 0.05, 0.2, "leg 1", speed_m_s, 0.35)
    monkeypatch.setattr(analysis, "find_ringdowns", lambda *a: [])
    monkeypatch.setattr(analysis, "worst", lambda ringdowns, axis: ringing if axis == "x" else None)
    monkeypatch.setattr(
        analysis,
        "path_error",
        lambda *a: SimpleNamespace(across_max_m=0, across_rms_m=0, along_max_m=0, delay_max_m=0, height_m=None),
    )
    trace = SimpleNamespace(stopped_at_s=None, slips=[], slack_s={}, broke_down=False)
    result = analysis.analyse(trace, SimpleNamespace(legs=[]))
    assert result.ripple_spacing_m * 1e3 == pytest.approx(spacing_mm, rel=1e-4)
    assert f"{spacing_mm:.2g} mm apart" in result.reading
