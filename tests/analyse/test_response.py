"""The response to a sweep against the textbook's: a mass on a spring, its motion from scipy, its response in closed form."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from beltspring.sim.analyse.response import Response, responses
from scipy.signal import chirp, lsim, lti
from scipy.special import wofz

STEP_S, SWEEP_S, END_S = 1e-3, 1.5, 3.0
LOW_HZ, HIGH_HZ = 20.0, 160.0


def swept(hertz: float, ratio: float, way: tuple[float, float] = (1.0, 0.0), **more: Any) -> tuple[Response, ...]:
    """Of a mass on a spring whose base is moved to and fro from 20 to 160 Hz, starting at X 30 mm Y 40 mm."""
    t = np.arange(0.0, END_S, 0.1 * STEP_S)
    window = np.where(t < SWEEP_S, np.abs(np.sin(np.pi * t / SWEEP_S)), 0.0)
    base = 20e-6 * window * chirp(t, LOW_HZ - 10, SWEEP_S, HIGH_HZ + 20, phi=-90)
    omega = math.tau * hertz
    # Against its base e'' + 2 z w e' + w^2 e = -x'': as a transfer of the place, -s^2 / (s^2 + 2 z w s + w^2).
    _, e, _ = lsim(lti([-1.0, 0.0, 0.0], [1.0, 2 * ratio * omega, omega**2]), base, t)
    t, base, e = t[::10], base[::10], e[::10]
    at = np.zeros((len(t), 3))
    commanded = at + np.array([0.03, 0.04, 0.0]) + base[:, None] * np.array([*way, 0.0])
    tool = commanded + e[:, None] * np.array([*way, 0.0])
    trace: Any = SimpleNamespace(t_s=t, commanded=commanded, tool=tool, stopped_at_s=None)
    leg = SimpleNamespace(sweep_hz=(LOW_HZ, HIGH_HZ), direction=(*way, 0.0))
    plan: Any = SimpleNamespace(legs=[leg])
    return responses(SimpleNamespace(**(vars(trace) | more)), plan)  # type: ignore[arg-type]


def gain(frequency: np.ndarray, hertz: float, ratio: float) -> np.ndarray:
    """m for each m/s2: 1 / |w^2 - s^2 + 2 i z w s| (any textbook on vibrations: motion of the base)."""
    s, w = math.tau * frequency, math.tau * hertz
    return 1.0 / np.abs(w**2 - s**2 + 2j * ratio * w * s)


@pytest.mark.parametrize(("hertz", "ratio"), [(60.0, 0.08), (95.0, 0.12)])
def test_a_mass_on_a_spring_answers_as_the_closed_form_says(hertz: float, ratio: float) -> None:
    (found,) = swept(hertz, ratio)
    assert found.axis == "x"
    assert found.frequency_hz[0] == pytest.approx(LOW_HZ, abs=0.05)
    assert found.frequency_hz[-1] == pytest.approx(HIGH_HZ, abs=0.05)
    assert found.gain_s2 == pytest.approx(gain(found.frequency_hz, hertz, ratio), rel=0.02)
    (peak,) = found.peaks
    assert peak.frequency_hz == pytest.approx(hertz * math.sqrt(1 - 2 * ratio**2), rel=2e-3)
    assert not found.still_rising


def test_a_curve_that_is_largest_at_the_end_still_rises() -> None:
    (found,) = swept(200.0, 0.05)
    assert found.peaks == ()
    assert found.still_rising


@pytest.mark.parametrize(("share", "axes"), [(0.105, "xy"), (0.095, "x")])
def test_an_axis_that_gets_a_tenth_of_the_sweep_is_told(share: float, axes: str) -> None:
    """A tenth: our choice; what hardly moves an axis says nothing of it."""
    found = swept(60.0, 0.08, (math.sqrt(1 - share**2), share))
    assert [f.axis for f in found] == list(axes)
    for one in found:
        assert one.peaks[0].frequency_hz == pytest.approx(59.62, rel=2e-3)


def test_a_run_that_ended_early_has_no_response() -> None:
    assert swept(60.0, 0.08, stopped_at_s=1.0) == ()


def test_a_sharp_peak_is_blurred_by_a_tenth_of_a_hertz_and_a_long_record_is_not_cut() -> None:
    """A resonance as narrow as the average over neighbouring frequencies is lowered as a Lorentz line under a Gauss bell is:
    the Voigt profile, by the Faddeeva function (NIST Digital Library of Mathematical Functions, 7.19). The sweep begins
    half a minute after the record does and rings on for a minute; the motion comes from the closed form by scipy's Fourier
    transform over all of it.
    """
    hertz, ratio, step, n = 31.4, 0.002, 5e-3, 1 << 14
    t = np.arange(n) * step
    go = (t > 28.0) & (t < 40.0)
    window = np.where(go, np.abs(np.sin(np.pi * (t - 28.0) / 12.0)), 0.0)
    base = 20e-6 * window * chirp(t - 28.0, 20.0, 12.0, 60.0, phi=-90)
    s, w = math.tau * np.fft.rfftfreq(n, step), math.tau * hertz
    transfer = s**2 / (w**2 - s**2 + 2j * ratio * w * s)
    e = np.fft.irfft(transfer * np.fft.rfft(base), n)
    zero = np.zeros(n)
    commanded, tool = np.stack([base, zero, zero], axis=1), np.stack([base + e, zero, zero], axis=1)
    trace: Any = SimpleNamespace(t_s=t, commanded=commanded, tool=tool, stopped_at_s=None)
    plan: Any = SimpleNamespace(legs=[SimpleNamespace(sweep_hz=(25.0, 55.0), direction=(1.0, 0.0, 0.0))])
    (found,) = responses(trace, plan)
    spacing = found.frequency_hz[1] - found.frequency_hz[0]
    assert spacing == pytest.approx(1.0 / (n * step), rel=1e-9)
    sigma, half_width = 0.1, ratio * hertz
    z = 1j * half_width / (sigma * math.sqrt(2.0))
    lowered = half_width / sigma * math.sqrt(math.pi / 2.0) * wofz(z).real
    assert found.gain_s2.max() == pytest.approx(lowered / (2 * ratio * w**2), rel=0.02)


def test_frequencies_stand_a_twentieth_of_a_hertz_apart_and_no_finer_than_half_of_that() -> None:
    """Of a short record, by padding with zeros to a power of two: here it just reaches what the finest spacing asks for."""
    step = 20.0 / 16380
    t = np.arange(2000) * step
    base = 20e-6 * np.sin(math.tau * 40 * t) * np.hanning(2000)
    zero = np.zeros(2000)
    commanded = np.stack([base, zero, zero], axis=1)
    trace: Any = SimpleNamespace(t_s=t, commanded=commanded, tool=1.1 * commanded, stopped_at_s=None)
    plan: Any = SimpleNamespace(legs=[SimpleNamespace(sweep_hz=(30.0, 50.0), direction=(1.0, 0.0, 0.0))])
    (found,) = responses(trace, plan)
    assert np.diff(found.frequency_hz) == pytest.approx(16380 / 16384 / 20.0, rel=1e-6)
