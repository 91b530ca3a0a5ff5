"""The fit of a free decay: closed forms it must find, disturbances it must survive, nonsense it must refuse."""

import numpy as np
import pytest
from beltspring.sim.analyse import fit_decay
from hypothesis import given, settings
from hypothesis import strategies as st

T = np.arange(0.0, 0.35, 1e-3)


def wave(t, frequency, ratio, amplitude=80e-6, phase=0.3):
    """A damped sine by its damped frequency, m."""
    decay = ratio / np.sqrt(1 - ratio**2) * 2 * np.pi * frequency
    return amplitude * np.exp(-decay * t) * np.cos(2 * np.pi * frequency * t + phase)


@given(
    frequency=st.floats(8, 350),
    ratio=st.floats(0.0, 0.25),
    phase=st.floats(0, 6.28),
    rest=st.floats(-1e-3, 1e-3),
    amplitude=st.floats(1e-6, 1e-3),
)
@settings(max_examples=150, deadline=None)
def test_a_clean_decay_sampled_every_millisecond_is_found(frequency, ratio, phase, rest, amplitude):
    fit = fit_decay(T, wave(T, frequency, ratio, amplitude, phase) + rest)
    assert fit is not None
    assert fit.modes[0].frequency_hz == pytest.approx(frequency, rel=2e-3)
    assert fit.modes[0].damping_ratio == pytest.approx(ratio, rel=0.03, abs=1e-6)
    assert fit.rest_m == pytest.approx(rest, abs=0.01 * amplitude)


@pytest.mark.parametrize(("other", "share"), [(53.0, 0.6), (60.0, 0.9), (120.0, 0.5), (335.0, 0.4)])
def test_of_two_modes_the_stronger_is_reported_first(other, share):
    y = wave(T, 48.0, 0.03) + wave(T, other, 0.03, share * 80e-6, 1.0)
    fit = fit_decay(T, y)
    assert [m.frequency_hz for m in fit.modes] == pytest.approx([48.0, other], rel=2e-3)
    assert [m.damping_ratio for m in fit.modes] == pytest.approx([0.03, 0.03], rel=0.03)


def test_a_creep_and_a_thump_beside_the_ringing_do_not_hide_it():
    # Friction lets go slowly and a stiff mode dies at once: the 20 Hz that go on are what a person sees.
    y = wave(T, 19.8, 0.02, 50e-6) + wave(T, 66.0, 0.21, 47e-6, 2.0) + 8e-6 * np.exp(-T / 0.05)
    fit = fit_decay(T, y)
    assert fit.modes[0].frequency_hz == pytest.approx(19.8, rel=0.005)
    assert fit.modes[0].damping_ratio == pytest.approx(0.02, rel=0.15)


def test_uneven_samples_serve_as_well_as_even_ones():
    rng = np.random.default_rng(7)
    t = np.sort(np.concatenate((T, rng.uniform(0, T[-1], 40))))
    fit = fit_decay(t, wave(t, 63.0, 0.04))
    assert fit.modes[0].frequency_hz == pytest.approx(63.0, rel=1e-6)
    assert fit.modes[0].damping_ratio == pytest.approx(0.04, rel=1e-4)


def coulomb(frequency, stop_m, start_m, t):
    """A mass on a spring with dry friction, released from start_m: half swings about +-stop_m until one ends within it.

    The textbook solution: each half swing is a cosine about the place where spring and friction balance, and its far
    end lies 2 stop_m nearer (Den Hartog, Mechanical Vibrations, free vibration with Coulomb damping; from memory).
    """
    out = np.empty_like(t)
    half, at, begin = 0.5 / frequency, start_m, 0.0
    for i, now in enumerate(t):
        while abs(at) > stop_m and now - begin >= half:
            at, begin = -(at - np.sign(at) * 2 * stop_m), begin + half
        centre = np.sign(at) * stop_m
        out[i] = at if abs(at) <= stop_m else centre + (at - centre) * np.cos(2 * np.pi * frequency * (now - begin))
    return out


@pytest.mark.parametrize(("stop_m", "tolerance"), [(1e-6, 0.003), (4e-6, 0.015), (8e-6, 0.03)])
def test_a_ring_down_that_friction_stops_still_tells_its_frequency(stop_m, tolerance):
    # Dry friction makes the envelope a straight line that ends at once; no damped sine has that shape, so the frequency
    # is a little off, the more so the fewer swings there are (35, 9 and 5 half swings here).
    fit = fit_decay(T, coulomb(48.0, stop_m, 80e-6, T))
    assert fit.modes[0].frequency_hz == pytest.approx(48.0, rel=tolerance)
    assert len(fit.modes) == 1 or fit.modes[1].amplitude_m < 0.1 * fit.modes[0].amplitude_m


def test_noise_is_not_taken_for_ringing_and_does_not_hide_it():
    rng = np.random.default_rng(1)
    noise = rng.normal(0, 1e-6, len(T))
    assert fit_decay(T, noise) is None
    fit = fit_decay(T, wave(T, 48.0, 0.03) + noise)
    assert fit.modes[0].frequency_hz == pytest.approx(48.0, rel=2e-3)
    assert fit.modes[0].damping_ratio == pytest.approx(0.03, rel=0.03)


@pytest.mark.parametrize(
    "y",
    [np.zeros_like(T), 1e-6 * T, 80e-6 * np.exp(-T / 0.03), np.where(T > 0.1, 1e-4, 0.0), wave(T, 2.0, 0.05)],
    ids=["nothing", "a drift", "a creep", "a step", "less than a period"],
)
def test_what_is_no_ringing_gives_none(y):
    assert fit_decay(T, y) is None


def test_too_short_a_stretch_gives_none():
    assert fit_decay(T[:20], wave(T[:20], 48.0, 0.03)) is None
    assert fit_decay(T[:5], wave(T[:5], 48.0, 0.03)) is None
    assert fit_decay(T[:0], T[:0]) is None
