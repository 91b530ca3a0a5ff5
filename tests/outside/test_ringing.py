"""What a ramp leaves ringing, through a whole run, against the shock-spectrum formulas of the textbooks.

Relative motion of one mass on a driven spring, frequency f, w = 2 pi f (Meirovitch; Rao; Thomson: chapters on shock
spectra, from memory; each formula re-derived and checked by integration when these values were made):

    step of velocity dv                     A = dv / w
    ramp of acceleration a lasting T        A = (2 a / w^2) |sin(w T / 2)|
    the same, damped, envelope at its end   A = a / (w^2 sqrt(1 - z^2)) sqrt(1 - 2 e^(-z w T) cos w_d T + e^(-2 z w T))
    a whole move of two ramps, undamped     ramp's A times 2 |sin(w (T_move - T_a) / 2)|
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.model.system import System
from beltspring.sim.simulate.run import run
from beltspring.sim.trace import Trace

from tests.support import bare, model_of, plan_of, with_runs

F_HZ = 40.0
OMEGA = 2 * np.pi * F_HZ
RUNS_M = {(belt, run): 0.5 for belt in "xy" for run in ("left", "right", "front", "rear")}


def one_mass(changes: dict[str, object], zeta: float) -> tuple[System, Trace, float]:
    """A carriage and a bed of 0.5 kg on belts that make exactly 40 Hz: EA = m w^2 L / 2 with two runs of L = 0.5 m."""
    masses = {"carriage.mass_g": 500, "bed.mass_g": 500, "belts.ea_n": 0.5 * OMEGA**2 * 0.25, "belts.pretension_n": 100}
    scenario = bare("moving-bed", masses | changes)
    system = with_runs(model_of(scenario), RUNS_M)
    # c = lag EA / L of every run gives the ratio zeta at this frequency: lag = 2 zeta / w.
    system = replace(system, runs=tuple(replace(r, lag_s=2 * zeta / OMEGA) for r in system.runs))
    plan = plan_of(scenario, system)
    return system, run(system, plan, record_s=1e-4), plan.move_s


def envelope_um(trace: Trace, axis: int, from_s: float, to_s: float, zeta: float) -> float:
    """Amplitude of the free ringing at `from_s`: least squares of e^(-z w t) (c cos w_d t + s sin w_d t), micrometres."""
    inside = (trace.t_s > from_s + 1e-5) & (trace.t_s < to_s - 1e-5)
    t = trace.t_s[inside] - from_s
    off = (trace.tool - trace.commanded)[inside, axis]
    wd = OMEGA * np.sqrt(1 - zeta**2)
    shape = np.exp(-zeta * OMEGA * t)[:, None] * np.c_[np.cos(wd * t), np.sin(wd * t)]
    parts, *_ = np.linalg.lstsq(shape, off, rcond=None)
    assert np.abs(shape @ parts - off).max() < 1e-8  # the motion is this and nothing else, to 10 nm
    return 1e6 * float(np.hypot(*parts))


@pytest.mark.parametrize(
    ("speed_mm_s", "acceleration_mm_s2", "zeta", "amplitude_um"),
    [
        (100, 3000, 0.0, 82.2625),
        (100, 3000, 0.05, 68.558),
        (100, 8000, 0.0, 253.303),
        (200, 3000, 0.0, 82.2625),
        (200, 3000, 0.05, 60.815),
    ],
)
def test_ringing_after_a_ramp(speed_mm_s, acceleration_mm_s2, zeta, amplitude_um):
    ramp_s = speed_mm_s / acceleration_mm_s2
    size_mm = speed_mm_s * (ramp_s + 0.1)  # 0.1 s of even speed between the ramps
    changes = {
        "motion.speed_mm_s": speed_mm_s,
        "motion.acceleration_mm_s2": acceleration_mm_s2,
        "move.size_mm": size_mm,
    }
    _, trace, _ = one_mass(changes, zeta)
    assert envelope_um(trace, 0, ramp_s, ramp_s + 0.1, zeta) == pytest.approx(amplitude_um, rel=1e-4)


def test_a_ramp_of_one_whole_period_leaves_nothing():
    # sin(w T / 2) = 0 at T = 1/f = 25 ms: acceleration 4 m/s2 to 100 mm/s at 40 Hz.
    changes = {"motion.speed_mm_s": 100, "motion.acceleration_mm_s2": 4000, "move.size_mm": 12.5}
    _, trace, _ = one_mass(changes, 0.0)
    assert envelope_um(trace, 0, 0.025, 0.125, 0.0) < 0.001


def test_ringing_after_a_whole_move():
    changes = {"motion.speed_mm_s": 100, "motion.acceleration_mm_s2": 3000, "move.size_mm": 51.2}
    _, trace, move_s = one_mass(changes, 0.0)
    assert envelope_um(trace, 0, move_s, trace.t_s[-1], 0.0) == pytest.approx(164.200, rel=1e-4)


@pytest.mark.parametrize(("axis", "after"), [(0, "stops"), (1, "starts")])
def test_ringing_after_a_step_of_velocity(axis, after):
    # A corner of 90 degrees taken at 100 mm/s steps both axes by 0.1 m/s: 397.887 um at 40 Hz. The ramp before it lasts
    # one period and leaves nothing.
    changes = {
        "move.pattern": "square",
        "move.size_mm": 15,
        "motion.speed_mm_s": 100,
        "motion.acceleration_mm_s2": 4000,
        "motion.corner_speed_step_mm_s": 145,
    }
    _, trace, _ = one_mass(changes, 0.0)
    corner_s = 0.025 + (0.015 - 0.00125) / 0.1
    next_s = corner_s + 0.15
    assert envelope_um(trace, axis, corner_s, next_s, 0.0) == pytest.approx(397.887, rel=1e-4), after


@pytest.mark.parametrize(
    ("distance_mm", "speed_mm_s", "acceleration_mm_s2", "time_s", "top_mm_s"),
    [(100, 200, 3000, 0.566667, 200), (10, 200, 3000, 0.115470, 173.205), (100, 300, 5000, 0.393333, 300)],
)
def test_time_of_a_move(distance_mm, speed_mm_s, acceleration_mm_s2, time_s, top_mm_s):
    # Rest to rest over D: T = D/v + v/a if D >= v^2/a, else 2 sqrt(D/a), top speed sqrt(D a) (Biagiotti and Melchiorri,
    # Trajectory Planning for Automatic Machines and Robots, 2008, section 3.2, from memory).
    changes = {
        "motion.speed_mm_s": speed_mm_s,
        "motion.acceleration_mm_s2": acceleration_mm_s2,
        "move.size_mm": distance_mm,
    }
    scenario = bare("moving-bed", changes)
    plan = plan_of(scenario, model_of(scenario))
    assert plan.move_s == pytest.approx(time_s, abs=5e-7)
    assert plan.duration_s == pytest.approx(time_s + 0.350, abs=5e-7)
    assert 1e3 * plan.legs[0].cruise_speed_m_s == pytest.approx(top_mm_s, abs=5e-4)
