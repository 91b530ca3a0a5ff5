"""Named peaks: what is told of the ringing first, and whatever else stands out, with its cause."""

from __future__ import annotations

import pytest
from beltspring.sim import load, run


@pytest.fixture(scope="module")
def desk():
    return run(load("desk-corexy"))


def test_what_is_told_is_named_at_its_frequency(desk):
    told = {p.axis: p.frequency_hz for p in desk.named_peaks if p.told}
    assert told == {axis: r.frequency_hz for axis, r in desk.analysis.ringing.items()}


def test_the_tallest_peak_is_named_with_what_swings_there(desk):
    tallest = max((p for s in desk.analysis.spectra.values() for p in s.peaks), key=lambda p: p.amplitude_m)
    assert tallest.frequency_hz < 10  # the machine on its rubber feet
    first = desk.named_peaks[0]
    assert first.frequency_hz == tallest.frequency_hz
    assert "feet" in first.behind.words
    assert first.words.startswith(f"{first.axis.upper()} also at ")


def test_a_peak_is_not_named_twice(desk):
    for axis in "xy":
        mine = [p.frequency_hz for p in desk.named_peaks if p.axis == axis]
        assert len(mine) == len(set(mine))
        told = desk.analysis.ringing[axis].frequency_hz
        assert [hz for hz in mine if abs(hz / told - 1) < 0.1] == [told]


def test_nothing_is_named_after_a_chirp():
    assert run(load("desk-corexy", ["move.pattern=chirp"])).named_peaks == ()
