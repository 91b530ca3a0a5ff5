"""The ripple map: where on the part the tool strays, on which level, in which line, and why."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.analyse import ripples
from beltspring.sim.analyse.place_cause import place_cause
from beltspring.sim.analyse.ringing import Ringing
from beltspring.sim.analyse.ripples import Place, RippleBins
from beltspring.sim.chain.chain import prepare, simulate_prepared, simulate_scenario
from beltspring.sim.scenario.load import load_scenario, with_changes, with_variant
from beltspring.sim.scenario.motion import MotionLimits, ShaperSpec
from beltspring.sim.trace import Rows, Slip

from tests.support import SIMPLE

LIMITS = MotionLimits(0.15, 5.0, 0.0, 0.005, 0.0)
# Two levels; on each a corner at X80 Y50, from line 7 into 8 and from 15 into 16. Before and after it nothing that
# rings is laid: the tool waits, and goes on without laying before it stops.
CORNERS = """G21 G90
M82
G0 X20 Y50 Z1
G92 E0
G4 P0.5
G1 F9000 E0
G1 X80 E2
G1 Y70 E4
G0 Y90
G0 X20 Y50
G92 E0
G0 Z2
G4 P0.5
G1 F9000 E0
G1 X80 E2
G1 Y70 E4
G0 Y90
"""


def rows(along_m: np.ndarray, error_m: np.ndarray, laid: np.ndarray, z_m: np.ndarray | float = 0.001) -> Rows:
    """Rows on a straight path along X, off it by `error_m` in Y, commanded exactly on it."""
    n = len(along_m)
    on = np.c_[along_m, np.zeros(n), np.broadcast_to(z_m, n)]
    tool = on + np.c_[np.zeros(n), error_m, np.zeros(n)]
    off = np.c_[np.abs(error_m), np.zeros(n), along_m, np.zeros(n), np.ones(n), np.zeros(n)]
    none = np.zeros((n, 0))
    return Rows(
        np.arange(n) * 1e-3, on, on.copy(), tool, none, none, none, none, none, none, laid,
        np.arange(1, n + 1, dtype=np.int32), off,
    )  # fmt: skip


def test_bins_keep_the_largest_error_and_where_it_was():
    along = np.linspace(0, 0.01, 2001)
    error = 1e-6 * (1 + np.sin(2 * np.pi * along / 0.0031)) * (1 + 100 * along)
    bins = RippleBins(1e-3)
    for part in np.array_split(np.arange(2001), 7):
        bins(rows(along, error, np.ones(2001, bool))[slice(part[0], part[-1] + 1)], along[part])
    found = bins.map()
    number = np.floor(along / found.bin_m + 1e-9).astype(int)
    for k in range(number.max()):
        own = number == k
        assert found.error_m[k] == pytest.approx(error[own].max(), abs=1e-12)
    top = int(np.argmax(error))
    assert found.places[0].line == top + 1
    assert found.places[0].error_m == pytest.approx(error[top])
    assert found.places[0].axis == "y"
    assert found.places[0].machine_share == pytest.approx(1.0)


def test_longer_paths_get_longer_bins_and_lose_no_maximum(monkeypatch):
    monkeypatch.setattr(ripples, "MOST_BINS", 256)
    monkeypatch.setattr(ripples, "MOST_WAITING", 500)
    rng = np.random.default_rng(3)
    along = np.linspace(0, 1.0, 40_001)
    error = np.abs(rng.normal(0, 1e-6, 40_001))
    error[31_234] = 1e-3
    bins = RippleBins(1e-3)
    whole = rows(along, error, np.ones(40_001, bool))
    for part in np.array_split(np.arange(40_001), 50):
        bins(whole[slice(part[0], part[-1] + 1)], along[part])
    found = bins.map()
    assert 64 < len(found.error_m) <= 256
    assert found.bin_m > 1e-4
    assert found.places[0].line == 31_235
    ends = np.r_[np.flatnonzero(np.diff(np.floor(along / found.bin_m + 1e-12))) + 1, 40_001]
    by_hand = [error[a:b].max() for a, b in zip(np.r_[0, ends[:-1]], ends, strict=True)]
    assert np.sort(found.error_m) == pytest.approx(np.sort(by_hand), abs=1e-12)


def test_only_what_is_laid_counts_where_anything_is():
    along = np.linspace(0, 0.05, 5001)
    error = np.full(5001, 1e-6)
    error[1000], error[4000] = 9e-5, 5e-5
    laid = along > 0.02
    bins = RippleBins(1e-3)
    bins(rows(along, error, laid), along)
    found = bins.map()
    assert found.lays
    assert found.places[0].line == 4001
    nothing = RippleBins(1e-3)
    nothing(rows(along, error, np.zeros(5001, bool)), along)
    found = nothing.map()
    assert not found.lays
    assert found.places[0].line == 1001


def test_levels_by_height():
    along = np.linspace(0, 0.03, 3000, endpoint=False)
    z = 0.2e-3 * (1 + np.floor(along / 0.01))
    error = 1e-6 * z / 0.2e-3
    bins = RippleBins(1e-3)
    bins(rows(along, error, np.ones(3000, bool), z), along)
    found = bins.map()
    assert [level.z_m for level in found.levels] == pytest.approx([0.2e-3, 0.4e-3, 0.6e-3])
    assert [level.max_m for level in found.levels] == pytest.approx([1e-6, 2e-6, 3e-6])
    assert [level.rms_m for level in found.levels] == pytest.approx([1e-6, 2e-6, 3e-6])


def test_a_slope_of_many_heights_is_put_into_bands(monkeypatch):
    monkeypatch.setattr(ripples, "MOST_LEVELS", 20)
    along = np.linspace(0, 0.03, 30_000)
    bins = RippleBins(1e-3)
    bins(rows(along, np.full(30_000, 1e-6), np.ones(30_000, bool), along), along)
    found = bins.map()
    assert 15 <= len(found.levels) <= 20
    assert sum(len(level.bins) for level in found.levels) == len(found.error_m)


def test_the_corner_that_rings_is_found_on_both_levels(following):
    outcome = simulate_prepared(prepare(following(CORNERS)))
    found = outcome.analysis.ripples
    assert [level.z_m for level in found.levels] == pytest.approx([1e-3, 2e-3])
    worst = found.places[0]
    # Past the corner the tool overshoots in X, for it still moves that way.
    assert np.hypot(worst.point[0] - 0.080, worst.point[1] - 0.050) < 3e-3
    assert worst.axis == "x"
    assert worst.levels == 2
    assert worst.line in (7, 8, 15, 16)
    assert worst.error_m == pytest.approx(found.levels[0].max_m, rel=0.5)
    laid = outcome.trace.depositing
    lines = outcome.trace.source_line
    assert laid[np.isin(lines, (7, 8, 15, 16))].mean() > 0.95
    assert not laid[np.isin(lines, (3, 9, 10, 12, 17))].any()
    # As a channel with its width.
    assert np.unique(outcome.trace.printed_width_m) == pytest.approx([0.0, 0.45e-3])
    wide = simulate_prepared(prepare(following(CORNERS, move__line_width_mm=0.6)))
    assert wide.trace.printed_width_m.max() == pytest.approx(0.6e-3)


def test_a_place_is_told_with_its_cause_and_no_advice(following):
    keys = {"detail": "simple", "motion__acceleration_mm_s2": 15_000}
    outcome = simulate_prepared(prepare(following(CORNERS, **keys)))
    places, causes = outcome.analysis.ripples.places, outcome.place_causes
    assert len(causes) == len(places)
    ringing = outcome.analysis.ringing["x"]
    assert causes[0].startswith(f"X rings at {ringing.frequency_hz:.3g} Hz: the frame on its panels (")
    # What nobody simulated is not said: neither a value to write nor a thing to lower or raise.
    for words in (*causes, *outcome.analysis.sentences):
        assert not re.search(r"\b(lower|raise|try|take|write|give)\b", words)


PLACE = Place(1, 60e-6, (0.1, 0.1, 0.0), 12, 1.0, 0.1, "x", 1.0, 1)
ZV = {"x": ShaperSpec("zero-vibration", 60.0, 0.05), "y": ShaperSpec("zero-vibration", 60.0, 0.05)}
RINGS = {"x": Ringing("x", 5e-5, 60.0, 0.05, 0.1, "leg 1", 0.1, 0.3), "y": None}
BELTS = {"x": ("the belts (92 %)",), "y": ()}
SLIP = Slip("a", 0.5, 4, 4, 1)


@pytest.mark.parametrize(
    ("place", "limits", "shapers", "slips", "slack", "words"),
    [
        (replace(PLACE, error_m=3e-6), LIMITS, {}, (), (), "hardly to be seen"),
        (PLACE, LIMITS, {}, (), (), "X rings at 60 Hz: the belts (92 %)"),
        (PLACE, LIMITS, ZV, (), (), "X rings at 60 Hz: the belts (92 %)"),
        (replace(PLACE, axis="y"), LIMITS, {}, (), (), "the machine gives way along Y while it speeds up or slows down"),
        (PLACE, LIMITS, {}, (SLIP,), (), "motor a is out of step from here on or before"),
        (PLACE, LIMITS, {}, (replace(SLIP, time_s=2.0),), (), "X rings at 60 Hz: the belts (92 %)"),
        (PLACE, LIMITS, {}, (), ("b",), "belt b hangs slack in this run"),
        (replace(PLACE, machine_share=0.1), LIMITS, ZV, (), (),
         "the shapers round the corner: the command itself is off the line here"),
        # At least half of it in the machine; a tolerance of three tenths of it explains it.
        (replace(PLACE, machine_share=0.52), LIMITS, ZV, (), (), "X rings at 60 Hz: the belts (92 %)"),
        (replace(PLACE, machine_share=0.48), LIMITS, ZV, (), (),
         "the shapers round the corner: the command itself is off the line here"),
        (replace(PLACE, machine_share=0.1), replace(LIMITS, corner_tolerance_m=18.9e-6), {}, (), (),
         "the corner is cut on purpose: motion.corner_tolerance_mm = 0.0189"),
        (replace(PLACE, machine_share=0.1), replace(LIMITS, corner_tolerance_m=17.4e-6), {}, (), (),
         "X rings at 60 Hz: the belts (92 %)"),
        (replace(PLACE, machine_share=0.1), replace(LIMITS, corner_tolerance_m=1e-4), {}, (), (),
         "the corner is cut on purpose: motion.corner_tolerance_mm = 0.1"),
    ],
)  # fmt: skip
def test_one_cause_for_a_place(place, limits, shapers, slips, slack, words):
    assert place_cause(place, limits, shapers, RINGS, BELTS, slips, slack) == words


def test_the_shipped_key_tag_shows_what_shaping_does():
    tag = load_scenario("key-tag")
    plain, shaped = (simulate_scenario(one).analysis for one in (tag, with_variant(tag, "shaped")))
    assert plain.ripples.lays
    assert len(plain.ripples.levels) == 4
    assert plain.ripples.places[0].error_m > 50e-6
    # A shaper meets one mode of an axis; the machine that sways on its feet keeps the others.
    assert shaped.ripples.places[0].error_m < 0.6 * plain.ripples.places[0].error_m


def test_where_an_axis_has_one_mode_the_shaped_key_tag_hardly_rings():
    # Detent shakes the tool at every full step, whatever the command's shape; it is off.
    tag = with_changes(load_scenario("key-tag"), SIMPLE | {"motors.detent_nm": 0})
    plain, shaped = (simulate_scenario(one).analysis for one in (tag, with_variant(tag, "shaped")))
    assert plain.ripples.places[0].error_m > 50e-6
    assert shaped.ripples.places[0].error_m < 20e-6
