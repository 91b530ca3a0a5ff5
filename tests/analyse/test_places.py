"""The worst places of a program and its levels, from paths written down by hand: which count, how far apart, how fast."""

from __future__ import annotations

import numpy as np
import pytest
from beltspring.sim.analyse import ripples
from beltspring.sim.analyse.ripples import RippleBins, RippleMap

from tests.programs.test_ripples import rows


def told(
    along: np.ndarray, error: np.ndarray, z: np.ndarray | float = 1e-3, laid: np.ndarray | None = None
) -> RippleMap:
    """The map of a straight path along X, off it in Y, all of it laid unless said otherwise."""
    bins = RippleBins(1e-3)
    bins(rows(along, error, np.ones(len(along), bool) if laid is None else laid, z), along)
    return bins.map()


def spikes(along: np.ndarray, at: dict[float, float], else_m: float = 0.0) -> np.ndarray:
    error = np.full(len(along), else_m)
    for place, size in at.items():
        error[int(np.argmin(np.abs(along - place)))] = size
    return error


ALONG = np.arange(0.0, 0.1, 5e-5)


def test_the_eight_worst_places_are_told_the_worst_first() -> None:
    """Eight: our choice, said on the page on results. Ten spikes a centimetre apart, the largest in no order of the path."""
    sizes = [31.0, 95.0, 17.0, 88.0, 44.0, 72.0, 25.0, 63.0, 56.0, 80.0]
    at = {0.005 + 0.01 * k: 1e-6 * size for k, size in enumerate(sizes)}
    found = told(ALONG, spikes(ALONG, at)).places
    assert [p.error_m * 1e6 for p in found] == pytest.approx(sorted(sizes, reverse=True)[:8])
    assert [p.number for p in found] == [1, 2, 3, 4, 5, 6, 7, 8]
    assert found[0].point == pytest.approx((0.015, 0.0, 1e-3))
    whole = told(ALONG, spikes(ALONG, at))
    assert whole.point.shape == (len(whole.error_m), 3)


def test_a_tenth_of_the_worst_is_still_a_place_and_two_millimetres_make_two() -> None:
    """Both are our choices: the list is of what matters, and nearer together one sees one place."""
    beside = {0.02: 50e-6, 0.0219: 40e-6, 0.0221: 30e-6, 0.05: 5.1e-6, 0.08: 4.9e-6}
    found = told(ALONG, spikes(ALONG, beside)).places
    assert [p.error_m for p in found] == pytest.approx([50e-6, 30e-6, 5.1e-6])


@pytest.mark.parametrize(("share", "levels"), [(0.72, 3), (0.68, 2)])
def test_a_place_counts_the_levels_that_are_about_as_bad(share: float, levels: int) -> None:
    """The same three centimetres on three levels; above, the middle error as large and on the lowest a share of it."""
    step = np.arange(0.0, 0.03, 5e-5)
    n = len(step)
    error = np.concatenate([spikes(step, {0.01: size}) for size in (40e-6 * share, 40e-6, 39e-6)])
    path = np.arange(3 * n) * 5e-5
    data = rows(np.tile(step, 3), error, np.ones(3 * n, bool), np.repeat([1e-3, 2e-3, 3e-3], n))
    bins = RippleBins(1e-3)
    bins(data, path)
    found = bins.map()
    (worst,) = found.places
    assert worst.levels == levels
    assert worst.point[2] == pytest.approx(2e-3)
    assert [level.max_m for level in found.levels] == pytest.approx([40e-6 * share, 40e-6, 39e-6])


def test_a_level_is_as_high_as_the_middle_of_what_lies_on_it() -> None:
    """Heights 4 um apart are one level (a screw's step is no other level), 6 um apart are two."""
    z = np.repeat([1e-3, 1.004e-3, 1.010e-3], 600)
    found = told(np.arange(1800) * 5e-5, np.full(1800, 1e-6), z)
    assert [level.z_m for level in found.levels] == pytest.approx([1.002e-3, 1.010e-3], abs=1e-9)


def test_bands_are_as_high_as_their_middles(monkeypatch: pytest.MonkeyPatch) -> None:
    """A ramp from 0 to 50 mm cut into ten bands of equal height: 2.5, 7.5, .. mm (to half a bin of the map)."""
    monkeypatch.setattr(ripples, "MOST_LEVELS", 10)
    along = np.arange(0.0, 0.05, 5e-5)
    found = told(along, np.full(len(along), 1e-6), along)
    assert [level.z_m for level in found.levels] == pytest.approx(np.arange(2.5e-3, 50e-3, 5e-3), abs=1.1e-4)


def test_how_fast_it_goes_at_a_place_is_way_over_time() -> None:
    """Rows a millisecond apart: 50 um between them are 50 mm/s, 20 um 20 mm/s, whichever piece of the run they come in."""
    along = np.concatenate([np.arange(0, 500) * 5e-5, 0.025 + np.arange(0, 500) * 2e-5])
    error = spikes(along, {0.01: 30e-6, 0.03: 20e-6})
    whole = rows(along, error, np.ones(1000, bool))
    bins = RippleBins(1e-3)
    for part in (slice(0, 201), slice(201, 1000)):
        bins(whole[part], along[part])
    fast, slow = bins.map().places
    assert fast.speed_m_s == pytest.approx(0.05)
    assert slow.speed_m_s == pytest.approx(0.02)


@pytest.mark.parametrize(("command_off", "share"), [(0.0, 1.0), (0.25, 0.75), (1.0, 0.0)])
def test_the_machines_share_is_what_the_command_leaves(command_off: float, share: float) -> None:
    """The command itself lies off the line by so much of the error; the axis is where the error lies."""
    error = spikes(ALONG, {0.05: 40e-6})
    data = rows(ALONG, error, np.ones(len(ALONG), bool))
    data.commanded[:, 1] = command_off * error
    bins = RippleBins(1e-3)
    bins(data, ALONG)
    (worst,) = bins.map().places
    assert worst.machine_share == pytest.approx(share)
    assert worst.axis == "y"


def test_an_error_along_x_is_told_of_x() -> None:
    """The same path turned: along Y, off it in X."""
    error = spikes(ALONG, {0.05: 40e-6})
    data = rows(ALONG, error, np.ones(len(ALONG), bool))
    for place in (data.tool, data.commanded, data.asked):
        place[:, [0, 1]] = place[:, [1, 0]]
    data.off_path[:, 2:4] = data.asked[:, :2]
    bins = RippleBins(1e-3)
    bins(data, ALONG)
    (worst,) = bins.map().places
    assert worst.axis == "x"
    assert worst.machine_share == pytest.approx(1.0)
