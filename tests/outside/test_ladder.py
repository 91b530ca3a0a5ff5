"""A ladder's levels, each against the response of one mass on a spring to that level's last ramp.

Driven by a ramp of constant acceleration a over T = v / a, the mass swings against its base by e'' + 2 z w e' + w^2 e = -a
(any textbook on vibrations); scipy.signal.lsim finds what is left of e after the ramp. The machine is written in the
scenario's words: 40 Hz by k = EA (1/a + 1/b), its free lengths held.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from beltspring.sim.analyse import analyse
from beltspring.sim.analyse.analysis import Analysis
from beltspring.sim.model.modes import modes
from beltspring.sim.simulate.run import run
from scipy.signal import lsim, lti

from tests.support import bare, model_of, plan_of, with_runs

OMEGA = 2 * math.pi * 40.0
RUNS_M = {(belt, side): 0.5 for belt in "xy" for side in ("left", "right", "front", "rear")}
MACHINE = {
    "carriage.mass_g": 500, "bed.mass_g": 500, "belts.ea_n": 0.5 * OMEGA**2 * 0.25, "belts.pretension_n": 100,
    "belts.damping": 0.05, "move.size_mm": 100, "motion.speed_mm_s": 150, "motion.acceleration_mm_s2": 9000,
}  # fmt: skip


@cache
def climbed(pattern: str) -> tuple[Analysis, float]:
    """A ladder's judgement, and the damping ratio its machine has with these lengths."""
    scenario = bare("moving-bed", MACHINE | {"move.pattern": pattern})
    system = with_runs(model_of(scenario), RUNS_M)
    (first, *_) = modes(system)
    assert first.frequency_hz == pytest.approx(40.0, rel=1e-6)
    plan = plan_of(scenario, system)
    return analyse(run(system, plan, record_s=5e-4), plan), first.damping_ratio


def left_after_the_ramp(speed: float, acceleration: float, damping: float) -> float:
    """Largest |e| after a ramp from an even speed to rest, m."""
    ramp = speed / acceleration
    t = np.linspace(0.0, ramp + 0.1, 20_001)
    mass = lti([-1.0], [1.0, 2.0 * damping * OMEGA, OMEGA**2])
    _, e, _ = lsim(mass, np.where(t <= ramp, -acceleration, 0.0), t)
    return float(np.abs(e[t >= ramp]).max())


@pytest.mark.parametrize("pattern", ["acceleration-ladder", "speed-ladder"])
def test_each_level_rings_as_its_ramp_says(pattern: str) -> None:
    analysis, damping = climbed(pattern)
    assert [found.level.number for found in analysis.levels] == [1, 2, 3, 4, 5]
    for found in analysis.levels:
        share = found.level.number / 5
        speed, acceleration = (0.15, 9.0 * share) if pattern == "acceleration-ladder" else (0.15 * share, 9.0)
        assert found.level.value == pytest.approx(acceleration if pattern == "acceleration-ladder" else speed)
        expected = left_after_the_ramp(speed, acceleration, damping)
        for axis in "xy":
            # A hundredth, and 0.1 um: what the legs before have left.
            assert found.peak_m[axis] == pytest.approx(expected, rel=0.01, abs=1e-7)
            if found.peak_m[axis] > 1e-6:
                assert found.frequency_hz[axis] == pytest.approx(40.0, rel=0.01)
    # The worst level of the table is the ringing of the whole run.
    loudest = max(found.loudest_m for found in analysis.levels)
    assert loudest == pytest.approx(max(r.peak_m for r in analysis.ringing.values() if r is not None), rel=1e-3)


def test_the_reading_says_how_far_up_one_may_go() -> None:
    analysis, damping = climbed("acceleration-ladder")
    over = [n for n in range(1, 6) if left_after_the_ramp(0.15, 1.8 * n, damping) > 20e-6]
    said = next(s for s in analysis.sentences if "plain to see" in s and "mm/s²" in s)
    first = f"{1800 * over[0]} mm/s²"
    assert first in said
    if over[0] > 1:
        assert said.startswith(f"Up to {1800 * (over[0] - 1)} mm/s² the ringing stays below 20 µm")
    else:
        assert said.startswith(f"Even on the lowest level, {first}")
