"""Guide friction in a run of the machine against Dahl's and the LuGre model's own numbers.

Dahl (1968): dF/dx = sigma (1 - (F/F_c) sgn v), so F = F_c (1 - exp(-sigma x / F_c)) from rest. LuGre: Canudas de Wit, Olsson,
Astrom, Lischinsky, A New Model for Control of Systems with Friction, IEEE TAC 40(3), 1995, and its table of parameters:
sigma0 = 1e5 N/m, sigma1 = sqrt(1e5) N s/m, sigma2 = 0.4 N s/m, F_c = 1 N, F_s = 1.5 N, v_s = 1 mm/s (from memory).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from beltspring.sim.model.system import System
from beltspring.sim.simulate.run import run
from beltspring.sim.trace import Trace

from tests.support import bare, model_of, plan_of

#: A carriage on a guide with sigma0 = F_c / presliding = 1e5 N/m, pulled by an ideal motor on a very hard, heavily damped belt.
PULLED = {
    "detail": "full", "carriage.guide": "rail-12", "carriage.friction_n": 1.0, "carriage.presliding_um": 10,
    "carriage.stribeck_mm_s": 1, "carriage.stiffness_nm_per_rad": 100_000, "belts.ea_n": 1_000_000,
    "belts.pretension_n": 200, "belts.damping": 0.5, "carriage.mass_g": 1000, "carriage.mass_centre_above_guide_mm": 0,
    "carriage.belt_above_guide_mm": 0, "gantry.mass_g": 2000, "motion.corner_speed_step_mm_s": 0, "move.settle_ms": 0,
}  # fmt: skip
CLASSIC = {"carriage.friction_static_n": 1.5}
PLAIN = {"carriage.friction_static_n": 1.0}


def with_damping(system: System, sigma1: float, viscous: float) -> System:
    """The model with the paper's bristle damping, and its viscous share along the guide."""
    frictions = tuple(replace(f, sigma1_n_s_m=sigma1) for f in system.frictions)
    damping = system.damping.copy()
    for f in frictions:
        damping += viscous * np.outer(f.row, f.row)
    return replace(system, frictions=frictions, damping=damping)


def drag(system: System, trace: Trace) -> np.ndarray:
    """What the guide takes from the belt, N: the difference of both sides' tension at even speed."""
    left, right = (trace.runs.index(("x", name)) for name in ("left", "right"))
    return np.abs(trace.tension_n[:, left] - trace.tension_n[:, right])


def test_dahl_builds_up_over_the_first_micrometres():
    scenario = bare(
        "moving-bed",
        PULLED | PLAIN | {"motion.speed_mm_s": 1, "motion.acceleration_mm_s2": 1, "move.size_mm": 0.2},
    )
    system = with_damping(model_of(scenario), 0.0, 0.0)
    assert system.frictions[0].sigma0_n_m == pytest.approx(1e5)
    trace = run(system, plan_of(scenario, system), record_s=1e-3)
    travelled = trace.tool[:, 0]
    travelled = travelled - travelled[0]
    force = drag(system, trace) - 1.0 * 1e-3  # m a of the gentle start: 1 kg at 1 mm/s2
    found = [float(np.interp(x, travelled[: len(force)], force)) for x in (1e-6, 5e-6, 10e-6, 20e-6, 50e-6)]
    # F_c (1 - exp(-sigma x / F_c)) at 1, 5, 10, 20, 50 um.
    assert found == pytest.approx([0.095163, 0.393469, 0.632121, 0.864665, 0.993262], abs=2e-4)


@pytest.mark.parametrize(("speed_mm_s", "force_n"), [(0.5, 1.38960), (1.0, 1.18434), (10.0, 1.00400), (100.0, 1.04000)])
def test_lugre_at_even_speed(speed_mm_s, force_n):
    # F_c + (F_s - F_c) exp(-(v/v_s)^2) + sigma2 v.
    size = min(300.0, 2 * speed_mm_s)
    scenario = bare(
        "moving-bed",
        PULLED
        | CLASSIC
        | {"motion.speed_mm_s": speed_mm_s, "motion.acceleration_mm_s2": 20 * speed_mm_s, "move.size_mm": size},
    )  # fmt: skip
    system = with_damping(model_of(scenario), np.sqrt(1e5), 0.4)
    plan = plan_of(scenario, system)
    trace = run(system, plan)
    even = int(np.searchsorted(trace.t_s, 0.6 * plan.duration_s))
    assert drag(system, trace)[even] == pytest.approx(force_n, abs=2e-4)


def test_lugre_breaks_away_at_the_static_force():
    # Pulled ever so slowly it reaches F_s = 1.5 N before it slides (v = 0 of the steady curve).
    scenario = bare(
        "moving-bed",
        PULLED | CLASSIC | {"motion.speed_mm_s": 0.1, "motion.acceleration_mm_s2": 1, "move.size_mm": 0.2},
    )
    system = with_damping(model_of(scenario), np.sqrt(1e5), 0.4)
    trace = run(system, plan_of(scenario, system))
    # exp(-(0.1)^2) of the half newton on top of F_c.
    assert drag(system, trace).max() == pytest.approx(1.0 + 0.5 * np.exp(-0.01), abs=1e-3)


def stick_slip(sigma1: float, viscous: float, presliding_um: float, stribeck_mm_s: float) -> tuple[System, Trace]:
    """1 kg pulled at 0.1 m/s by a spring of 2 N/m for 28 s: a belt of two runs of 1 m, EA = 1 N, under tension."""
    scenario = bare(
        "moving-bed",
        PULLED | CLASSIC
        | {
            "space.x_mm": 3000, "move.size_mm": 2900, "motion.speed_mm_s": 100, "motion.acceleration_mm_s2": 1_000_000,
            "carriage.presliding_um": presliding_um, "carriage.stribeck_mm_s": stribeck_mm_s, "belts.damping": 0,
        },
    )  # fmt: skip
    system = with_damping(model_of(scenario), sigma1, viscous)
    runs = tuple(
        replace(r, ea_n=1.0, length_m=1.0, length_row=np.zeros(system.n), lag_s=0.0) if r.belt == "x" else r
        for r in system.runs
    )
    system = replace(system, runs=runs)
    return system, run(system, plan_of(scenario, system))


def test_lugre_sticks_and_slips():
    # The paper's own case, integrated apart from this program: largest spring force 1.508 N, a slip every 6.363 s over
    # 0.636 m, top speed 0.370 m/s (1 %).
    system, trace = stick_slip(np.sqrt(1e5), 0.4, 10, 1)
    assert drag(system, trace).max() == pytest.approx(1.508, rel=0.01)
    speed = np.gradient(trace.tool[:, 0], trace.t_s)
    moving = speed > 0.05
    starts = np.flatnonzero(moving[1:] & ~moving[:-1])
    assert len(starts) >= 3
    period = np.diff(trace.t_s[starts])
    assert period[1:] == pytest.approx(6.363, rel=0.01)
    assert np.diff(trace.tool[starts, 0])[1:] == pytest.approx(0.636, rel=0.01)
    assert speed.max() == pytest.approx(0.370, rel=0.01)


def test_stick_slip_of_plain_coulomb_friction():
    # Closed form: e0 = (F_s - F_c) / k = 0.25 m, w = sqrt(k/m): slip time (2/w)(pi - atan(e0 w / V)) = 2.611 s, stick time
    # 2 e0 / V, period 7.611 s, slip 2 e0 + V t_s = 0.761 m (elementary mechanics). Bristles of 0.1 um
    # that let go within 1 mm/s come near that: creeping lowers the break-away force by
    # min over v of 0.5 (v/v_s)^2 + 1.5 (k V / sigma0) / v = 1.5 mN, a tenth of a per cent.
    _, trace = stick_slip(np.sqrt(1e7), 0.0, 0.1, 1)
    speed = np.gradient(trace.tool[:, 0], trace.t_s)
    moving = speed > 0.02
    starts = np.flatnonzero(moving[1:] & ~moving[:-1])
    assert len(starts) >= 3
    assert np.diff(trace.t_s[starts])[1:] == pytest.approx(7.611, rel=0.01)
    assert np.diff(trace.tool[starts, 0])[1:] == pytest.approx(0.761, rel=0.01)
