"""Peaks out of curves with known tops, places of rest, and thinned records: all written down from closed forms."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from beltspring.sim.analyse import cause, response, spectrum
from beltspring.sim.analyse.analysis import Analysis, _height
from beltspring.sim.analyse.cause import _nearness, behind_at, causes
from beltspring.sim.analyse.ringing.ringdown import find_ringdowns, worst
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


def test_an_axis_that_never_stands_still_has_an_empty_spectrum() -> None:
    plan = CornerPlan([[0.0, 0.0], [0.05, 0.0]], settle=0.6)
    found = spectrum.spectrum(trace_of(plan), [], "y")
    assert (found.axis, found.ringdowns, found.peaks) == ("y", 0, ())
    assert len(found.frequency_hz) == len(found.amplitude_m) == 0


def test_a_flat_top_of_three_equal_points_is_told_where_it_stands() -> None:
    """No parabola has its top there more than elsewhere: nothing is moved, nothing divided by nothing."""
    curve = np.zeros(len(HERTZ))
    curve[100:103] = [0.9e-6, 1e-6, 1e-6]
    (peak,) = spectrum._peaks(HERTZ, curve, span=1e6)
    assert HERTZ[101] <= peak.frequency_hz <= HERTZ[102]


def test_the_tool_rests_at_the_last_row_or_half_way_between_its_extremes() -> None:
    still = Still(0, None, 1.0, 2.0, 2e-6, 6e-6)
    assert still.swing_m == pytest.approx(4e-6)
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
    # It falls as a bell curve does: twice as far away the fourth power.
    once, twice = (_nearness(system, mode, held * np.exp(off)) for off in (0.05, 0.1))
    assert twice == pytest.approx(once**4, rel=1e-6)
    # A quarter away (of the logarithm) is as far as a mode may lie: our choice.
    assert _nearness(system, mode, held * np.exp(0.24)) > 0.0
    assert _nearness(system, mode, held * np.exp(0.26)) == 0.0


def test_a_tone_far_from_every_mode_has_none_behind_it() -> None:
    """Half the lowest frequency, or six times the highest: no guide that sticks brings any mode there."""
    system = model_of(shipped("desk-corexy", {"detail": "simple"}))
    known = bare_modes(system)
    for hertz in (0.5 * known[0].frequency_hz, 6 * known[-1].frequency_hz):
        assert behind_at(system, known, 0, hertz).mode is None
        assert behind_at(system, known, 0, hertz).words == "no mode of the model lies near"
    assert behind_at(system, known, 0, known[0].frequency_hz).mode is not None


def test_what_is_behind_a_ringing_is_sought_where_that_axis_rang(monkeypatch: pytest.MonkeyPatch) -> None:
    """X stops at X 50 mm, Y then at Y 30 mm: the machine is another one at each place."""
    plan = CornerPlan([[0.0, 0.0], [0.05, 0.0], [0.05, 0.03]], settle=0.6)
    trace = trace_of(plan, sprung(plan, 37.0, 0.03, 0), sprung(plan, 45.0, 0.03, 1))
    downs = find_ringdowns(trace, plan)
    asked: list[Any] = []
    monkeypatch.setattr(cause, "bare_modes", lambda system, place: asked.append(place.tolist()) or [])
    for axis in "xy":
        causes(model_of(shipped("desk-corexy", {"detail": "simple"})), trace, downs, worst(downs, axis))
    assert asked[0] == pytest.approx([0.05, 0.0, 0.0], abs=1e-6)
    assert asked[1] == pytest.approx([0.05, 0.03, 0.0], abs=1e-6)


def test_how_far_the_height_is_off_is_the_largest_of_every_step_and_the_rms_over_time() -> None:
    """A sine of 12 um: its rms is that over the square root of two; the largest comes from every step, not from the rows."""
    t = np.linspace(0.0, 1.0, 2001)
    commanded = np.tile([0.1, 0.1, 0.002], (2001, 1))
    tool = commanded + 12e-6 * np.sin(2 * np.pi * 7 * t)[:, None] * np.array([0.0, 0.0, 1.0])
    trace: Any = SimpleNamespace(t_s=t, tool=tool, commanded=commanded, largest={"off_z": 12.5e-6}.get)
    assert _height(trace) == pytest.approx((12.5e-6, 12e-6 / np.sqrt(2)), rel=1e-4)
    trace.largest = {}.get
    assert _height(trace)[0] == 0.0


def test_what_gives_way_is_that_of_the_told_tone() -> None:
    mode: Any = bare_modes(model_of(shipped("desk-corexy", {"detail": "simple"})))[0]
    known = cause.Behind(40.0, replace(mode, holds=(SimpleNamespace(share=1.0, words="the belts (63 %)"),)))
    nobody = cause.Behind(90.0, None)
    told: Any = SimpleNamespace(behind={"x": (known, nobody), "y": (nobody, known)})
    assert Analysis.gives_way(told, "x") == known.words
    assert known.words == "the belts (63 %)"
    assert Analysis.gives_way(told, "y") == ""
    assert Analysis.gives_way(told, "z") == ""
