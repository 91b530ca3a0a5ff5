"""The place of rest: a Hann-weighted mean of the second half of a stand-still, about which every peak is measured."""

import numpy as np
import pytest
from beltspring.sim.analyse import analyse
from beltspring.sim.analyse.ringing.stills import Still, rest_of

OFF_M = 9e-6


def restless(start):
    """Off its place by 9 um and shaken by many tones at once, so that no sum of three damped sines describes it, m."""
    hertz = np.array([31.0, 43.7, 58.1, 71.9, 88.3, 104.7])

    def deviation(t):
        gone = np.clip(t - start, 0, None)[:, None]
        tones = np.exp(-2.0 * gone) * np.sin(2 * np.pi * hertz * gone + hertz)
        return np.where(t >= start, OFF_M + 5e-6 * tones.sum(axis=1), 0.0)

    return deviation


@pytest.mark.parametrize("step", [1e-4, 1e-3])
def test_the_peak_is_about_the_place_of_rest_whatever_can_be_fitted(made, step):
    plan = made.plan([(0, 0), (0.06, 0)], settle=0.6)
    deviation = restless(plan.move_s)
    found = analyse(made.trace(plan, deviation_x=deviation, step=step), plan)
    swings = deviation(np.linspace(plan.move_s, plan.duration_s, 200_001)) - OFF_M
    assert found.ringing["x"].peak_m == pytest.approx(np.abs(swings).max(), rel=0.01)


@pytest.mark.parametrize("periods", [4.0, 4.3, 7.6])
def test_the_window_lets_a_steady_swing_through_by_its_known_share(made, periods):
    # Fourier transform of the Hann window over a length L: sinc(x) / (1 - x^2) of its own at x = f L periods (any text on
    # spectral windows; F. J. Harris, Proc. IEEE 66(1), 1978, from memory); written with numpy's sin(pi x) / (pi x).
    plan = made.plan([(0, 0), (0.06, 0)], settle=0.4)
    half = 0.5 * 0.4
    hertz, phase = periods / half, 0.7
    middle = plan.move_s + 1.5 * half

    def steady(t):
        return 50e-6 * np.cos(2 * np.pi * hertz * (t - middle) + phase)

    trace = made.trace(plan, deviation_x=steady, step=1e-4)
    still = Still(0, plan.legs[0], plan.move_s, plan.duration_s, 0.0, 0.0)
    share = np.sinc(periods) / (1 - periods**2)
    assert rest_of(trace, still) - 0.06 == pytest.approx(50e-6 * np.cos(phase) * share, abs=50e-6 * 2e-5)
