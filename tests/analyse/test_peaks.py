"""Peaks out of curves with known tops, places of rest, and thinned records: all written down from closed forms."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from beltspring.sim.analyse import response, spectrum
from beltspring.sim.analyse.cause import _nearness
from beltspring.sim.analyse.ringing.ringdown import find_ringdowns
from beltspring.sim.analyse.ringing.stills import Still, settled
from beltspring.sim.model.modes import bare_modes

from tests.analyse.conftest import CornerPlan, sprung, trace_of
from tests.support import model_of, shipped

HERTZ = np.arange(5.0, 200.0, 0.5)


def parabolas(tops: list[tuple[float, float]], step: float = 0.5) -> tuple[np.ndarray, np.ndarray]:
    """(frequencies, curve): near each (frequency, height) a parabola through it, elsewhere nothing."""
    hertz = np.arange(5.0, 200.0, step)
    curve = np.zeros(len(hertz))
    for top, height in tops:
        curve = np.maximum(curve, height * (1 - ((hertz - top) / (4 * step)) ** 2))
    return hertz, curve


def test_a_peak_of_a_spectrum_is_the_top_of_the_parabola_through_it() -> None:
    """Three points of a parabola give its top exactly, wherever it lies between them."""
    tops = [(40.13, 5e-6), (90.0, 3e-6), (150.37, 1e-6)]
    found = spectrum._peaks(*parabolas(tops), span=1e6)
    assert [(p.frequency_hz, p.amplitude_m) for p in found] == [pytest.approx(top, rel=1e-9) for top in tops]


def test_of_many_peaks_the_four_largest_down_to_a_tenth_are_told() -> None:
    """Four: our choice, said in the page on results; hardly more than a tenth still counts, less does not."""
    many = [(20.0 + 20 * k, (9 - k) * 1e-6) for k in range(7)]
    assert [p.frequency_hz for p in spectrum._peaks(*parabolas(many), span=1e6)] == pytest.approx([20, 40, 60, 80])
    tenth = spectrum._peaks(*parabolas([(40.0, 1e-5), (90.0, 1.01e-6)]), span=1e6)
    assert len(tenth) == 2
    assert len(spectrum._peaks(*parabolas([(40.0, 1e-5), (90.0, 0.99e-6)]), span=1e6)) == 1


def test_a_peak_of_a_response_is_the_top_of_the_parabola_through_it() -> None:
    tops = [(61.03, 5e-6), (122.017, 3e-6)]
    found = response._peaks(*parabolas(tops, 0.05))
    assert [(p.frequency_hz, p.gain_s2) for p in found] == [pytest.approx(top, rel=1e-9) for top in tops]


def test_a_flat_top_of_three_equal_points_is_told_where_it_stands() -> None:
    """No parabola has its top there more than elsewhere: nothing is moved, nothing divided by nothing."""
    curve = np.zeros(len(HERTZ))
    curve[100:103] = [0.9e-6, 1e-6, 1e-6]
    (peak,) = spectrum._peaks(HERTZ, curve, span=1e6)
    assert HERTZ[101] <= peak.frequency_hz <= HERTZ[102]


def test_the_tool_rests_at_the_last_row_or_half_way_between_its_extremes() -> None:
    still = Still(0, None, 1.0, 2.0, 2e-6, 6e-6)
    assert settled(np.array([]), None, still) == pytest.approx(4e-6)
    assert settled(np.array([1e-6, 3e-6]), None, still) == 3e-6
    # A weighted mean: one row counts three times as much as the other.
    assert settled(np.array([1e-6, 5e-6]), np.array([1.0, 3.0]), still) == pytest.approx(4e-6)


def test_rows_further_apart_at_the_end_of_a_record_do_not_change_what_it_tells() -> None:
    """A thinned record keeps every row of the beginning and each fifth of the rest: the frequency is the closed form's."""
    plan = CornerPlan([[0.0, 0.0], [0.05, 0.0]], settle=0.6)
    trace = trace_of(plan, sprung(plan, 37.0, 0.03, 0))
    (whole,) = [r for r in find_ringdowns(trace, plan) if r.axis == "x"]
    start = int(np.searchsorted(trace.t_s, plan.move_s + 0.25))
    kept = np.r_[0:start, start : len(trace.t_s) : 5]
    fields: dict[str, Any] = {
        name: value[kept] for name, value in vars(trace).items()
        if isinstance(value, np.ndarray) and value.ndim and len(value) == len(trace.t_s)
    }  # fmt: skip
    (thin,) = [r for r in find_ringdowns(replace(trace, **fields), plan) if r.axis == "x"]
    for seen in (whole, thin):
        assert seen.decay is not None
        assert seen.decay.frequency_hz == pytest.approx(37.0 * np.sqrt(1 - 0.03**2), rel=2e-3)


def test_guides_that_stick_may_raise_a_mode_up_to_where_they_hold() -> None:
    """Between the sliding mode and the one with all bristles held any frequency is the mode's own; beyond, less and less."""
    system = model_of(shipped("desk-corexy"))
    mode = bare_modes(system)[0]
    omega = 2 * np.pi * mode.frequency_hz
    held = np.sqrt(omega**2 + sum(f.sigma0_n_m * (f.row @ mode.shape) ** 2 for f in system.frictions)) / (2 * np.pi)
    assert held > mode.frequency_hz
    for hertz in (mode.frequency_hz, 0.5 * (mode.frequency_hz + held), held):
        assert _nearness(system, mode, hertz) == pytest.approx(1.0, abs=1e-9)
    nearer, farther = (_nearness(system, mode, held * by) for by in (1.02, 1.05))
    assert 1.0 > nearer > farther > 0
    below = [_nearness(system, mode, mode.frequency_hz / by) for by in (1.02, 1.05)]
    assert below == pytest.approx([nearer, farther], rel=1e-6)
