"""Judged ringing: which speeds, which mean, what is left out, and that luck at one speed no longer decides."""

from __future__ import annotations

import math

import numpy as np
import pytest
from beltspring.sim.analyse.ringing import largest_peak
from beltspring.sim.chain.chain import prepare, simulate_scenario
from beltspring.sim.chain.judged import (
    SPEEDS,
    judge_outcome,
    judge_outcomes,
    judge_ringing,
    judged_words,
    loudest_hz,
    of_corners,
    paces_of,
)
from beltspring.sim.model.modes import modes
from beltspring.sim.scenario.load import with_changes, with_variant

from tests.support import shipped

#: One spring and one mass along X: m = 0.2 kg, k = 50 N/mm, so that f = sqrt(k / m) / 2 pi (see the file).
STEP = {"move.pattern": "step", "move.axis": "x", "move.size_mm": 60}


def test_thirteen_speeds_over_a_fifth_where_the_machine_is_stiff():
    ready = prepare(shipped("spring-mass"))
    hertz = loudest_hz(ready)
    assert hertz is not None
    # By hand: a / (2 f) is under a fifth of the speed.
    assert 3.0 / (2 * hertz) < 0.2 * 0.1
    paces = paces_of(ready)
    assert paces is not None
    assert paces.factors == pytest.approx([0.8 + i / 30 for i in range(SPEEDS)], abs=1e-15)
    assert paces.factors[6] == 1.0


@pytest.mark.parametrize(("acceleration", "speed", "cut"), [(6000, 100, False), (20000, 100, True)])
def test_thirteen_speeds_over_one_period_where_it_is_soft(acceleration, speed, cut):
    """v +- a / (2 f), f that of the lowest mode along X, which alone the move pushes; never under 0.3 v."""
    changed = {"motion.acceleration_mm_s2": acceleration, "motion.speed_mm_s": speed, **STEP}
    ready = prepare(shipped("spring-mass", changed))
    only = [m for m in modes(ready.system) if abs(m.tool_share[0]) > 0.1]
    assert len(only) == 1
    paces = paces_of(ready)
    assert paces is not None
    half = acceleration / (2 * only[0].frequency_hz * speed)
    assert (1 - half < 0.3) == cut
    assert paces.factors[0] == pytest.approx(max(0.3, 1 - half), rel=2e-3)
    assert paces.factors[-1] == pytest.approx(1 + half, rel=2e-3)
    assert np.ptp(np.diff(paces.factors)) < 1e-12


def test_judged_is_the_root_mean_square_of_runs_of_their_own():
    scenario = shipped("desk-corexy", {"detail": "simple", "motion.speed_mm_s": 140})
    paces = paces_of(prepare(scenario))
    assert paces is not None
    peaks = []
    for factor in paces.factors:
        one = simulate_scenario(with_changes(scenario, {"motion.speed_mm_s": 140 * factor}))
        peak = largest_peak(one.trace, one.plan)
        assert peak is not None
        peaks.append(peak)
    outcome = simulate_scenario(scenario)
    judged = judge_outcome(outcome)
    assert judged is not None
    assert judged.judged_m == pytest.approx(math.sqrt(sum(p * p for p in peaks) / SPEEDS), rel=1e-6)
    assert (judged.least_m, judged.most_m) == pytest.approx((min(peaks), max(peaks)), rel=1e-6)
    loud = int(np.argmax(peaks))
    assert judged.most_at_m_s == pytest.approx(0.140 * paces.factors[loud], rel=1e-12)
    assert judged.speeds_m_s == pytest.approx((0.140 * paces.factors[0], 0.140 * paces.factors[-1]), rel=1e-12)
    words = judged_words(judged, outcome)
    assert (
        f"{1e6 * peaks[6]:.0f} µm at 140 mm/s; {1e6 * min(peaks):.0f} to {1e6 * max(peaks):.0f} µm at speeds" in words
    )


def test_all_designs_run_at_the_firsts_shares_of_their_own_speed():
    base = shipped("desk-corexy", {"detail": "simple"})
    fast = with_changes(base, {"motion.speed_mm_s": 200})
    paces = paces_of(prepare(base))
    assert paces is not None
    one, two = judge_outcomes([simulate_scenario(base), simulate_scenario(fast)])
    assert one is not None
    assert two is not None
    assert one.speeds_m_s == pytest.approx((0.150 * paces.factors[0], 0.150 * paces.factors[-1]))
    assert two.speeds_m_s == pytest.approx((0.200 * paces.factors[0], 0.200 * paces.factors[-1]))
    alone = judge_ringing([prepare(fast)], paces)[0]
    assert alone is not None
    assert alone.judged_m == two.judged_m


@pytest.mark.parametrize(
    ("current", "acceleration", "speed", "left_out"),
    [(0.5, 12000, 200, range(1)), (0.35, 9000, 150, range(1, 7)), (0.25, 9000, 320, range(7, 14))],
)
def test_speeds_with_a_slipping_motor_are_left_out_and_told(current, acceleration, speed, left_out):
    weak = {"motors.current_a": current, "motion.acceleration_mm_s2": acceleration, "motion.speed_mm_s": speed}
    outcome = simulate_scenario(shipped("desk-corexy", {"detail": "simple", "move.size_mm": 100} | weak))
    judged = judge_outcome(outcome)
    assert judged is not None
    left = len(judged.slipping_m_s)
    assert left in left_out
    assert left + judged.counted == SPEEDS
    assert int(np.isnan(judged.peaks_m).sum()) == left
    words = judged_words(judged, outcome)
    if left > 6:
        assert (judged.judged_m, judged.least_m, judged.most_m, judged.speeds_m_s) == (None, None, None, None)
        assert f"at {left} of 13 speeds around this one a motor slips" in words
    else:
        assert judged.judged_m == pytest.approx(math.sqrt(np.nanmean(judged.peaks_m**2)))
        assert ("left out" in words) == (left > 0)
    for slipping in judged.slipping_m_s if 0 < left < 7 else ():
        assert f"{1e3 * slipping:.0f}" in words.split("left out")[1]


def test_a_chirp_has_no_verdict():
    assert paces_of(prepare(shipped("desk-corexy", {"detail": "simple", "move.pattern": "chirp"}))) is None


def test_a_program_of_short_pieces_is_judged_by_its_corners(tmp_path):
    # At 4 m/s2 a piece of 4 mm gets no faster than sqrt(4 * 0.004) = 126 mm/s: 200 mm/s is never reached.
    path = tmp_path / "short.gcode"
    path.write_text(
        "G21\nG90\nG1 F12000\n" + "".join(f"G1 X{4 + 4 * i}\nG4 P0.15\nG1 Y{4 + 4 * i}\nG4 P0.15\n" for i in range(6))
    )
    changed = {"detail": "simple", "move.gcode": str(path), "motion.speed_mm_s": 200, "motion.acceleration_mm_s2": 4000}
    ready = prepare(shipped("key-tag", changed))
    paces = paces_of(ready)
    assert paces is not None
    assert paces.corners
    outcome = simulate_scenario(ready.scenario)
    judged = judge_outcome(outcome)
    assert judged is not None
    assert judged.speeds_m_s is None
    assert judged.most_at_m_s is None
    assert judged.counted >= 12
    assert judged.judged_m == pytest.approx(math.sqrt(float(np.mean(judged.peaks_m**2))))
    assert f"at its {judged.counted} corners" in judged_words(judged, outcome)
    # The same pieces at a speed they reach are judged over speeds, by the speed of the pieces.
    reached = prepare(with_changes(ready.scenario, {"motion.speed_mm_s": 60}))
    known = paces_of(reached)
    assert known is not None
    assert not known.corners
    assert known.speed_m_s == pytest.approx(0.060)


def test_corners_by_hand():
    judged = of_corners(np.array([3e-6, 4e-6, np.nan, 12e-6]))
    assert judged is not None
    assert judged.judged_m == pytest.approx(13e-6 / math.sqrt(3))  # 9 + 16 + 144 = 13^2
    assert judged.least_m == pytest.approx(3.2e-6)  # a tenth of the way from the first to the last of three
    assert judged.most_m == pytest.approx(10.4e-6)
    assert of_corners(np.array([np.nan])) is None


@pytest.mark.parametrize("detail", ["simple", "full"])
def test_belts_keep_their_order_where_one_speed_turns_it_round(detail):
    """6 mm glass, 9 mm glass, 6 mm steel: stiffer rings less, at every speed asked; the peak at that speed does not say so."""
    parts = ("belt-2mm-6-glass", "belt-2mm-9-glass", "belt-2mm-6-steel")
    orders, judged_orders = set(), set()
    for speed in (130, 160):
        changed = {"detail": detail, "motion.speed_mm_s": speed}
        designs = [prepare(shipped("desk-corexy", changed | {"belts.part": part})) for part in parts]
        found = judge_ringing(designs)
        assert all(j is not None and j.judged_m is not None for j in found)
        orders.add(tuple(np.argsort([j.peaks_m[6] for j in found if j is not None])))
        judged_orders.add(tuple(np.argsort([-(j.judged_m or 0.0) for j in found if j is not None])))
    assert judged_orders == {(0, 1, 2)}
    assert len(orders) == 2


def test_the_damped_spring_wins():
    """At its own speed what the first ramp left meets what the last one leaves, and no damping at all rings less."""
    base = shipped("spring-mass")
    damped, free = judge_ringing([prepare(base), prepare(with_variant(base, "no damping"))])
    assert damped is not None
    assert free is not None
    assert free.peaks_m[6] < damped.peaks_m[6]
    assert (free.judged_m or 0.0) > 1.5 * (damped.judged_m or 0.0)


@pytest.mark.parametrize("size", [396, 440, 484])
def test_a_tenth_of_size_does_not_turn_profiles_round(size):
    parts = ("slot-2020", "slot-2040", "slot-4040")
    bare = {f"frame.panels.{place}.part": "none" for place in ("sides", "rear", "top")}
    frame = {"frame.width_mm": size, "frame.depth_mm": size, "frame.height_mm": size, **bare}
    found = judge_ringing([prepare(shipped("desk-corexy", {"frame.part": p, **frame})) for p in parts])
    told = [j.judged_m for j in found if j is not None and j.judged_m is not None]
    assert len(told) == 3
    assert told[0] > 1.1 * told[1] > 1.1 * 1.1 * told[2]
