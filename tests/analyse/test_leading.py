"""Which vibration makes the peak, and what is told of it: damped sines written down by hand, one larger, one longer."""

import numpy as np
import pytest
from beltspring.sim.analyse import analyse

TURN = 2 * np.pi


def swing(t, start, frequency_hz, ratio, amplitude_m, phase=0.0):
    """A damped sine by its damped frequency from `start` on, m; nothing before."""
    gone = np.clip(t - start, 0, None)
    decay = ratio / np.sqrt(1 - ratio**2) * TURN * frequency_hz
    wave = amplitude_m * np.exp(-decay * gone) * np.cos(TURN * frequency_hz * gone + phase)
    return np.where(t >= start, wave, 0.0)


def five_percent_s(frequency_hz, ratio):
    """ln 20 over the decay rate: when e^-dt is 5 % (closed form)."""
    return np.log(20) * np.sqrt(1 - ratio**2) / (ratio * TURN * frequency_hz)


def test_a_large_fast_ring_is_told_before_a_small_slow_one(made):
    # The slow one holds more energy over a second: 8 um at 8 Hz against 60 um at 71 Hz that is soon gone.
    plan = made.plan([(0, 0), (0.06, 0)], settle=1.2)
    fast, slow = (71.0, 0.06, 60e-6), (8.0, 0.01, 8e-6)

    def both(t):
        return swing(t, plan.move_s, *fast) + swing(t, plan.move_s, *slow)

    result = analyse(made.trace(plan, deviation_x=both), plan)
    x = result.ringing["x"]
    assert x.frequency_hz == pytest.approx(71.0, rel=2e-3)
    assert x.damping_ratio == pytest.approx(0.06, rel=0.03)
    assert x.fades_to_5_percent_s == pytest.approx(five_percent_s(71.0, 0.06), rel=0.03)
    assert x.remainder.frequency_hz == pytest.approx(8.0, rel=2e-3)
    assert x.remainder.amplitude_m == pytest.approx(8e-6, rel=0.02)
    assert "X rings at 71 Hz and fades in 112 ms, with a swing of 8 µm at 8 Hz that takes" in result.sentences[0]
    assert result.ripple_spacing_m == pytest.approx(0.1 / 71.0, rel=2e-3)


def test_a_fit_that_starts_late_still_tells_what_made_the_peak(made):
    # Y sets off as X stops and shoves X aside until it cruises, 33 ms later: only then the decay lies bare, and by then
    # the fast ring is smaller than the slow one.
    plan = made.plan([(0, 0), (0.06, 0), (0.06, 0.06)], settle=0.0)
    start, cruise = plan.legs[1].start_s, plan.legs[1].cruise_from_s

    def coupled(t):
        shove = np.where((t > start) & (t < cruise), -15e-6, 0.0)
        knock = swing(t, cruise, 70.0, 0.08, 15e-6) + swing(t, plan.legs[1].cruise_to_s, 70.0, 0.08, 15e-6)
        return swing(t, start, 70.0, 0.08, 60e-6, 0.4) + swing(t, start, 12.0, 0.02, 20e-6, 2.0) + shove + knock

    x = analyse(made.trace(plan, deviation_x=coupled), plan).ringing["x"]
    assert x.frequency_hz == pytest.approx(70.0, rel=0.01)
    assert x.damping_ratio == pytest.approx(0.08, rel=0.1)
    assert x.remainder.frequency_hz == pytest.approx(12.0, rel=0.02)
    assert x.remainder.amplitude_m == pytest.approx(20e-6, rel=0.2)


def test_damping_frequency_and_fade_belong_together(made):
    plan = made.plan([(0, 0), (0.06, 0)], settle=0.8)

    def both(t):
        return swing(t, plan.move_s, 82.5, 0.05, 15e-6) + swing(t, plan.move_s, 62.0, 0.014, 5e-6, 1.0)

    x = analyse(made.trace(plan, deviation_x=both), plan).ringing["x"]
    assert x.fades_to_5_percent_s == pytest.approx(five_percent_s(x.frequency_hz, x.damping_ratio), rel=1e-6)
    assert x.fades_to_5_percent_s == pytest.approx(0.1155, rel=0.03)
    assert x.remainder.fades_s > 2 * x.fades_to_5_percent_s


def test_what_is_gone_as_soon_or_too_small_to_see_is_no_remainder(made):
    plan = made.plan([(0, 0), (0.06, 0)])

    def both(t):
        return swing(t, plan.move_s, 50.0, 0.04, 50e-6) + swing(t, plan.move_s, 120.0, 0.04, 20e-6)

    assert analyse(made.trace(plan, deviation_x=both), plan).ringing["x"].remainder is None

    def speck(t):
        return swing(t, plan.move_s, 50.0, 0.06, 50e-6) + swing(t, plan.move_s, 31.0, 0.005, 1.5e-6)

    assert analyse(made.trace(plan, deviation_x=speck), plan).ringing["x"].remainder is None


def test_a_thump_that_dies_in_its_first_swing_does_not_lead(made):
    plan = made.plan([(0, 0), (0.06, 0)], settle=0.5)

    def both(t):
        return swing(t, plan.move_s, 48.0, 0.5, 60e-6) + swing(t, plan.move_s, 82.0, 0.04, 25e-6, 0.5)

    x = analyse(made.trace(plan, deviation_x=both), plan).ringing["x"]
    assert x.frequency_hz == pytest.approx(82.0, rel=5e-3)
    assert x.damping_ratio == pytest.approx(0.04, rel=0.05)
